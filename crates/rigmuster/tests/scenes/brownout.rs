//! Power at its limit: a loop of starts with its cause, and a camera that needs another restart.

use std::time::Duration;

use ledger::{Finding, FindingKind, Severity, Standing, Subject};
use rigmuster::source::Simulation;
use vocab::Moment;

use crate::common::{play, play_checked, seeds, standing};

fn found(play: &Simulation, kind: FindingKind) -> Option<Finding> {
    play.snapshot().findings.into_iter().find(|f| f.kind == kind)
}

fn play_to(play: &mut Simulation, at: u64) {
    let span = Moment::from_secs(at).since(play.now());
    play_checked(play, span);
}

#[test]
fn the_weak_port_behind_a_loop_is_named_and_who_was_up_before_the_router_is_listed() {
    for seed in seeds() {
        let mut play = play("brownout", seed);
        play_to(&mut play, 145);
        assert_eq!(
            standing(&play.snapshot(), "Balcony"),
            Standing::WrongSubnet,
            "seed {seed}"
        );
        assert_eq!(
            found(&play, FindingKind::NeedsRestart),
            None,
            "the server is not there yet"
        );
        play_to(&mut play, 200);
        let text = found(&play, FindingKind::RestartLoop).map(|f| f.text);
        assert!(
            text.is_some() && text == loop_text(&play),
            "seed {seed}: {text:?}"
        );
        play_to(&mut play, 260);
        check_loop(&play, seed);
        play_to(&mut play, 299);
        let finding = found(&play, FindingKind::NeedsRestart).unwrap_or_else(|| panic!("seed {seed}: none"));
        assert_eq!(finding.devices, ["Balcony"], "seed {seed}");
        play_to(&mut play, 330);
        assert_eq!(
            standing(&play.snapshot(), "Balcony"),
            Standing::Present,
            "seed {seed}"
        );
        assert_eq!(found(&play, FindingKind::NeedsRestart), None, "seed {seed}");
    }
}

fn check_loop(play: &Simulation, seed: u64) {
    let finding = found(play, FindingKind::RestartLoop).unwrap_or_else(|| panic!("seed {seed}: no loop"));
    assert_eq!(
        (finding.severity, finding.devices.join("")),
        (Severity::Risk, "Crane".to_owned())
    );
    assert!(
        finding.text.starts_with("Crane started 4 times within 3 min"),
        "{}",
        finding.text
    );
    let why = "Crane is of class 4, and S1/5 is a Type 1 port, which gives 15.4 W:";
    assert!(finding.advice.starts_with(why), "{}", finding.advice);
    // What takes its address by DHCP asks for it as the scene begins.
    let dark = Moment::from_secs(20);
    let starts = |name: &str| {
        let of =
            |s: &Subject| matches!(s, Subject::Start(start) if start.device == name && start.first > dark);
        play.changes().iter().filter(|c| of(&c.subject)).count()
    };
    assert_eq!(
        (starts("Crane"), starts("Slipway"), starts("Desk panel")),
        (4, 1, 1),
        "seed {seed}"
    );
    assert_eq!(
        starts("Balcony"),
        0,
        "seed {seed}: without an address it has not started"
    );
}

/// At 200 s three starts lie behind it: the power, and two of its own.
fn loop_text(play: &Simulation) -> Option<String> {
    let ends = play.changes().iter().filter_map(|c| match &c.subject {
        Subject::Start(start) if start.device == "Crane" => Some((start.first, c.at)),
        _ => None,
    });
    let ends: Vec<_> = ends.collect();
    let [(first, _), _, (_, last)] = ends.as_slice() else {
        return None;
    };
    let s = last.since(*first).as_secs();
    Some(format!(
        "Crane started 3 times within {} min {} s.",
        s / 60,
        s % 60
    ))
}

#[test]
fn a_router_that_is_back_in_time_leaves_nobody_behind() {
    for seed in seeds() {
        // The hall's power cycle takes no server with it, and its devices are fixed.
        let mut play = play("power", seed);
        play_checked(&mut play, Duration::from_secs(150));
        for kind in [FindingKind::NeedsRestart, FindingKind::RestartLoop] {
            assert_eq!(found(&play, kind), None, "seed {seed}");
        }
    }
}

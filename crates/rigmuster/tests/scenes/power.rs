//! A whole switch goes dark: its devices are missing, then starting, then back, each once.

use std::time::Duration;

use ledger::{Course, Opening, Restarted, Standing, Start, Subject};
use rigmuster::source::Simulation;
use vocab::Moment;

use crate::common::{HEADS, check_invariants, play, play_checked, seeds, standing};

#[test]
fn a_power_cycle_is_followed_from_dark_to_ready() {
    for seed in seeds() {
        let mut play = play("power", seed);
        play_checked(&mut play, Duration::from_secs(20));
        assert!(play.ledger().ready(), "seed {seed}: {}", play.snapshot().headline);
        play_checked(&mut play, Duration::from_secs(18));
        let dark = play.snapshot();
        for head in HEADS {
            assert_eq!(
                standing(&dark, head),
                Standing::Missing,
                "seed {seed}: {head} at {:?}",
                play.now()
            );
        }
        for other in ["Vision mixer", "Recorder"] {
            assert_eq!(standing(&dark, other), Standing::Present, "seed {seed}: {other}");
        }
        assert!(
            play.play_until(Moment::from_secs(150), ledger::Muster::ready),
            "seed {seed}: not ready again: {}",
            play.snapshot().headline
        );
        check_invariants(&play.snapshot());
        for head in HEADS {
            let course: Vec<Standing> = play
                .changes()
                .iter()
                .filter_map(|c| match &c.subject {
                    Subject::Device { name, to, .. } if name == head => Some(*to),
                    _ => None,
                })
                .skip_while(|s| *s != Standing::Missing)
                .collect();
            assert_eq!(
                course,
                [Standing::Missing, Standing::Starting, Standing::Present],
                "seed {seed}: the course of {head}"
            );
            check_start(&play, head, &format!("seed {seed}"));
        }
    }
}

/// The start of `head` after the power came back is told once, whole, and as the board shows it.
fn check_start(play: &Simulation, head: &str, seed: &str) {
    let told: Vec<&Start> = play
        .changes()
        .iter()
        .filter_map(|c| match &c.subject {
            Subject::Start(start) if start.device == head => Some(start.as_ref()),
            _ => None,
        })
        .collect();
    let [start] = told.as_slice() else {
        panic!("{seed}: {head} started {} times", told.len())
    };
    let snapshot = play.snapshot();
    let view = snapshot.devices.iter().find(|d| d.name == head);
    let view = view.and_then(|d| d.start.as_ref());
    assert_eq!(
        view.map(|v| (&v.start, v.course)),
        Some((*start, Course::Complete)),
        "{seed}"
    );
    assert_eq!(start.opening, Opening::FirstFrame, "{seed}: {start:?}");
    assert!(start.first > Moment::from_secs(40), "{seed}: {start:?}");
    let (filled, of) = start.steps();
    assert_eq!(filled, of, "{seed}: {start:?}");
    let ports = start.ports.iter().map(|(_, at)| *at);
    let settled = start.settled;
    assert!(
        settled <= start.echo && ports.clone().all(|at| settled <= at),
        "{seed}: {start:?}"
    );
    assert_eq!(
        ports.chain([start.echo]).max().flatten(),
        start.done,
        "{seed}: {start:?}"
    );
}

#[test]
fn a_switch_that_somebody_restarts_calls_nobody_and_unannounced_it_does() {
    for seed in seeds() {
        let alarms = |announced: bool| {
            let mut play = play("power", seed);
            play.play_until(Moment::from_secs(19), |_| false);
            let now = play.now();
            if announced {
                let what = Restarted::Switch("S1".to_owned());
                assert_eq!(
                    play.ledger_mut().expect_restart(now, &what),
                    8,
                    "seven heads and the panel"
                );
            }
            play_checked(&mut play, Duration::from_secs(18));
            let dark = play.snapshot();
            assert_eq!(standing(&dark, "Organ loft"), Standing::Missing, "seed {seed}");
            assert_eq!(
                dark.headline.ends_with("are being restarted, as you said."),
                announced,
                "{}",
                dark.headline
            );
            let end = Moment::from_secs(150);
            assert!(
                play.play_until(end, ledger::Muster::ready),
                "seed {seed}: {}",
                play.snapshot().headline
            );
            let expected = play
                .snapshot()
                .devices
                .iter()
                .filter(|d| d.restart.expected.is_some())
                .count();
            assert_eq!(expected, 0, "seed {seed}: all are back");
            let since = play.changes().iter().filter(|c| c.at > now && c.worse);
            since.map(|c| c.text.clone()).collect::<Vec<_>>()
        };
        assert_eq!(alarms(true), Vec::<String>::new(), "seed {seed}");
        assert!(!alarms(false).is_empty(), "seed {seed}");
    }
}

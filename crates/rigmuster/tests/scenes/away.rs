//! Devices on foreign subnets: their control ports are asked where they are.

use std::time::Duration;

use ledger::{FindingKind, Muster, Places, Purpose, Standing};
use rigmuster::source::Simulation;
use vocab::{ControlState, Pace};

use crate::common::{play, play_checked, play_for, seeds, standing};

/// How the control ports of the device of that name told.
fn control(play: &Simulation, name: &str) -> Vec<(String, Option<ControlState>)> {
    let snapshot = play.snapshot();
    let devices = snapshot.devices.iter().filter(|d| d.name == name);
    let told = devices.flat_map(|d| &d.control);
    told.map(|c| (c.port.to_string(), c.state)).collect()
}

fn answered(ports: &[&str]) -> Vec<(String, Option<ControlState>)> {
    let all = ports.iter();
    all.map(|p| ((*p).to_owned(), Some(ControlState::Answered)))
        .collect()
}

#[test]
fn the_camera_at_its_factory_address_answers_there() {
    for seed in seeds() {
        let mut play = play("tangled", seed);
        play_checked(&mut play, Duration::from_secs(8));
        assert_eq!(
            control(&play, "Nave"),
            answered(&["visca-udp", "rtsp"]),
            "seed {seed}"
        );
        let snapshot = play.snapshot();
        assert_eq!(standing(&snapshot, "Nave"), Standing::WrongSubnet);
        // What it asks for to answer us is nobody's business.
        let odd = [FindingKind::CallsForNobody, FindingKind::AddressConflict];
        assert!(
            snapshot.findings.iter().all(|f| !odd.contains(&f.kind)),
            "seed {seed}"
        );
    }
}

#[test]
fn so_does_one_that_the_deep_search_finds() {
    let mut play = play("hidden", 1);
    play.play(Duration::from_secs(30));
    let now = play.now();
    let place = Places::Only(vec!["192.168.77.0/24".parse().unwrap()]);
    assert!(play.ledger_mut().search(now, place, Pace::Own));
    let found = |l: &Muster| l.standing("Tower") == Some(Standing::WrongSubnet);
    assert!(play.play_until(now + Duration::from_mins(3), found));
    play.play(Duration::from_secs(8));
    assert_eq!(control(&play, "Tower"), answered(&["visca-udp", "http", "rtsp"]));
}

#[test]
fn a_survey_asks_the_borrowed_camera_when_its_search_is_over() {
    let mut play = play_for("hidden", 1, Purpose::Survey);
    play.play(Duration::from_secs(1));
    let now = play.now();
    let place = Places::Only(vec!["192.168.3.0/24".parse().unwrap()]);
    assert!(play.ledger_mut().search(now, place, Pace::Own));
    assert!(play.play_until(now + Duration::from_mins(1), |l| !l.is_searching()));
    let over = play.now();
    let end = over + Duration::from_mins(1);
    assert!(
        play.play_until(over, |l| l.awaits_ports(over, over)),
        "they are to be asked"
    );
    while play.ledger().awaits_ports(play.now(), over) {
        assert!(play.now() < end);
        play.play(Duration::from_millis(100));
    }
    let snapshot = play.snapshot();
    let borrowed = snapshot
        .unlisted
        .iter()
        .find(|h| h.addresses.iter().any(|a| a.to_string() == "192.168.3.40"))
        .unwrap();
    let mut told: Vec<(String, ControlState)> = borrowed
        .control
        .iter()
        .map(|(p, s)| (p.to_string(), *s))
        .collect();
    told.sort_by(|a, b| a.0.cmp(&b.0));
    // It speaks three of the four that are usual; where HTTP speaks and ONVIF does not is one port.
    assert_eq!(told.len(), 4, "{told:?}");
    for word in ["visca-udp", "http", "rtsp"] {
        assert!(
            told.contains(&(word.to_owned(), ControlState::Answered)),
            "{told:?}"
        );
    }
}

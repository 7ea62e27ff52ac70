//! A rig on networks that share no cable: each is judged by itself, and all are shown as one.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::time::Duration;

use ledger::{DeviceView, Finding, FindingKind, Severity, Snapshot, Standing, Subject};

use vocab::Moment;

use crate::common::{play, play_checked, seeds, standing};

fn finding(snapshot: &Snapshot, kind: FindingKind) -> &Finding {
    let found: Vec<_> = snapshot.findings.iter().filter(|f| f.kind == kind).collect();
    let [one] = found.as_slice() else {
        panic!("one finding {kind:?} expected: {:?}", snapshot.findings);
    };
    one
}

fn device<'a>(snapshot: &'a Snapshot, name: &str) -> &'a DeviceView {
    snapshot.devices.iter().find(|d| d.name == name).unwrap()
}

#[test]
fn devices_stand_in_the_order_of_the_file_each_with_its_network() {
    let mut play = play("networks", 1);
    play_checked(&mut play, Duration::from_secs(10));
    let snapshot = play.snapshot();
    let all: Vec<(&str, &str)> = snapshot
        .devices
        .iter()
        .map(|d| (d.name.as_str(), d.network.as_deref().unwrap()))
        .filter(|(_, network)| *network != "office")
        .collect();
    assert_eq!(
        all,
        [
            ("Race", "main"),
            ("Wheel", "main"),
            ("Mill panel", "main"),
            ("Wall encoder", "media"),
            ("Wall decoder", "media"),
        ]
    );
    // A panel of one network points at a device of another.
    assert_eq!(
        device(&snapshot, "Wall encoder").channels,
        [("Mill panel".to_owned(), 3)]
    );
    for seen in ["Race", "Wall encoder", "Wall decoder"] {
        assert_eq!(standing(&snapshot, seen), Standing::Present, "{seen}");
    }
}

#[test]
fn a_camera_plugged_into_the_other_network_is_missing_and_told_where_it_is() {
    for seed in seeds() {
        let mut play = play("networks", seed);
        play_checked(&mut play, Duration::from_secs(15));
        let snapshot = play.snapshot();
        assert_eq!(standing(&snapshot, "Wheel"), Standing::Missing, "seed {seed}");
        let told = finding(&snapshot, FindingKind::WrongNetwork);
        assert_eq!(told.devices, ["Wheel"], "seed {seed}");
        assert_eq!(told.network.as_deref(), Some("media"));
        assert_eq!(
            told.text,
            "Wheel belongs to the network main, and its hardware is heard on media, at 10.40.16.22."
        );
        assert!(told.advice.contains("a switch port of main"), "{}", told.advice);
        let first = snapshot.unlisted.first().unwrap();
        assert_eq!(
            first.mac.map(|m| m.to_string()).as_deref(),
            Some("02:52:43:00:08:16")
        );
        assert_eq!(first.network.as_deref(), Some("media"));
    }
}

#[test]
fn a_clash_on_the_second_network_is_found_and_keeps_the_rig_from_being_ready() {
    for seed in seeds() {
        let mut play = play("networks", seed);
        play_checked(&mut play, Duration::from_secs(19));
        assert_eq!(
            standing(&play.snapshot(), "Wall encoder"),
            Standing::Present,
            "seed {seed}"
        );
        play_checked(&mut play, Duration::from_secs(30));
        let snapshot = play.snapshot();
        assert_eq!(
            standing(&snapshot, "Wall encoder"),
            Standing::Conflict,
            "seed {seed}"
        );
        let clash = finding(&snapshot, FindingKind::AddressConflict);
        assert_eq!(
            (clash.severity, clash.network.as_deref(), clash.macs.len()),
            (Severity::Fault, Some("media"), 2),
            "seed {seed}"
        );
        assert_eq!(standing(&snapshot, "Race"), Standing::Present, "seed {seed}");
        assert!(!snapshot.ready && !play.ledger().ready(), "seed {seed}");
        // What happened is on record once, and no network is called ready by itself.
        let said = play.changes().iter().filter(|c| match &c.subject {
            Subject::Device { name, to, .. } => name == "Wall encoder" && *to == Standing::Conflict,
            Subject::Ready(_) => true,
            Subject::Finding { .. } | Subject::Start(_) | Subject::Cable { .. } | Subject::Anew => false,
        });
        assert_eq!(said.count(), 1, "seed {seed}: {:?}", play.changes());
    }
}

#[test]
fn the_counts_and_networks_sum_to_the_whole() {
    let mut play = play("networks", 2);
    play_checked(&mut play, Duration::from_secs(10));
    let snapshot = play.snapshot();
    let of_networks: usize = snapshot.networks.iter().map(|n| n.counts.total()).sum();
    assert_eq!(of_networks, snapshot.counts.total());
    let names: Vec<&str> = snapshot.networks.iter().map(|n| n.name.as_str()).collect();
    assert_eq!(names[..2], ["main", "media"]);
    let ports: Vec<_> = snapshot
        .networks
        .iter()
        .map(|n| n.station.as_ref().map(|s| s.name.clone()))
        .collect();
    assert_eq!(
        ports[..2],
        [Some("rehearsal".to_owned()), Some("rehearsal-media".to_owned())]
    );
}

#[test]
fn the_office_is_judged_by_echo_and_ports_and_the_board_says_so() {
    for seed in seeds() {
        let mut play = play("networks", seed);
        play_checked(&mut play, Duration::from_secs(25));
        let snapshot = play.snapshot();
        assert_eq!(
            standing(&snapshot, "Stream gateway"),
            Standing::Present,
            "seed {seed}"
        );
        let gateway = device(&snapshot, "Stream gateway");
        let seen = gateway.seen.as_ref().unwrap();
        assert!(seen.mac.is_none() && seen.rtt.is_some(), "seed {seed}: {seen:?}");
        assert_eq!(gateway.control[0].state, Some(vocab::ControlState::Answered));
        // It drops echo; its port speaks for it.
        assert_eq!(
            standing(&snapshot, "Lobby screen"),
            Standing::Present,
            "seed {seed}"
        );
        assert!(
            device(&snapshot, "Lobby screen")
                .seen
                .as_ref()
                .unwrap()
                .rtt
                .is_none()
        );
        // Asked, and nobody answered; it is a spare.
        assert_eq!(
            standing(&snapshot, "Ticket printer"),
            Standing::Missing,
            "seed {seed}"
        );
        assert!(
            snapshot
                .unseen
                .contains(&"office is routed: clashes and hardware cannot be seen there.".to_owned()),
            "{:?}",
            snapshot.unseen
        );
        assert!(
            snapshot
                .unlisted
                .iter()
                .all(|h| h.network.as_deref() != Some("office")),
            "seed {seed}"
        );
    }
}

#[test]
fn what_goes_off_behind_the_router_is_missing_and_what_stays_stays() {
    for seed in seeds() {
        let mut play = play("networks", seed);
        play_checked(&mut play, Duration::from_secs(30));
        let mut course = vec![];
        while play.now() < Moment::from_secs(60) {
            play_checked(&mut play, Duration::from_millis(100));
            let now = standing(&play.snapshot(), "Stream gateway");
            if course.last() != Some(&now) {
                course.push(now);
            }
        }
        assert_eq!(course, [Standing::Present, Standing::Missing], "seed {seed}");
        assert_eq!(
            standing(&play.snapshot(), "Lobby screen"),
            Standing::Present,
            "seed {seed}"
        );
        let text = play.snapshot();
        let told = text
            .findings
            .iter()
            .find(|f| f.devices == ["Stream gateway"])
            .unwrap();
        assert_eq!(told.network.as_deref(), Some("office"));
    }
}

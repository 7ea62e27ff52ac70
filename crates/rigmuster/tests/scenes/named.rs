//! Everybody tells his name: all of them are heard soon, also from another network.

use ledger::Standing;
use vocab::{Moment, NameSource};

use crate::common::{check_invariants, play, seeds};

/// The number to reach: a rig of twelve that announces itself is heard and named within 2 s.
#[test]
fn twelve_devices_are_present_and_named_within_two_seconds() {
    let mut slowest = Moment::ZERO;
    for seed in seeds() {
        let mut play = play("named", seed);
        let named = |ledger: &ledger::Muster, now| {
            let snapshot = ledger.snapshot(now);
            let all = |d: &ledger::DeviceView| {
                d.standing == Standing::Present
                    && d.seen
                        .as_ref()
                        .is_some_and(|s| s.names.iter().any(|n| n.text.as_str() == d.name))
            };
            snapshot.devices.len() == 12 && snapshot.devices.iter().all(all)
        };
        let mut revision = 0;
        while !named(play.ledger(), play.now()) && play.now() < Moment::from_secs(2) {
            play.play_until(Moment::from_secs(2), |l| l.revision() != revision);
            revision = play.ledger().revision();
        }
        let snapshot = play.snapshot();
        check_invariants(&snapshot);
        assert!(
            named(play.ledger(), play.now()),
            "seed {seed}: at {:?}: {:?}",
            play.now(),
            snapshot
                .devices
                .iter()
                .map(|d| (&d.name, d.standing, d.seen.as_ref().map(|s| &s.names)))
                .collect::<Vec<_>>()
        );
        slowest = slowest.max(play.now());
    }
    println!("all twelve present and named after {slowest:?} at the latest");
}

#[test]
fn a_stranger_in_another_network_is_heard_by_name_and_proven_there() {
    for seed in seeds() {
        let mut play = play("named", seed);
        play.play_until(Moment::from_secs(3), |_| false);
        let snapshot = play.snapshot();
        let stranger = snapshot
            .unlisted
            .iter()
            .find(|h| h.names.iter().any(|n| n.text.as_str() == "Borrowed camera"))
            .unwrap_or_else(|| panic!("seed {seed}: {:?}", snapshot.unlisted));
        assert_eq!(
            stranger.addresses,
            [std::net::Ipv4Addr::new(172, 20, 5, 9)],
            "seed {seed}"
        );
        assert!(!stranger.on_subnet);
        let host = stranger.names.iter().find(|n| n.source == NameSource::Mdns);
        assert_eq!(
            host.map(|n| n.text.as_str()),
            Some("borrowed-camera"),
            "seed {seed}"
        );
        let device = snapshot.devices.iter().find(|d| d.name == "Gallery centre");
        let names = &device.and_then(|d| d.seen.as_ref()).expect("it is seen").names;
        assert!(
            names.iter().any(|n| n.text.as_str() == "Gallery centre"),
            "{names:?}"
        );
    }
}

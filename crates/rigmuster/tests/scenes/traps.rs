//! Traps of real networks: each gets its own name, nobody who is missing becomes present by one, and
//! nobody who is well gets into a clash.

use std::collections::BTreeSet;
use std::time::Duration;

use ledger::{FindingKind as Kind, Severity, Snapshot, Standing, Subject};
use rig::AddressSpec;
use rigmuster::source::Simulation;
use venue::Truth;

use crate::common::{play, play_checked, seeds, standing};

fn severity(snapshot: &Snapshot, kind: Kind) -> Option<Severity> {
    snapshot
        .findings
        .iter()
        .find(|f| f.kind == kind)
        .map(|f| f.severity)
}

/// The devices that findings of a kind are about.
fn named(snapshot: &Snapshot, kind: Kind) -> BTreeSet<&str> {
    let of_kind = snapshot.findings.iter().filter(|f| f.kind == kind);
    of_kind
        .flat_map(|f| f.devices.iter().map(String::as_str))
        .collect()
}

#[test]
fn nothing_is_what_it_seems_and_each_is_called_by_its_name() {
    for seed in seeds() {
        let mut play = play("traps", seed);
        play_checked(&mut play, Duration::from_secs(45));
        let snapshot = play.snapshot();
        for (name, expected) in [
            ("Mast", Standing::Present),
            ("Beacon", Standing::Missing),
            ("Hatch", Standing::NoControl),
            ("Deck", Standing::Present),
            ("Gangway", Standing::Replaced),
            ("Replay", Standing::Present),
            ("Titles", Standing::Missing),
            ("Cue laptop", Standing::NoControl),
        ] {
            assert_eq!(standing(&snapshot, name), expected, "seed {seed}: {name}");
        }
        for (kind, expected) in [
            (Kind::TwoPorts, Severity::Note),
            (Kind::SleepProxy, Severity::Note),
            (Kind::ArpOnly, Severity::Note),
            (Kind::DuplicateMac, Severity::Risk),
            (Kind::VirtualRouter, Severity::Note),
            (Kind::ExtraAddress, Severity::Note),
            (Kind::OddSender, Severity::Note),
            (Kind::TaggedFrames, Severity::Note),
        ] {
            assert_eq!(severity(&snapshot, kind), Some(expected), "seed {seed}: {kind:?}");
        }
        // A wrong mask looks like a card that answers for a sleeper.
        let arp_only: BTreeSet<&str> = named(&snapshot, Kind::ArpOnly);
        assert_eq!(arp_only, ["Cue laptop", "Hatch"].into(), "seed {seed}");
        for kind in [
            Kind::AddressConflict,
            Kind::ClientIsolation,
            Kind::PortNotPassing,
            Kind::ProxyArp,
        ] {
            assert_eq!(severity(&snapshot, kind), None, "seed {seed}: {kind:?}");
        }
        // Only these three keep the rig from being ready: both sleepers may sleep.
        let faults: BTreeSet<&str> = snapshot
            .findings
            .iter()
            .filter(|f| f.severity == Severity::Fault)
            .flat_map(|f| f.devices.iter().map(String::as_str))
            .collect();
        assert_eq!(faults, ["Beacon", "Gangway", "Hatch"].into(), "seed {seed}");
    }
}

#[test]
fn that_nobody_asks_for_groups_is_said_late_and_only_where_it_matters() {
    let mut traps = play("traps", 1);
    traps.play(Duration::from_secs(380));
    assert_eq!(severity(&traps.snapshot(), Kind::NoQuerier), None);
    traps.play(Duration::from_secs(20));
    assert_eq!(severity(&traps.snapshot(), Kind::NoQuerier), Some(Severity::Note));
    // In the hall the gateway asks.
    let mut calm = play("calm", 1);
    calm.play(Duration::from_secs(800));
    assert_eq!(severity(&calm.snapshot(), Kind::NoQuerier), None);
}

#[test]
fn a_port_kept_apart_is_said_once_before_the_twelve() {
    for seed in seeds() {
        let mut play = play("apart", seed);
        play_checked(&mut play, Duration::from_secs(12));
        let snapshot = play.snapshot();
        assert_eq!(snapshot.counts.of(Standing::Missing), 12, "seed {seed}");
        let first = &snapshot.findings[0];
        assert_eq!(
            (first.kind, first.severity, first.devices.len()),
            (Kind::ClientIsolation, Severity::Fault, 12),
            "seed {seed}"
        );
        assert!(
            snapshot.headline.contains("The gateway"),
            "seed {seed}: {}",
            snapshot.headline
        );
        assert_eq!(
            snapshot
                .gateway
                .and_then(|(_, mac)| mac)
                .map(vocab::Mac::is_local),
            Some(true)
        );
    }
}

/// Who may be called present, and who in a clash, as things really are.
fn check_against_truth(scene: &str, seed: u64, snapshot: &Snapshot, truth: &Truth) {
    for device in &snapshot.devices {
        let name = &device.name;
        let held = |address| truth.holders.get(&address).map_or(&[][..], Vec::as_slice);
        let AddressSpec::Fixed(address) = device.expected_address else {
            continue;
        };
        if device.standing == Standing::Present {
            let right = |m| device.expected_macs.is_empty() || device.expected_macs.contains(m);
            assert!(
                held(address).iter().any(right),
                "{scene}, seed {seed}: {name} is not there"
            );
        }
        if device.standing == Standing::Conflict {
            let units: BTreeSet<_> = held(address).iter().collect();
            assert!(
                units.len() > 1,
                "{scene}, seed {seed}: nobody disputes the address of {name}"
            );
        }
    }
}

#[test]
fn no_trap_makes_one_present_who_is_missing_nor_a_clash_of_one_who_is_well() {
    // In none of these does anybody come or go.
    for scene in ["traps", "apart", "house", "tangled", "strayed", "held"] {
        for seed in seeds() {
            let mut play = play(scene, seed);
            for _ in 0..120 {
                play.play(Duration::from_millis(500));
                let (snapshot, truth) = (play.snapshot(), truth(&mut play));
                check_against_truth(scene, seed, &snapshot, &truth);
            }
            // Nor for a moment.
            for change in play.changes() {
                if let Subject::Device { name, to, .. } = &change.subject {
                    assert_ne!(*to, Standing::Conflict, "{scene}, seed {seed}: {name}");
                }
            }
        }
    }
}

fn truth(play: &mut Simulation) -> Truth {
    play.rehearsal().venue().truth()
}

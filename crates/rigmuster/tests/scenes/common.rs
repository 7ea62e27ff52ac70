//! Playing a scene.

use std::time::Duration;

use ledger::{Purpose, Settings, Snapshot, Standing, Vendors};
use rigmuster::source::Simulation;
use venue::Scene;
use vocab::{AddressRange, Moment};

/// Over how many seeds a scene is played where the environment does not say.
const SEEDS: u64 = 12;

/// The heads on switch S1 of the scene `power`.
pub(crate) const HEADS: [&str; 7] = [
    "Organ loft",
    "West door",
    "Stage left",
    "Stage right",
    "Gallery centre",
    "Conductor",
    "Foyer",
];

/// The seeds to play.
pub(crate) fn seeds() -> impl Iterator<Item = u64> {
    let many = std::env::var("RIGMUSTER_SEEDS")
        .ok()
        .and_then(|v| v.parse().ok())
        .unwrap_or(SEEDS);
    1..=many
}

/// The scene of that name from its start, as the board would watch it.
pub(crate) fn play(name: &str, seed: u64) -> Simulation {
    play_for(name, seed, Purpose::Board)
}

/// The same for another purpose.
pub(crate) fn play_for(name: &str, seed: u64, purpose: Purpose) -> Simulation {
    let scene = venue::scene(name).unwrap_or_else(|| panic!("there is no scene {name}"));
    play_scene(&scene, seed, purpose)
}

/// The same for a scene that a test has changed.
pub(crate) fn play_scene(scene: &Scene, seed: u64, purpose: Purpose) -> Simulation {
    let name = scene.name;
    let reading = rig::read(name, scene.rig.as_bytes());
    let rig = reading
        .rig
        .unwrap_or_else(|| panic!("{name}: {:?}", reading.errors));
    let pace = rig.network.pace;
    let factory: Vec<AddressRange> = ["192.168.0.19", "192.168.0.20-29", "192.168.100.88"]
        .iter()
        .filter_map(|r| r.parse().ok())
        .collect();
    let settings = Settings {
        rig: Some(rig),
        subnet: None,
        gateway: None,
        factory,
        vendors: Vendors::NONE,
        purpose,
    };
    Simulation::new(scene, seed, pace, settings)
}

/// How the device of that name stands.
pub(crate) fn standing(snapshot: &Snapshot, name: &str) -> Standing {
    snapshot
        .devices
        .iter()
        .find(|d| d.name == name)
        .unwrap_or_else(|| panic!("{name} is not on the list"))
        .standing
}

/// What holds in every snapshot of every scene.
pub(crate) fn check_invariants(snapshot: &Snapshot) {
    assert_eq!(
        snapshot.counts.total(),
        snapshot.devices.len(),
        "the counts sum to the rig"
    );
    for standing in Standing::ALL {
        let of = snapshot.devices.iter().filter(|d| d.standing == standing).count();
        assert_eq!(of, snapshot.counts.of(standing), "{standing:?}");
    }
    let mut seen = std::collections::BTreeSet::new();
    for finding in &snapshot.findings {
        assert!(
            seen.insert((
                finding.kind,
                finding.devices.clone(),
                finding.address,
                finding.macs.clone()
            )),
            "one finding per kind and subject: {finding:?}"
        );
        assert!(
            !finding.text.is_empty() && !finding.advice.is_empty(),
            "{finding:?}"
        );
        let gap = |text: &str| text.contains("  ");
        assert!(!gap(&finding.text) && !gap(&finding.advice), "{finding:?}");
    }
    for device in &snapshot.devices {
        if !matches!(device.standing, Standing::Unknown | Standing::Missing) {
            assert!(
                device.seen.is_some(),
                "{} is {:?} without evidence",
                device.name,
                device.standing
            );
        }
    }
    if snapshot.ready {
        assert!(
            snapshot
                .findings
                .iter()
                .all(|f| f.severity != ledger::Severity::Fault)
        );
    }
}

/// Plays on for `span`, checking the invariants ten times a second.
pub(crate) fn play_checked(play: &mut Simulation, span: Duration) {
    let end = play.now() + span;
    while play.now() < end {
        let next = (play.now() + Duration::from_millis(100)).min(end);
        play.play_until(next, |_| false);
        check_invariants(&play.snapshot());
    }
}

/// Goes on until the device stands so, and says when; fails at `end`.
pub(crate) fn until_standing(play: &mut Simulation, name: &str, wanted: Standing, end: Moment) -> Moment {
    // The snapshot is dear; the ledger's revision tells when it can have changed.
    while play.now() < end {
        let revision = play.ledger().revision();
        if standing(&play.snapshot(), name) == wanted {
            return play.now();
        }
        play.play_until(end, |l| l.revision() != revision);
    }
    panic!(
        "{name} is {:?} and not {wanted:?} at {:?}",
        standing(&play.snapshot(), name),
        play.now()
    );
}

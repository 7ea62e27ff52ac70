//! A rig as a guest on a house network: slow pace, strangers, and a router that answers for all.

use std::borrow::Cow;
use std::time::Duration;

use ledger::{FindingKind, Purpose, Severity, Standing, Subject};
use vocab::{Mac, Moment};

use crate::common::{check_invariants, play, play_checked, play_scene, seeds, standing};

#[test]
fn the_rig_is_counted_at_the_house_pace_and_the_proxy_makes_nothing_present() {
    let mut play = play("house", 1);
    play_checked(&mut play, Duration::from_secs(170));
    let snapshot = play.snapshot();
    check_invariants(&snapshot);
    assert_eq!(
        snapshot.counts.of(Standing::Present),
        6,
        "{:?}",
        snapshot.findings
    );
    assert_eq!(snapshot.counts.of(Standing::Conflict), 0);
    assert!(snapshot.ready, "{}", snapshot.headline);
    assert!(snapshot.unlisted_total >= 40, "{}", snapshot.unlisted_total);
}

#[test]
fn a_device_that_is_missing_behind_the_proxy_stays_missing() {
    for seed in seeds().take(4) {
        let mut scene = venue::scene("house").expect("it is one");
        scene.rig = Cow::Owned(format!(
            "{}\n[[device]]\nname = \"Attic\"\nrole = \"camera\"\nmac = \"02:52:43:00:03:18\"\n\
             address = \"10.60.0.24\"\n\n[[device]]\nname = \"Cellar\"\nrole = \"camera\"\naddress = \"10.60.0.25\"\n",
            scene.rig
        ));
        let mut play = play_scene(&scene, seed, Purpose::Board);
        play_checked(&mut play, Duration::from_mins(1));
        let snapshot = play.snapshot();
        for name in ["Attic", "Cellar"] {
            assert_eq!(
                standing(&snapshot, name),
                Standing::Missing,
                "seed {seed}: {name}"
            );
        }
        assert_eq!(snapshot.counts.of(Standing::Present), 6, "seed {seed}");
        let router = Mac::new([2, 0x52, 0x43, 0, 3, 2]);
        let told: Vec<_> = snapshot
            .findings
            .iter()
            .filter(|f| f.kind == FindingKind::ProxyArp)
            .map(|f| (f.severity, f.macs.as_slice()))
            .collect();
        assert_eq!(told, [(Severity::Risk, &[router][..])], "seed {seed}");
        // Nor was it for a moment.
        for change in play.changes() {
            if let Subject::Device { name, to, .. } = &change.subject {
                let there = ["Attic", "Cellar"].contains(&name.as_str());
                assert!(!there || *to == Standing::Missing, "seed {seed}: {name} {to:?}");
            }
        }
    }
}

#[test]
fn the_rig_comes_first_even_at_ten_frames_a_second() {
    let mut play = play("house", 2);
    assert!(
        play.play_until(Moment::from_secs(20), ledger::Muster::ready),
        "{}",
        play.snapshot().headline
    );
}

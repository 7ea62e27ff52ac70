//! A rig after somebody tidied up: who calls nobody, who changed places, who the stranger is.

use std::time::Duration;

use ledger::{FindingKind, Severity, Standing};

use crate::common::{play, play_checked, seeds, standing};

#[test]
fn the_panel_is_told_to_call_nobody_and_only_where_nobody_should_be() {
    for seed in seeds() {
        let mut play = play("strayed", seed);
        play_checked(&mut play, Duration::from_secs(30));
        let snapshot = play.snapshot();
        let calls: Vec<_> = snapshot
            .findings
            .iter()
            .filter(|f| f.kind == FindingKind::CallsForNobody)
            .collect();
        // The quay camera's own address, which the panel calls as well, is explained by its being missing.
        assert_eq!(calls.len(), 1, "seed {seed}: {calls:?}");
        assert_eq!(
            calls[0].text,
            "Loft panel keeps asking for 192.168.0.77; nothing has it. One of its channels still points there.",
            "seed {seed}"
        );
        assert_eq!(calls[0].severity, Severity::Risk);
    }
}

#[test]
fn the_spare_at_its_factory_address_is_told_to_be_the_missing_camera() {
    for seed in seeds() {
        let mut play = play("strayed", seed);
        play_checked(&mut play, Duration::from_secs(20));
        let snapshot = play.snapshot();
        assert_eq!(standing(&snapshot, "Quay"), Standing::Missing, "seed {seed}");
        let guesses: Vec<_> = snapshot
            .devices
            .iter()
            .filter_map(|d| d.likely.as_ref().map(|l| (&d.name, l)))
            .collect();
        let [(name, likely)] = guesses.as_slice() else {
            panic!("seed {seed}: {guesses:?}");
        };
        assert_eq!(name.as_str(), "Quay");
        assert_eq!(
            likely.address,
            Some("192.168.0.20".parse().unwrap()),
            "seed {seed}"
        );
        assert!(
            likely.score >= 0.5 && likely.because.len() >= 2,
            "seed {seed}: {likely:?}"
        );
        let told: Vec<_> = snapshot
            .unlisted
            .iter()
            .filter(|h| !h.resembles.is_empty())
            .collect();
        assert_eq!(told.len(), 1, "seed {seed}: {told:?}");
        assert_eq!(told[0].mac, Some(likely.mac));
    }
}

#[test]
fn two_cameras_at_each_others_addresses_have_changed_places() {
    for seed in seeds() {
        let mut play = play("strayed", seed);
        play_checked(&mut play, Duration::from_secs(20));
        let snapshot = play.snapshot();
        for (name, other) in [("Ramp", "Jetty"), ("Jetty", "Ramp")] {
            assert_eq!(standing(&snapshot, name), Standing::Moved, "seed {seed}");
            let told = snapshot
                .findings
                .iter()
                .find(|f| f.kind == FindingKind::Moved && f.devices == [name])
                .unwrap();
            assert!(
                told.text
                    .starts_with(&format!("{name} and {other} have changed places")),
                "seed {seed}: {}",
                told.text
            );
        }
    }
}

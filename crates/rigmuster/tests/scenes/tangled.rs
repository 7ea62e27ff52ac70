//! A rig out of the boxes: each trouble gets its own name.

use std::time::Duration;

use ledger::{FindingKind, Severity, Standing};

use crate::common::{play, play_checked, seeds, standing};

#[test]
fn every_trouble_is_told_apart() {
    for seed in seeds() {
        let mut play = play("tangled", seed);
        play_checked(&mut play, Duration::from_secs(40));
        let snapshot = play.snapshot();
        for (name, expected) in [
            ("Pulpit", Standing::Missing),
            ("Nave", Standing::WrongSubnet),
            ("Choir", Standing::Moved),
            ("Font", Standing::Replaced),
            ("Lectern", Standing::NoControl),
            ("Balcony", Standing::Present),
        ] {
            assert_eq!(standing(&snapshot, name), expected, "seed {seed}: {name}");
        }
        assert!(!snapshot.ready);
        for kind in [
            FindingKind::Missing,
            FindingKind::WrongSubnet,
            FindingKind::Moved,
            FindingKind::Replaced,
            FindingKind::NoControl,
        ] {
            let finding = snapshot
                .findings
                .iter()
                .find(|f| f.kind == kind)
                .unwrap_or_else(|| panic!("seed {seed}: no finding {}", kind.as_str()));
            assert_eq!(finding.severity, Severity::Fault, "seed {seed}: {finding:?}");
        }
        assert!(
            snapshot
                .unlisted
                .iter()
                .any(|h| h.addresses.iter().any(|a| a.octets()[3] == 133)
                    && h.names.iter().any(|n| n.text.as_str() == "Guest tablet")),
            "seed {seed}: the guest's tablet is not on the list: {:?}",
            snapshot.unlisted
        );
    }
}

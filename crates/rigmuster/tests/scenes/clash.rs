//! A guest takes a camera's address in mid-rehearsal: seen when it begins, over when it ends.

use std::time::Duration;

use ledger::{FindingKind, Severity, Standing};
use vocab::Moment;

use crate::common::{play, play_checked, seeds, standing, until_standing};

#[test]
fn a_clash_begins_and_ends_with_the_guest() {
    for seed in seeds() {
        let mut play = play("clash", seed);
        play_checked(&mut play, Duration::from_secs(24));
        assert!(play.ledger().ready(), "seed {seed}: {}", play.snapshot().headline);
        until_standing(&mut play, "Stage left", Standing::Conflict, Moment::from_secs(32));
        let snapshot = play.snapshot();
        let finding = snapshot
            .findings
            .iter()
            .find(|f| f.kind == FindingKind::AddressConflict)
            .unwrap_or_else(|| panic!("seed {seed}: no finding"));
        assert_eq!(finding.severity, Severity::Fault);
        assert_eq!(finding.macs.len(), 2, "seed {seed}: it names both: {finding:?}");
        assert!(!snapshot.ready);
        play_checked(&mut play, Duration::from_secs(30));
        assert_eq!(
            standing(&play.snapshot(), "Stage left"),
            Standing::Conflict,
            "seed {seed}: it wavers"
        );
        until_standing(&mut play, "Stage left", Standing::Present, Moment::from_secs(90));
        assert!(
            play.now() > Moment::from_secs(70),
            "seed {seed}: over while the guest was still there"
        );
        play_checked(&mut play, Duration::from_secs(5));
        assert!(play.ledger().ready(), "seed {seed}: {}", play.snapshot().headline);
    }
}

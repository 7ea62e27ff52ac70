//! Our own cable is pulled and put back: one message, no alarm for the rig, and all is well again.

use std::time::Duration;

use ledger::{FindingKind, Standing, Subject};
use vocab::Moment;

use crate::common::{play, play_checked, seeds};

#[test]
fn our_own_cable_is_one_message_and_no_mass_alarm() {
    for seed in seeds() {
        let mut play = play("cable", seed);
        play_checked(&mut play, Duration::from_secs(19));
        assert!(play.ledger().ready(), "seed {seed}: {}", play.snapshot().headline);
        play_checked(&mut play, Duration::from_secs(10));
        let pulled = play.snapshot();
        assert_eq!(pulled.counts.of(Standing::Unknown), 12, "seed {seed}");
        assert_eq!(
            pulled.findings.first().map(|f| f.kind),
            Some(FindingKind::LinkDown),
            "seed {seed}"
        );
        assert!(!pulled.ready);
        assert!(
            play.play_until(Moment::from_secs(50), ledger::Muster::ready),
            "seed {seed}: {}",
            play.snapshot().headline
        );
        play_checked(&mut play, Duration::from_secs(10));
        let missing = play
            .changes()
            .iter()
            .filter(|c| {
                matches!(
                    &c.subject,
                    Subject::Device {
                        to: Standing::Missing,
                        ..
                    }
                )
            })
            .count();
        assert_eq!(missing, 0, "seed {seed}: {:?}", play.changes());
    }
}

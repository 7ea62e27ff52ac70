//! Our switch port is held back at first, and again after our cable was pulled: one note each time,
//! nobody is missing, and all clocks start when the first frame comes.

use std::time::Duration;

use ledger::{FindingKind, Severity, Standing, Subject};
use vocab::Moment;

use crate::common::{play, play_checked, seeds};

#[test]
fn a_port_that_is_held_back_is_one_note_and_no_mass_alarm() {
    for seed in seeds() {
        let mut play = play("held", seed);
        for (held, opens, on) in [(28, 30, 65), (108, 110, 128)] {
            let span = Moment::from_secs(held).since(play.now());
            play_checked(&mut play, span);
            let snapshot = play.snapshot();
            assert_eq!(snapshot.counts.of(Standing::Unknown), 12, "seed {seed}");
            let kinds: Vec<_> = snapshot.findings.iter().map(|f| (f.kind, f.severity)).collect();
            assert_eq!(
                kinds,
                [(FindingKind::PortNotPassing, Severity::Note)],
                "seed {seed}"
            );
            let ready = play.play_until(Moment::from_secs(opens + 8), ledger::Muster::ready);
            assert!(ready, "seed {seed}: {}", play.snapshot().headline);
            let span = Moment::from_secs(on).since(play.now());
            play_checked(&mut play, span);
            assert!(play.ledger().ready(), "seed {seed}: {}", play.snapshot().headline);
            // Up to the loss of the carrier, and while the link does not tell of it.
            if on < 70 {
                play_checked(&mut play, Duration::from_millis(6_600));
                assert_eq!(play.snapshot().counts.of(Standing::Missing), 0, "seed {seed}");
                play_checked(&mut play, Duration::from_millis(500));
                let kinds: Vec<_> = play.snapshot().findings.iter().map(|f| f.kind).collect();
                assert_eq!(kinds, [FindingKind::LinkDown], "seed {seed}");
            }
        }
        let missing = |c: &&ledger::Change| {
            matches!(
                &c.subject,
                Subject::Device {
                    to: Standing::Missing,
                    ..
                }
            )
        };
        let wrong: Vec<_> = play.changes().iter().filter(missing).collect();
        assert!(wrong.is_empty(), "seed {seed}: {wrong:?}");
    }
}

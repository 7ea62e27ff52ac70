//! A rig in which all is well is ready within seconds, and stays so.

use std::time::Duration;

use ledger::Standing;
use vocab::Moment;

use crate::common::{check_invariants, play, play_checked, seeds};

#[test]
fn a_calm_rig_is_ready_soon_and_stays_so() {
    for seed in seeds() {
        let mut play = play("calm", seed);
        assert!(
            play.play_until(Moment::from_secs(5), ledger::Muster::ready),
            "seed {seed}: not ready: {}",
            play.snapshot().headline
        );
        let snapshot = play.snapshot();
        check_invariants(&snapshot);
        assert_eq!(snapshot.counts.of(Standing::Present), 12, "seed {seed}");
        play_checked(&mut play, Duration::from_secs(30));
        assert!(play.ledger().ready(), "seed {seed}: {}", play.snapshot().headline);
        let worse: Vec<_> = play.changes().iter().filter(|c| c.worse).collect();
        assert!(worse.is_empty(), "seed {seed}: {worse:?}");
    }
}

#[test]
fn ready_is_never_said_in_the_first_quarter_second() {
    for seed in seeds() {
        let mut play = play("calm", seed);
        assert!(
            !play.play_until(Moment::from_millis(250), ledger::Muster::ready),
            "seed {seed}: ready at {:?}",
            play.now()
        );
    }
}

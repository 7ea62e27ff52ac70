//! One of each standing at one time.

use std::time::Duration;

use ledger::Standing;

use crate::common::{play, play_checked, seeds};

#[test]
fn every_standing_but_unknown_is_reached_side_by_side() {
    for seed in seeds() {
        let mut play = play("standings", seed);
        assert_eq!(
            play.snapshot().counts.of(Standing::Unknown),
            8,
            "seed {seed}: the first moment"
        );
        play_checked(&mut play, Duration::from_secs(40));
        let snapshot = play.snapshot();
        for standing in Standing::ALL.into_iter().filter(|s| *s != Standing::Unknown) {
            assert_eq!(
                snapshot.counts.of(standing),
                1,
                "seed {seed}: {standing:?} among {:?}",
                snapshot
                    .devices
                    .iter()
                    .map(|d| (&d.name, d.standing))
                    .collect::<Vec<_>>()
            );
        }
    }
}

//! This computer slept through a part of it: the board learns anew, and nobody is missing because of that.

use std::time::Duration;

use ledger::{FindingKind, Standing, Subject};
use vocab::Moment;

use crate::common::{play, play_checked, seeds, standing};

#[test]
fn a_sleep_makes_nobody_missing() {
    for seed in seeds() {
        for minutes in [1, 41, 700] {
            let mut play = play("calm", seed);
            play.play_until(Moment::from_secs(15), |_| false);
            assert!(play.ledger().ready(), "seed {seed}");
            play.rehearsal().sleep(Duration::from_secs(60 * minutes));
            let woke = play.now();
            play.play_until(woke, |_| false);
            assert_eq!(play.snapshot().counts.of(Standing::Missing), 0, "seed {seed}");
            assert!(
                play.play_until(woke + Duration::from_secs(8), ledger::Muster::ready),
                "seed {seed}: {}",
                play.snapshot().headline
            );
            play_checked(&mut play, Duration::from_secs(10));
            let new: Vec<_> = play.changes().iter().filter(|c| c.at >= woke).collect();
            let anew: Vec<_> = new.iter().filter(|c| c.subject == Subject::Anew).collect();
            assert_eq!(anew.len(), 1, "seed {seed}: {new:?}");
            assert!(anew[0].text.contains("slept for"), "{}", anew[0].text);
            let missed = |c: &&&ledger::Change| {
                matches!(
                    c.subject,
                    Subject::Device {
                        to: Standing::Missing,
                        ..
                    }
                )
            };
            assert_eq!(new.iter().filter(missed).count(), 0, "seed {seed}: {new:?}");
        }
    }
}

#[test]
fn what_vanished_meanwhile_is_missing_and_what_came_back_is_there() {
    for seed in seeds() {
        let mut play = play("power", seed);
        play.play_until(Moment::from_secs(15), |_| false);
        // The gallery goes dark 5 s later, and we sleep for 15.
        play.rehearsal().sleep(Duration::from_secs(15));
        let woke = play.now();
        play.play_until(woke + Duration::from_secs(6), |_| false);
        let snapshot = play.snapshot();
        assert_eq!(
            standing(&snapshot, "Organ loft"),
            Standing::Missing,
            "seed {seed}"
        );
        assert_eq!(standing(&snapshot, "Recorder"), Standing::Present, "seed {seed}");
        let outages = snapshot
            .findings
            .iter()
            .filter(|f| f.kind == FindingKind::CommonOutage)
            .count();
        assert_eq!(outages, 1, "seed {seed}: {:?}", snapshot.findings);
        assert!(
            play.play_until(Moment::from_secs(150), ledger::Muster::ready),
            "seed {seed}"
        );
    }
}

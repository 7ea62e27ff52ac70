//! A plan carried out: the board ticks its list off as the devices turn up.
#![allow(clippy::expect_used, reason = "a test may panic")]

use std::time::Duration;

use board::{Board, ColourUse, Look};
use ledger::{FindingKind, Snapshot, Standing};
use rig::plan::{Dhcp, Hall, Held, Kind, Planned, plan};
use rigmuster::source::Simulation;
use vocab::Moment;

use crate::common::{check_invariants, play, play_checked, seeds, standing};

/// The plan for what the wire shows now.
fn planned(play: &Simulation) -> Planned {
    let scene = venue::scene("moving").expect("the scene");
    let rig = rig::read(scene.name, scene.rig.as_bytes()).rig.expect("a rig");
    let held = play.ledger().held().into_iter();
    let held: Vec<Held> = held.map(|(address, mac)| Held { address, mac }).collect();
    plan(&rig, &Hall::of(&rig), &held, Dhcp::Fix).expect("a plan")
}

fn with_list(planned: &Planned) -> Board {
    let mut board = Board::new(Look {
        colour: ColourUse::None,
        unicode: true,
    });
    board.keep_moves(planned.work.clone(), &[]);
    board
}

/// Which tasks are ticked.
fn ticked(board: &mut Board, snapshot: &Snapshot) -> Vec<bool> {
    board.take_news(snapshot, snapshot);
    board.ticks().iter().map(|task| task[0]).collect()
}

#[test]
fn the_list_is_ticked_off_as_the_cameras_change_places_and_no_two_ever_clash() {
    for seed in seeds() {
        let mut play = play("moving", seed);
        play_checked(&mut play, Duration::from_secs(20));
        let planned = planned(&play);
        let kinds: Vec<(Kind, &str)> = planned
            .work
            .tasks
            .iter()
            .map(|task| (task.kind, task.device.as_str()))
            .collect();
        assert_eq!(
            kinds,
            [(Kind::Park, "Ramp"), (Kind::Set, "Jetty"), (Kind::Set, "Ramp")],
            "seed {seed}"
        );
        let mut board = with_list(&planned);
        assert_eq!(
            ticked(&mut board, &play.snapshot()),
            [false, false, false],
            "seed {seed}"
        );
        for (until, expected) in [
            (40, [true, false, false]),
            (55, [true, true, false]),
            (75, [true, true, true]),
        ] {
            let end = Moment::from_secs(until);
            while play.now() < end {
                play.play_until((play.now() + Duration::from_millis(500)).min(end), |_| false);
                let snapshot = play.snapshot();
                check_invariants(&snapshot);
                assert!(
                    snapshot
                        .findings
                        .iter()
                        .all(|f| f.kind != FindingKind::AddressConflict),
                    "seed {seed}: {:?}",
                    snapshot.findings
                );
            }
            assert_eq!(
                ticked(&mut board, &play.snapshot()),
                expected,
                "seed {seed}, {until} s"
            );
        }
        for name in ["Ramp", "Jetty"] {
            assert_eq!(standing(&play.snapshot(), name), Standing::Present, "seed {seed}");
        }
        // Planned anew, nothing is left to do.
        assert_eq!(self::planned(&play).work.tasks, [], "seed {seed}");
    }
}

#[test]
fn a_list_that_was_not_watched_from_the_start_is_ticked_as_well() {
    let mut play = play("moving", 1);
    play_checked(&mut play, Duration::from_secs(20));
    let planned = planned(&play);
    play_checked(&mut play, Duration::from_mins(1));
    let mut board = with_list(&planned);
    assert_eq!(ticked(&mut board, &play.snapshot()), [true, true, true]);
}

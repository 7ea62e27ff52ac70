//! The same seed gives the same course, to the last change.

use std::time::Duration;

use crate::common::play;

#[test]
fn a_course_replays_exactly() {
    for name in ["clash", "power", "late"] {
        let course = |seed| {
            let mut play = play(name, seed);
            play.play(Duration::from_mins(1));
            (
                play.steps(),
                format!("{:?}", play.changes()),
                format!("{:?}", play.snapshot()),
            )
        };
        assert_eq!(course(7), course(7), "{name}");
    }
}

#[test]
fn another_seed_gives_another_course() {
    let snapshot = |seed| {
        let mut play = play("calm", seed);
        play.play(Duration::from_secs(10));
        format!("{:?}", play.snapshot().devices)
    };
    assert_ne!(snapshot(1), snapshot(2));
}

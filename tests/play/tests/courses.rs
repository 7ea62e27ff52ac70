//! A few courses beside the other tests; `tests/run` plays hundreds and `tests/long/play` thousands with the program that is
//! made for speed. `RIGMUSTER_SEEDS` says how many.
#![allow(missing_docs)]

use play::draw::draw;
use play::round::play;

/// Courses where the environment does not say.
const COURSES: u64 = 12;

/// Plays the seeds from `first` on, one in three.
fn some(first: u64) {
    let many = std::env::var("RIGMUSTER_SEEDS").ok().and_then(|v| v.parse().ok());
    for seed in (first..many.unwrap_or(COURSES)).step_by(3) {
        let outcome = play(&draw(seed));
        assert!(
            outcome.wrong.is_empty(),
            "seed {seed}: {:#?}\nplay it with tests/long/play --seed {seed}",
            outcome.wrong
        );
    }
}

#[test]
fn the_verdict_is_what_really_is() {
    some(0);
}

#[test]
fn the_verdict_is_what_really_is_again() {
    some(1);
}

#[test]
fn the_verdict_is_what_really_is_and_again() {
    some(2);
}

/// Courses that once ended, or went on the way there, other than it really was: one for each cause that
/// no other test shows (docs/simulation.md).
#[test]
fn what_once_differed_is_as_it_really_is() {
    for seed in [686, 1678, 2352, 5690, 13573] {
        let outcome = play(&draw(seed));
        assert!(outcome.wrong.is_empty(), "seed {seed}: {:#?}", outcome.wrong);
    }
}

#[test]
fn a_seed_replays_exactly() {
    let course = || {
        let outcome = play(&draw(7));
        (outcome.steps, outcome.frames, format!("{:?}", outcome.told))
    };
    assert_eq!(course(), course());
}

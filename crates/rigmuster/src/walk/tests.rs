//! The core of a walk, played with heads that are made up: still, noisy, drifting, dying.

use std::collections::BTreeSet;
use std::time::Duration;

use proptest::prelude::*;
use vocab::Moment;
use wire::persona::camera::at;
use wire::persona::head::{Head, Sway};
use wire::visca::{Digits, Position};

use super::proof::{Ask, Basis, Next, Proof, Verdict, Word};
use super::watch::{Outcome, Step, Watch, pause};

/// A head as a test plays it.
#[derive(Clone, Copy)]
struct Actor {
    head: Head,
    /// Which of its answers get lost.
    loses: fn(u64) -> bool,
}

fn still(pan: i32) -> Actor {
    Actor {
        head: Head::new(at(pan, 0), None),
        loses: |_| false,
    }
}

fn sways(steps: u16) -> Actor {
    let sway = Sway {
        steps,
        period: Duration::from_secs(6),
    };
    Actor {
        head: Head::new(at(0, 0), Some(sway)),
        loses: |_| false,
    }
}

fn set(heads: &[usize]) -> BTreeSet<usize> {
    heads.iter().copied().collect()
}

/// What happens at a push: which heads are driven how fast, in steps a second, and for how long.
struct Push<'a> {
    heads: &'a [usize],
    speed: i32,
    span: Duration,
}

fn push(heads: &[usize]) -> Push<'_> {
    Push {
        heads,
        speed: 200,
        span: Duration::from_millis(600),
    }
}

/// Plays one push: it comes a second after it was asked for. Returns what was told on the way and came of it.
fn play(actors: &mut [Actor], stick: &Push<'_>) -> (Vec<Step>, Outcome) {
    let mut now = Moment::from_secs(5);
    let mut watch = Watch::new(actors.len(), now);
    let mut told = Vec::new();
    let mut pushed: Option<Moment> = None;
    for n in 0.. {
        assert!(now < Moment::from_secs(600), "it ends");
        for (head, actor) in actors.iter().enumerate() {
            if (actor.loses)(n) {
                watch.miss(head);
            } else {
                watch.read(head, now, actor.head.position(now));
            }
        }
        match watch.step(now) {
            Step::On => {}
            Step::Over(outcome) => return (told, outcome),
            step => {
                if matches!(step, Step::Push(_)) {
                    pushed = Some(now + Duration::from_secs(1));
                }
                told.push(step);
            }
        }
        let next = now + pause(actors.len());
        if let Some(at) = pushed {
            for head in stick.heads {
                let driven = &mut actors[*head].head;
                if (now..next).contains(&at) {
                    driven.drive(at, stick.speed, 0);
                }
                let end = at + stick.span;
                if (now..next).contains(&end) {
                    driven.stop(end);
                }
            }
        }
        now = next;
    }
    unreachable!("it always ends")
}

#[test]
fn the_head_that_was_pushed_is_told() {
    let mut heads = [still(0), still(-900), still(4)];
    let (told, outcome) = play(&mut heads, &push(&[1]));
    assert_eq!(told, [Step::Push(set(&[])), Step::Moves(set(&[1]))]);
    assert_eq!(
        outcome,
        Outcome {
            moved: set(&[1]),
            ..Outcome::default()
        }
    );
}

#[test]
fn two_heads_and_no_head() {
    let mut heads = [still(0), still(0), still(0)];
    assert_eq!(play(&mut heads, &push(&[0, 2])).1.moved, set(&[0, 2]));
    assert_eq!(play(&mut heads, &push(&[])).1, Outcome::default());
}

#[test]
fn a_head_that_moves_by_itself_does_not_take_part() {
    let mut heads = [sways(80), still(0)];
    let (told, outcome) = play(&mut heads, &push(&[1]));
    assert_eq!(told[0], Step::Push(set(&[0])));
    assert_eq!((outcome.moved, outcome.restless), (set(&[1]), set(&[0])));
    // A little noise is none.
    let mut heads = [sways(3), still(0)];
    let (_, outcome) = play(&mut heads, &push(&[1]));
    assert_eq!((outcome.moved, outcome.restless), (set(&[1]), set(&[])));
    let outcome = play(&mut heads, &push(&[])).1;
    assert_eq!(outcome, Outcome::default());
}

#[test]
fn one_that_moved_before_is_not_waited_for_again() {
    let began = Moment::from_secs(5);
    let settled = |known: &[usize]| {
        let heads = [sways(80), still(0)];
        let mut watch = Watch::new(2, began);
        watch.know_restless(&set(known));
        let mut now = began;
        loop {
            for (n, actor) in heads.iter().enumerate() {
                watch.read(n, now, actor.head.position(now));
            }
            if let Step::Push(restless) = watch.step(now) {
                assert_eq!(restless, set(&[0]));
                return now.since(began);
            }
            now = now + pause(2);
        }
    };
    assert!(settled(&[]) > Duration::from_secs(10));
    assert!(settled(&[0]) < Duration::from_secs(3));
}

#[test]
fn a_preset_under_way_is_waited_for() {
    let mut heads = [still(0), still(0)];
    heads[0].head.go(Moment::from_secs(5), at(400, 0), 4);
    let (told, outcome) = play(&mut heads, &push(&[1]));
    assert_eq!(told[0], Step::Push(set(&[])));
    assert_eq!(outcome.moved, set(&[1]));
}

#[test]
fn a_stick_that_is_held_for_long_is_told() {
    let mut heads = [still(0), still(0)];
    let held = Push {
        heads: &[0],
        speed: 20,
        span: Duration::from_mins(1),
    };
    let (_, outcome) = play(&mut heads, &held);
    assert!(outcome.moving);
    assert_eq!(outcome.moved, set(&[0]));
}

#[test]
fn loss_is_no_silence_and_silence_is_told() {
    let mut heads = [still(0), still(0), still(0)];
    heads[0].loses = |n| n % 3 == 0;
    heads[2].loses = |n| n > 6;
    let (_, outcome) = play(&mut heads, &push(&[0]));
    assert_eq!(outcome.moved, set(&[0]));
    assert_eq!(outcome.lost, set(&[2]));
    let mut none = [still(0)];
    none[0].loses = |_| true;
    assert_eq!(play(&mut none, &push(&[0])).1.lost, set(&[0]));
}

#[test]
fn many_heads_are_asked_more_seldom() {
    assert_eq!(pause(1), Duration::from_millis(250));
    assert_eq!(pause(12), Duration::from_millis(250));
    // Fifty questions a second altogether.
    assert_eq!(pause(100), Duration::from_secs(2));
}

fn outcome(moved: &[usize]) -> Outcome {
    Outcome {
        moved: set(moved),
        ..Outcome::default()
    }
}

#[test]
fn one_push_proves_and_two_say_that_it_is_wrong() {
    let mut proof = Proof::new(1, set(&[]));
    assert_eq!(
        proof.push(&outcome(&[1])),
        Next::Done(Verdict::Proven(Basis::Read))
    );
    let mut proof = Proof::new(1, set(&[]));
    assert_eq!(proof.push(&outcome(&[2])), Next::Again(set(&[2])));
    assert_eq!(
        proof.push(&outcome(&[2])),
        Next::Done(Verdict::Other(2, Basis::Read))
    );
    let mut proof = Proof::new(1, set(&[]));
    proof.push(&outcome(&[1, 2]));
    assert_eq!(
        proof.push(&outcome(&[1, 2])),
        Next::Done(Verdict::Several(set(&[1, 2])))
    );
}

#[test]
fn what_moves_by_chance_does_not_do_so_twice() {
    let mut proof = Proof::new(1, set(&[]));
    assert_eq!(proof.push(&outcome(&[1, 2])), Next::Again(set(&[1, 2])));
    assert_eq!(
        proof.push(&outcome(&[1])),
        Next::Done(Verdict::Proven(Basis::Read))
    );
    let mut proof = Proof::new(1, set(&[]));
    proof.push(&outcome(&[0]));
    assert_eq!(proof.push(&outcome(&[2])), Next::Ask(Ask::Muddle(set(&[0, 2]))));
}

#[test]
fn what_cannot_be_read_is_asked_of_the_person() {
    let mut blind = Proof::new(1, set(&[1, 3]));
    assert_eq!(blind.push(&outcome(&[])), Next::Ask(Ask::Unread));
    assert_eq!(blind.word(Word::Yes), Verdict::Proven(Basis::Word));
    assert_eq!(blind.word(Word::No), Verdict::Nothing(Basis::Word));
    assert_eq!(blind.word(Word::This(1)), Verdict::Proven(Basis::Word));
    assert_eq!(blind.word(Word::This(3)), Verdict::Other(3, Basis::Word));
    // Another head that can be read did move: that is said after two pushes.
    assert_eq!(blind.push(&outcome(&[0])), Next::Again(set(&[0])));
    assert_eq!(
        blind.push(&outcome(&[0])),
        Next::Done(Verdict::Other(0, Basis::Read))
    );
    let mut seeing = Proof::new(0, set(&[3]));
    assert_eq!(seeing.push(&outcome(&[])), Next::Ask(Ask::Unseen(set(&[3]))));
    let mut all = Proof::new(0, set(&[]));
    assert_eq!(all.push(&outcome(&[])), Next::Done(Verdict::Nothing(Basis::Read)));
    let restless = Outcome {
        restless: set(&[0]),
        ..Outcome::default()
    };
    assert_eq!(all.push(&restless), Next::Ask(Ask::Unread));
}

proptest! {
    /// Whatever is read, a watch ends, and says of no head both that it moved and that it was restless.
    #[test]
    fn any_readings_come_to_an_end(
        readings in prop::collection::vec((0usize..4, -600_000i32..600_000, any::<i16>(), 0u64..900), 1..400),
        heads in 0usize..4,
    ) {
        let mut now = Moment::ZERO;
        let mut watch = Watch::new(heads, now);
        for (head, pan, tilt, later) in readings {
            now = now + Duration::from_millis(later);
            let digits = Digits::Five;
            if later % 7 == 0 {
                watch.miss(head);
            } else {
                watch.read(head, now, Position { pan, tilt: tilt.into(), digits });
            }
            if let Step::Over(outcome) = watch.step(now) {
                prop_assert!(outcome.moved.is_disjoint(&outcome.restless));
            }
        }
        // Without another word it ends by the clock, after three steps at most.
        let over = (1..=4).any(|n| {
            matches!(watch.step(now + Duration::from_secs(600 * n)), Step::Over(_))
        });
        prop_assert!(over);
    }

    /// A head that stands still is never said to move, however it trembles within the tolerance.
    #[test]
    fn trembling_is_no_movement(noise in prop::collection::vec(-4i32..=4, 200)) {
        let mut now = Moment::ZERO;
        let mut watch = Watch::new(1, now);
        for by in noise {
            now = now + pause(1);
            watch.read(0, now, at(1_000 + by, by));
            match watch.step(now) {
                Step::Moves(_) => prop_assert!(false, "it did not move"),
                Step::Over(outcome) => prop_assert_eq!(outcome, Outcome::default()),
                Step::On => {}
                Step::Push(restless) => prop_assert!(restless.is_empty()),
            }
        }
    }
}

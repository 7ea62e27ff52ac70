//! The course of a check, played against a wire that does whatever chance wants.

use proptest::prelude::*;
use vocab::Pace;

use super::*;

const OWN: Pace = Pace::Own;

/// What a wire does with an echo.
#[derive(Debug, Clone, Copy)]
enum Fate {
    /// It comes back after so many microseconds.
    Back(u64),
    /// It gets lost: its silence is told after a second.
    Lost,
    /// Our own system refuses it.
    Refused,
    /// Nothing is ever told of it, whether it left or not.
    Dropped { left: bool },
}

/// Everything that left or was refused, and the course at its end.
struct Played {
    left: Vec<(Moment, FrameSize)>,
    course: Course,
    over: Moment,
}

/// Plays a check; `fate` is asked for each echo, which waits for its turn as long as `turn` says.
fn play(pace: Pace, turn: Duration, mut fate: impl FnMut(Trial) -> Fate) -> Played {
    let mut course = Course::new(Moment::ZERO, CableOffer::at(pace), 7);
    let mut coming: Vec<(Moment, Trial, Tried)> = Vec::new();
    let mut left = Vec::new();
    let mut now = Moment::ZERO;
    for _ in 0..20_000 {
        course.tick(now);
        while let Some(trial) = course.next(now) {
            let sent = now + turn;
            match fate(trial) {
                Fate::Back(us) => {
                    let rtt = Duration::from_micros(us);
                    coming.push((sent, trial, Tried::Sent));
                    coming.push((sent + rtt, trial, Tried::Answered(rtt)));
                }
                Fate::Lost => {
                    coming.push((sent, trial, Tried::Sent));
                    coming.push((sent + Duration::from_secs(1), trial, Tried::Silent));
                }
                Fate::Refused => coming.push((sent, trial, Tried::NotSent)),
                Fate::Dropped { left: true } => coming.push((sent, trial, Tried::Sent)),
                Fate::Dropped { left: false } => {}
            }
            if fate_sent(&coming, trial).is_some() {
                left.push((sent, trial.size));
            }
        }
        if course.end().is_some() {
            return Played {
                left,
                course,
                over: now,
            };
        }
        let next = coming.iter().map(|c| c.0).chain(course.next_wake()).min();
        now = now.max(next.expect("a check that is not over wants to go on"));
        coming.sort_by_key(|c| c.0);
        while coming.first().is_some_and(|c| c.0 <= now) {
            let (at, trial, what) = coming.remove(0);
            course.tell(at, trial, what);
        }
    }
    panic!("it does not end: {course:?}");
}

/// When an echo leaves, if it does.
fn fate_sent(coming: &[(Moment, Trial, Tried)], trial: Trial) -> Option<Moment> {
    let sent = coming.iter().find(|c| c.1 == trial && c.2 == Tried::Sent);
    sent.map(|c| c.0)
}

/// No more than promised, no faster than promised, no longer than promised, and every count adds up.
fn holds(played: &Played) {
    let Played { left, course, over } = played;
    let offer = course.offer;
    for size in FrameSize::ALL {
        let many = left.iter().filter(|l| l.1 == size).count() as u32;
        let tally = &course.tallies()[size as usize];
        assert!(many <= offer.per_size, "{many} of {size:?}");
        assert!(tally.sent <= many, "{size:?}: told more than left");
        assert!(tally.told() <= tally.sent, "{size:?}: {tally:?}");
        assert_eq!(tally.told(), tally.answered() + tally.lost());
    }
    assert!(left.len() as u32 <= offer.frames());
    for pair in left.windows(2) {
        let between = pair[1].0.since(pair[0].0);
        // What was dropped without a word is not waited for, but paced all the same.
        assert!(
            between >= offer.every || between.is_zero() && pair[0].0 == pair[1].0,
            "{pair:?}"
        );
    }
    assert!(*over <= course.since + offer.at_most(), "over at {over:?}");
}

#[test]
fn on_a_sound_wire_all_goes_out_side_by_side_and_comes_back() {
    let played = play(OWN, Duration::ZERO, |_| Fate::Back(400));
    holds(&played);
    assert_eq!(played.course.end(), Some(End::Through));
    for view in played.course.sizes() {
        assert_eq!((view.sent, view.answered, view.lost), (100, 100, 0), "{view:?}");
        assert_eq!(view.time, Some(Duration::from_micros(400)));
        assert_eq!(view.jitter, Some(Duration::ZERO));
    }
    assert!(played.over < Moment::from_secs(11), "{:?}", played.over);
    // At any time no size is more than one ahead of another.
    let mut counts = [0_i32; 5];
    for (_, size) in &played.left {
        counts[*size as usize] += 1;
        let (least, most) = (counts.iter().min(), counts.iter().max());
        assert!(most.zip(least).is_some_and(|(m, l)| m - l <= 1), "{counts:?}");
    }
    // In five rounds each size stands once in each place.
    let rounds: Vec<Vec<FrameSize>> = played.left[..25]
        .chunks(5)
        .map(|round| round.iter().map(|l| l.1).collect())
        .collect();
    for place in 0..5 {
        let mut there: Vec<FrameSize> = rounds.iter().map(|round| round[place]).collect();
        there.sort_unstable();
        assert_eq!(there, FrameSize::ALL, "place {place}");
    }
}

#[test]
fn who_answers_none_of_the_first_few_is_not_asked_on() {
    let played = play(OWN, Duration::ZERO, |_| Fate::Lost);
    holds(&played);
    assert_eq!(played.course.end(), Some(End::NoEcho));
    assert_eq!(played.left.len() as u32, KNOCKS);
    assert!(played.left.iter().all(|l| l.1 == FrameSize::Least));
}

#[test]
fn one_answer_in_the_first_few_is_enough_to_go_on() {
    let played = play(OWN, Duration::ZERO, |trial| match trial.number {
        7..=10 => Fate::Lost,
        _ => Fate::Back(300),
    });
    holds(&played);
    assert_eq!(played.course.end(), Some(End::Through));
    let least = &played.course.sizes()[0];
    assert_eq!((least.sent, least.lost), (100, 4));
}

#[test]
fn what_our_own_system_refuses_is_not_tried_on() {
    let mut tries = 0;
    let played = play(OWN, Duration::ZERO, |trial| {
        if trial.size == FrameSize::Full {
            tries += 1;
            return Fate::Refused;
        }
        Fate::Back(300)
    });
    holds(&played);
    assert_eq!(played.course.end(), Some(End::Through));
    assert_eq!(tries, REFUSALS);
    assert!(played.course.tallies()[4].refused());
    let nothing = play(OWN, Duration::ZERO, |_| Fate::Refused);
    assert_eq!(nothing.course.end(), Some(End::NotSent));
}

#[test]
fn the_middle_of_an_even_count_lies_between_the_two() {
    let mut tally = Tally::default();
    assert_eq!(tally.middle(), None);
    for us in [900, 100, 300, 200] {
        tally.times.push(Duration::from_micros(us));
    }
    assert_eq!(tally.middle(), Some(Duration::from_micros(250)));
}

#[test]
fn an_answer_without_a_question_and_a_second_one_change_nothing() {
    let mut course = Course::new(Moment::ZERO, CableOffer::at(OWN), 0);
    let trial = course.next(Moment::ZERO).expect("the first");
    let answered = Tried::Answered(Duration::from_millis(1));
    course.tell(Moment::ZERO, trial, answered);
    assert_eq!(course.tallies()[0].told(), 0, "it has not left yet");
    course.tell(Moment::ZERO, trial, Tried::Sent);
    course.tell(Moment::ZERO, Trial { number: 99, ..trial }, answered);
    assert_eq!(course.tallies()[0].told(), 0, "nobody asked that");
    for _ in 0..3 {
        course.tell(Moment::from_millis(1), trial, answered);
        course.tell(Moment::from_millis(1), trial, Tried::Silent);
    }
    let tally = &course.tallies()[0];
    assert_eq!((tally.sent, tally.answered(), tally.lost()), (1, 1, 0));
}

fn fates() -> impl Strategy<Value = Vec<Fate>> {
    let fate = prop_oneof![
        8 => (50_u64..900_000).prop_map(Fate::Back),
        3 => Just(Fate::Lost),
        1 => Just(Fate::Refused),
        1 => any::<bool>().prop_map(|left| Fate::Dropped { left }),
    ];
    prop::collection::vec(fate, 1..60)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Whatever the wire, the port and the pace do.
    #[test]
    fn it_sends_no_more_than_promised_and_always_ends(
        fates in fates(),
        turn in 0_u64..3_000,
        pace in prop_oneof![Just(Pace::Own), Just(Pace::House), (1_u32..200).prop_map(|n| {
            Pace::PerSecond(n.try_into().unwrap())
        })],
        stop in prop::option::of(0_usize..600),
    ) {
        let mut nth = 0;
        let played = play(pace, Duration::from_millis(turn), |_| {
            nth += 1;
            if stop.is_some_and(|stop| nth > stop) {
                return Fate::Dropped { left: false };
            }
            fates[nth % fates.len()]
        });
        holds(&played);
    }

    /// However early it is ended, nothing leaves after that and nothing more is counted.
    #[test]
    fn after_its_end_it_does_nothing(at in 0_u64..12_000) {
        let mut course = Course::new(Moment::ZERO, CableOffer::at(OWN), 0);
        let mut now = Moment::ZERO;
        let mut last = None;
        while now < Moment::from_millis(at) && course.end().is_none() {
            if let Some(trial) = course.next(now) {
                course.tell(now, trial, Tried::Sent);
                last = Some(trial);
                if trial.number % 3 != 1 {
                    course.tell(now, trial, Tried::Answered(Duration::from_millis(1)));
                }
            }
            now = now + Duration::from_millis(20);
            course.tick(now);
        }
        course.stop(End::Stopped);
        let before = course.sizes();
        if let Some(trial) = last {
            course.tell(now, trial, Tried::Silent);
        }
        course.tick(now + Duration::from_mins(1));
        prop_assert_eq!(course.next(now + Duration::from_mins(1)), None);
        prop_assert_eq!(course.next_wake(), None);
        prop_assert_eq!(course.left(now), None);
        prop_assert_eq!(course.sizes(), before);
    }
}

//! The arithmetic of the detector, against the distributions and documents it rests on.

use proptest::prelude::*;

use super::*;

fn loss(asked: usize, lost: usize) -> Loss {
    let mut window = Loss::default();
    for n in 0..asked {
        if n < lost {
            window.lost();
        } else {
            window.answered();
        }
    }
    window
}

#[test]
fn a_wire_that_loses_nothing_is_still_given_one_per_cent() {
    assert!(loss(0, 0).bound() > 0.05, "nothing is known of it yet");
    assert!(loss(WINDOW, 0).bound() < 0.016);
    assert!(loss(WINDOW, 0).bound() >= LEAST);
    assert_eq!(enough(LEAST), 4);
}

#[test]
fn the_runs_are_the_least_that_are_improbable_enough() {
    for percent in 1..=90_u32 {
        let p = f64::from(percent) / 100.0;
        let k = i32::from(enough(p));
        assert!(p.powi(k) < CHANCE, "{percent} %: {k}");
        assert!(
            p.powi(k - 1) >= CHANCE * 0.999_999,
            "{percent} %: {k} is one too many"
        );
    }
    assert_eq!([0.01, 0.05, 0.1, 0.2, 0.25].map(enough), [4, 6, 8, 11, 12]);
}

/// The exact chance to see at most `lost` of `asked` lost at a true loss of `p`.
fn at_most(asked: u32, lost: u32, p: f64) -> f64 {
    let mut term = (1.0 - p).powi(asked.cast_signed());
    let mut sum = term;
    for n in 0..lost {
        term *= f64::from(asked - n) / f64::from(n + 1) * p / (1.0 - p);
        sum += term;
    }
    sum
}

/// Against the binomial distribution itself: at the exact one-sided 95 % bound of Clopper and
/// Pearson this chance is 5 %.
#[test]
fn the_bound_is_one_at_95_per_cent() {
    for lost in 2..=60_u32 {
        let bound = loss(WINDOW, lost as usize).bound();
        let chance = at_most(WINDOW as u32, lost, bound);
        assert!(
            (0.03..0.07).contains(&chance),
            "{lost} of {WINDOW}: {bound}, {chance}"
        );
    }
}

#[test]
fn the_window_forgets() {
    let mut window = loss(WINDOW, WINDOW);
    assert!((window.bound() - MOST).abs() < 0.02 || window.bound() < MOST);
    for _ in 0..WINDOW {
        window.answered();
    }
    assert_eq!(window.counts(), (WINDOW, 0));
    assert!((window.bound() - loss(WINDOW, 0).bound()).abs() < 1e-12);
}

/// RFC 6298 section 2: R = 100 ms; then R' = 200 ms gives RTTVAR = 3/4 * 50 + 1/4 * 100 = 62.5 and
/// SRTT = 7/8 * 100 + 1/8 * 200 = 112.5 (worked by hand). RFC 3550 section 6.4.1: J = 100/16 = 6.25.
#[test]
fn the_times_follow_the_two_documents() {
    let mut pulse = Pulse::default();
    assert_eq!(pulse.times(), None);
    pulse.answered(Duration::from_millis(100));
    let first = pulse.time.expect("answered");
    assert!((first.smooth - 0.1).abs() < 1e-12 && (first.vary - 0.05).abs() < 1e-12);
    pulse.answered(Duration::from_millis(200));
    let second = pulse.time.expect("answered");
    assert!((second.vary - 0.0625).abs() < 1e-12, "{second:?}");
    assert!((second.smooth - 0.1125).abs() < 1e-12, "{second:?}");
    assert!(
        (second.jitter.estimate().as_secs_f64() - 0.00625).abs() < 1e-9,
        "{second:?}"
    );
}

proptest! {
    #[test]
    fn the_counts_are_those_of_the_latest(ends in prop::collection::vec(any::<bool>(), 0..700)) {
        let mut window = Loss::default();
        for lost in &ends {
            if *lost { window.lost() } else { window.answered() }
        }
        let latest = &ends[ends.len().saturating_sub(WINDOW)..];
        let lost = latest.iter().filter(|l| **l).count();
        prop_assert_eq!(window.counts(), (latest.len(), lost));
        prop_assert!((LEAST..=MOST).contains(&window.bound()));
        prop_assert!(enough(window.bound()) >= 4);
    }
}

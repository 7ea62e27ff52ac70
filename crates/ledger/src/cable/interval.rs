//! What a count of losses says of the share that is lost: the exact interval of Clopper and Pearson (The use
//! of confidence or fiducial limits illustrated in the case of the binomial, Biometrika 26, 1934).
//!
//! Its ends are those shares at which so many losses, or so few, would have half of [`OUTSIDE`] for their
//! chance. So it never promises more than it holds, however few the frames are.

/// The chance that the true share lies outside.
pub(crate) const OUTSIDE: f64 = 0.01;

/// At least and at most so large a share is lost, if `lost` of `asked` were.
pub(crate) fn interval(lost: u32, asked: u32) -> (f64, f64) {
    let lost = lost.min(asked);
    let half = OUTSIDE / 2.0;
    let low = match lost.checked_sub(1) {
        None => 0.0,
        Some(less) => root(|p| 1.0 - at_most(less, asked, p) < half),
    };
    let high = if lost == asked {
        1.0
    } else {
        root(|p| at_most(lost, asked, p) > half)
    };
    (low, high)
}

/// The chance of at most `k` losses among `n`, if each is lost by itself with a chance of `p`, 0 < p < 1.
fn at_most(k: u32, n: u32, p: f64) -> f64 {
    let odds = (p / (1.0 - p)).ln();
    let mut term = f64::from(n) * (-p).ln_1p();
    let mut sum = term.exp();
    for i in 0..k {
        term += (f64::from(n - i) / f64::from(i + 1)).ln() + odds;
        sum += term.exp();
    }
    sum.min(1.0)
}

/// Where `below` ceases to hold between 0 and 1.
fn root(below: impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    // Finer than any screen shows, and than doubles can tell apart near 1.
    for _ in 0..52 {
        let middle = f64::midpoint(low, high);
        if below(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// By another formula, the quantiles of the beta distribution, at 30 digits: `betainc` of Python's mpmath
    /// 1.3.0; `scipy.stats.binomtest(k, n).proportion_ci(0.99, "exact")` of scipy 1.17.1 agrees.
    const MADE_ELSEWHERE: [(u32, u32, f64, f64); 16] = [
        (0, 20, 0.0, 0.232_729_5),
        (0, 60, 0.0, 0.084_518_653),
        (0, 100, 0.0, 0.051_604_03),
        (1, 100, 5.012_416_2e-5, 0.071_957_682),
        (2, 100, 0.001_039_619, 0.089_430_673),
        (5, 100, 0.010_940_334, 0.135_144_68),
        (12, 100, 0.051_009_388, 0.226_954_55),
        (13, 100, 0.057_697_454, 0.239_195_51),
        (23, 100, 0.131_754_81, 0.354_851_06),
        (50, 100, 0.368_861_44, 0.631_138_56),
        (99, 100, 0.928_042_32, 0.999_949_88),
        (100, 100, 0.948_395_97, 1.0),
        (3, 17, 0.020_924_344, 0.510_403_75),
        (1, 500, 1.002_503_3e-5, 0.014_765_071),
        (25, 500, 0.028_276_387, 0.080_686_875),
        (48, 500, 0.065_057_121, 0.134_894_15),
    ];

    #[test]
    fn the_ends_are_those_that_others_work_out() {
        for (lost, asked, low, high) in MADE_ELSEWHERE {
            let got = interval(lost, asked);
            assert!(
                (got.0 - low).abs() < 1e-8 && (got.1 - high).abs() < 1e-8,
                "{lost} of {asked}: {got:?}"
            );
        }
        assert_eq!(interval(0, 0), (0.0, 1.0), "nothing is known");
    }

    /// What "confidence" promises, summed over all that can happen.
    #[test]
    fn the_true_share_lies_inside_as_often_as_promised() {
        for asked in [6, 20, 60, 100] {
            let ends: Vec<(f64, f64)> = (0..=asked).map(|k| interval(k, asked)).collect();
            for percent in 1..100 {
                let p = f64::from(percent) / 100.0;
                let chance =
                    |k: u32| at_most(k, asked, p) - k.checked_sub(1).map_or(0.0, |k| at_most(k, asked, p));
                let inside: f64 = (0..=asked)
                    .filter(|k| (ends[*k as usize].0..=ends[*k as usize].1).contains(&p))
                    .map(chance)
                    .sum();
                assert!(inside >= 1.0 - OUTSIDE - 1e-9, "{asked} frames, {p}: {inside}");
            }
        }
    }

    proptest! {
        #[test]
        fn it_holds_what_was_seen_and_narrows_with_more(lost in 0_u32..=100, more in 0_u32..100) {
            let asked = lost + more;
            let (low, high) = interval(lost, asked);
            prop_assert!(0.0 <= low && low < high && high <= 1.0);
            if asked > 0 {
                let seen = f64::from(lost) / f64::from(asked);
                prop_assert!(low <= seen && seen <= high);
                let (more_low, more_high) = interval(lost * 2, asked * 2);
                prop_assert!(more_high - more_low < high - low);
            }
        }
    }
}

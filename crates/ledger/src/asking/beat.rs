//! When watching's questions fall: many together, so that the computer sleeps between, and spread
//! over the whole of their interval, so that the pace is never crowded.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::Moment;

/// Watching goes in steps of this length. At the pace `own` 254 devices make about eleven
/// questions a step, and 14 may leave at once.
pub(crate) const STEP: Duration = Duration::from_millis(40);
/// 2³² divided by the golden ratio: its multiples fall as evenly as any, for neighbours too
/// (D. Knuth, The Art of Computer Programming 6.4, on Fibonacci hashing; from memory).
const GOLDEN: u32 = 0x9e37_79b9;

/// The step nearest to `at`, so that an interval of whole steps keeps its length from step to step.
pub(crate) fn in_step(at: Moment) -> Moment {
    at_or_before(at + STEP / 2)
}

/// The first step that is not before `at`.
pub(crate) fn step_from(at: Moment) -> Moment {
    let before = at_or_before(at);
    if before == at { at } else { before + STEP }
}

/// Where in `interval` the first question about `address` falls: anywhere in it, always at the
/// same place, and for neighbouring addresses far apart.
pub(crate) fn place(address: Ipv4Addr, interval: Duration) -> Duration {
    let part = u32::from(address).wrapping_mul(GOLDEN);
    interval.mul_f64(f64::from(part) / f64::from(u32::MAX))
}

fn at_or_before(at: Moment) -> Moment {
    let step = STEP.as_nanos() as u64;
    Moment::from_nanos(at.as_nanos() / step * step)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ms(n: u64) -> Moment {
        Moment::from_millis(n)
    }

    #[test]
    fn steps_are_nearest_or_next() {
        assert_eq!(in_step(ms(1_019)), ms(1_000));
        assert_eq!(in_step(ms(1_020)), ms(1_040));
        assert_eq!(step_from(ms(1_000)), ms(1_000));
        assert_eq!(step_from(ms(1_001)), ms(1_040));
        // A question answered 300 µs after its step keeps its second.
        assert_eq!(
            in_step(ms(520) + Duration::from_micros(300) + Duration::from_secs(1)),
            ms(1_520)
        );
    }

    #[test]
    fn a_whole_subnet_spreads_evenly_over_the_interval() {
        let mut tenths = [0; 10];
        for n in 1..=254 {
            let at = place(Ipv4Addr::new(10, 40, 8, n), Duration::from_secs(5));
            tenths[(at.as_millis() / 500).min(9) as usize] += 1;
        }
        assert!(tenths.iter().all(|n| (22..=29).contains(n)), "{tenths:?}");
    }
}

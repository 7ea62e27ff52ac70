//! The one source of chance: every draw of a run comes from here, so that a seed replays it.

use std::time::Duration;

/// A small generator (`SplitMix64`: Steele, Lea, Flood 2014; constants from memory). Good enough to
/// spread delays and losses, never for secrets.
#[derive(Debug, Clone)]
pub(crate) struct Chance(u64);

impl Chance {
    pub(crate) const fn new(seed: u64) -> Self {
        Self(seed)
    }

    pub(crate) const fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Evenly from zero to below `span`; zero for no span.
    pub(crate) fn within(&mut self, span: Duration) -> Duration {
        let nanos = u64::try_from(span.as_nanos()).unwrap_or(u64::MAX);
        if nanos == 0 {
            return Duration::ZERO;
        }
        Duration::from_nanos(self.next() % nanos)
    }

    /// Evenly from `low` to below `high`.
    pub(crate) fn between(&mut self, low: Duration, high: Duration) -> Duration {
        low + self.within(high.saturating_sub(low))
    }

    /// True with a chance of `ppm` in a million. Draws nothing when the answer is certain.
    pub(crate) const fn hits(&mut self, ppm: u32) -> bool {
        ppm > 0 && self.next() % 1_000_000 < ppm as u64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_seed_draws_the_same() {
        let (mut a, mut b, mut c) = (Chance::new(7), Chance::new(7), Chance::new(8));
        let draw = |x: &mut Chance| (0..8).map(|_| x.next()).collect::<Vec<_>>();
        let first = draw(&mut a);
        assert_eq!(first, draw(&mut b));
        assert_ne!(first, draw(&mut c));
    }

    #[test]
    fn draws_stay_within_their_bounds_and_spread() {
        let mut chance = Chance::new(1);
        let (low, high) = (Duration::from_secs(1), Duration::from_secs(2));
        let drawn: Vec<_> = (0..1000).map(|_| chance.between(low, high)).collect();
        assert!(drawn.iter().all(|d| (low..high).contains(d)));
        let mean = drawn.iter().sum::<Duration>() / 1000;
        assert!(
            (Duration::from_millis(1450)..Duration::from_millis(1550)).contains(&mean),
            "{mean:?}"
        );
        assert_eq!(chance.within(Duration::ZERO), Duration::ZERO);
        assert!(!chance.hits(0) && chance.hits(1_000_000));
    }
}

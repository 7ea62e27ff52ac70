//! Addresses asked in passes, remembered as runs: one after the other, they cost next to nothing.

use core::net::Ipv4Addr;
use core::time::Duration;
use std::collections::VecDeque;

use vocab::Moment;

/// A run ends after this long, so that its first address need not wait much longer than its last.
const LENGTH: Duration = Duration::from_millis(100);
/// Runs remembered. Passes make ten a second, and one more at each address they leave out.
const MAX: usize = 4_096;

#[derive(Debug)]
struct Run {
    first: u32,
    last: u32,
    began: Moment,
    at: Moment,
}

/// Runs of addresses, each with the moment at which its last one was asked.
#[derive(Debug, Default)]
pub(crate) struct Runs {
    list: VecDeque<Run>,
}

impl Runs {
    /// Adds an address. False if there is no room, and it must be remembered by itself.
    pub(crate) fn put(&mut self, now: Moment, address: Ipv4Addr) -> bool {
        let number = u32::from(address);
        if let Some(run) = self.list.back_mut()
            && run.last.checked_add(1) == Some(number)
            && now.since(run.began) < LENGTH
        {
            run.last = number;
            run.at = now;
            return true;
        }
        let room = self.list.len() < MAX;
        if room {
            self.list.push_back(Run {
                first: number,
                last: number,
                began: now,
                at: now,
            });
        }
        room
    }

    /// When `address` was asked last: not before the first moment, not after the second.
    pub(crate) fn between(&self, address: Ipv4Addr) -> Option<(Moment, Moment)> {
        let number = u32::from(address);
        let held = |run: &&Run| run.first <= number && number <= run.last;
        self.list.iter().rev().find(held).map(|run| (run.began, run.at))
    }

    /// How many runs are remembered.
    #[cfg(test)]
    pub(crate) fn len(&self) -> usize {
        self.list.len()
    }

    /// Forgets what was asked up to `end`.
    pub(crate) fn forget_until(&mut self, end: Moment) {
        while self.list.front().is_some_and(|run| run.at <= end) {
            self.list.pop_front();
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn ten_seconds_of_a_fast_pass_are_a_hundred_runs() {
        let mut runs = Runs::default();
        for n in 0..148_800_u32 {
            let now = Moment::from_nanos(u64::from(n) * 67_204);
            assert!(runs.put(now, Ipv4Addr::from(0x0a00_0000 + n)));
        }
        assert!(runs.list.len() <= 101, "{}", runs.list.len());
        runs.forget_until(Moment::from_secs(5));
        assert!((49..=51).contains(&runs.list.len()));
    }

    proptest! {
        /// Never forgotten early, and never put off by more than the length of a run.
        #[test]
        fn the_moment_is_right_or_a_little_late(
            steps in prop::collection::vec((0_u64..60, 0_u32..30, any::<bool>()), 1..200),
        ) {
            let mut runs = Runs::default();
            let mut real = std::collections::BTreeMap::new();
            let (mut now, mut last) = (Moment::ZERO, 0);
            for (gap, jump, on) in steps {
                now = now + Duration::from_millis(gap);
                last = if on { last + 1 } else { jump };
                let address = Ipv4Addr::from(last);
                prop_assert!(runs.put(now, address));
                real.insert(address, now);
            }
            for (address, at) in real {
                let (from, to) = runs.between(address).unwrap();
                prop_assert!(from <= at && at <= to && to.since(from) <= LENGTH, "{address}: {at:?}");
            }
        }
    }
}

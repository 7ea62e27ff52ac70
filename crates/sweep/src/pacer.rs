//! How fast frames may leave.
//!
//! A token bucket kept as one moment (the virtual scheduling form of ITU-T I.371's generic cell
//! rate algorithm, from memory): whole nanoseconds, rounded so that the rate is never exceeded.
//! It holds at most 10 ms worth of frames, so a stall of any length never ends in a flood.
//!
//! What a question costs is known before it is sent and paid in advance:
//!
//! | question | frames | why |
//! |---|---|---|
//! | ARP request, echo request | 1 | |
//! | poke | 2 | the kernel's ARP request and the datagram |
//! | TCP connection | 8 | SYN, ACK, request, ACK, FIN or RST; then a second question and its ACK, or what is sent again |
//! | UDP try, each frame of a roll call | 1 | |
//! | first try through the system's sockets | +1 | the kernel's own ARP request |
//! | first try from a borrowed address | +1 | our answer to the host's ARP request for it |

use core::time::Duration;

use vocab::{Moment, Pace};

/// Frames that one TCP connection to a control port is charged.
pub(crate) const TCP_FRAMES: u64 = 8;
/// Frames that one datagram is charged.
pub(crate) const UDP_FRAMES: u64 = 1;
/// What the system's sockets cost more: the kernel's ARP request.
pub(crate) const KERNEL_ARP_FRAMES: u64 = 1;
/// What a borrowed address costs more: our answer to the host that asks whose it is.
pub(crate) const OWN_ARP_FRAMES: u64 = 1;
/// Frames that one poke is charged.
pub(crate) const POKE_FRAMES: u64 = 2;

/// A token bucket.
#[derive(Debug, Clone)]
pub(crate) struct Bucket {
    /// Nanoseconds for one token; 0 where nothing is held back.
    interval: u64,
    /// Tokens it holds when full, at least 1.
    burst: u64,
    /// When it will be full again if nothing more is taken.
    full_at: Moment,
}

impl Bucket {
    /// A full bucket that gains `per_second` tokens a second; `None`: as many as wanted.
    pub(crate) fn new(per_second: Option<u32>, burst: u64) -> Self {
        let interval = per_second.map_or(0, |n| 1_000_000_000_u64.div_ceil(u64::from(n.max(1))));
        Self {
            interval,
            burst: burst.max(1),
            full_at: Moment::ZERO,
        }
    }

    /// The bucket of a pace: 10 ms worth of frames, at least one.
    fn of_pace(per_second: Option<u32>) -> Self {
        Self::new(per_second, u64::from(per_second.unwrap_or(0) / 100))
    }

    const fn span(&self, tokens: u64) -> Duration {
        Duration::from_nanos(self.interval.saturating_mul(tokens))
    }

    /// From when on `tokens` may be taken. What costs more than the bucket holds is saved for.
    pub(crate) fn ready_at(&self, tokens: u64) -> Moment {
        if self.interval == 0 {
            return Moment::ZERO;
        }
        if tokens > self.burst {
            self.full_at + self.span(tokens - self.burst)
        } else {
            self.full_at - self.span(self.burst - tokens)
        }
    }

    /// Takes `tokens`; the caller has looked at [`Bucket::ready_at`].
    pub(crate) fn take(&mut self, now: Moment, tokens: u64) {
        let from_now = now + self.span(tokens.min(self.burst));
        self.full_at = (self.full_at + self.span(tokens)).max(from_now);
    }

    /// The same bucket at another rate; debts of the old rate do not outlive the change.
    fn change(&mut self, now: Moment, per_second: Option<u32>) {
        let old = self.full_at;
        *self = Self::of_pace(per_second);
        self.full_at = old.min(now + self.span(self.burst));
    }
}

/// The pace of everything, and the sustained rate of broadcasts within it.
#[derive(Debug, Clone)]
pub(crate) struct Pacer {
    pace: Pace,
    all: Bucket,
    broadcasts: Bucket,
}

/// The most broadcasts a second that watching may send at this pace.
fn broadcasts(pace: Pace) -> u32 {
    pace.per_second().map_or(Pace::BROADCASTS_PER_SECOND, |n| {
        n.min(Pace::BROADCASTS_PER_SECOND)
    })
}

impl Pacer {
    pub(crate) fn new(pace: Pace) -> Self {
        Self {
            pace,
            all: Bucket::of_pace(pace.per_second()),
            broadcasts: Bucket::of_pace(Some(broadcasts(pace))),
        }
    }

    pub(crate) fn set(&mut self, now: Moment, pace: Pace) {
        self.pace = pace;
        self.all.change(now, pace.per_second());
        self.broadcasts.change(now, Some(broadcasts(pace)));
    }

    /// Whether the pace is so slow that the lower ranks need a share of their own.
    pub(crate) fn is_slow(&self) -> bool {
        self.pace
            .per_second()
            .is_some_and(|n| n <= Pace::BROADCASTS_PER_SECOND)
    }

    /// From when on `frames` may be sent.
    pub(crate) fn ready_at(&self, frames: u64) -> Moment {
        self.all.ready_at(frames)
    }

    /// From when on a broadcast of watching may be sent, as far as their sustained rate goes.
    pub(crate) fn broadcast_at(&self) -> Moment {
        self.broadcasts.ready_at(1)
    }

    /// Charges `frames`, one of them a broadcast of watching if `watch`.
    pub(crate) fn take(&mut self, now: Moment, frames: u64, watch: bool) {
        self.all.take(now, frames);
        if watch {
            self.broadcasts.take(now, 1);
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn drain(bucket: &mut Bucket, now: Moment) -> u64 {
        let mut taken = 0;
        while bucket.ready_at(1) <= now && taken < 10_000 {
            bucket.take(now, 1);
            taken += 1;
        }
        taken
    }

    #[test]
    fn own_pace_gives_its_rate_over_a_second_and_no_more_after_a_stall() {
        let mut bucket = Bucket::of_pace(Pace::Own.per_second());
        let sent: u64 = (1..=1_000)
            .map(|ms| drain(&mut bucket, Moment::from_millis(ms)))
            .sum();
        assert!((1_486..=1_488 + 14).contains(&sent), "{sent}");
        assert_eq!(drain(&mut bucket, Moment::from_secs(3_600)), 14);
    }

    #[test]
    fn house_pace_has_no_burst() {
        let mut bucket = Bucket::of_pace(Pace::House.per_second());
        assert_eq!(drain(&mut bucket, Moment::from_secs(9)), 1);
        assert_eq!(bucket.ready_at(1), Moment::from_millis(9_100));
    }

    #[test]
    fn a_dial_is_saved_for_in_full() {
        let mut bucket = Bucket::of_pace(Some(10));
        bucket.take(Moment::from_secs(1), 1);
        assert_eq!(bucket.ready_at(9), Moment::from_millis(1_900));
        bucket.take(Moment::from_millis(1_900), 9);
        assert_eq!(bucket.ready_at(1), Moment::from_secs(2));
    }

    #[test]
    fn a_slower_pace_takes_effect_at_once_and_old_debt_ends_with_its_pace() {
        let mut pacer = Pacer::new(Pace::PerSecond(core::num::NonZeroU32::MIN));
        let now = Moment::from_secs(100);
        pacer.take(now, 9, false);
        pacer.set(now, Pace::House);
        assert_eq!(
            pacer.ready_at(1),
            now + Duration::from_millis(0).max(Duration::from_millis(100))
        );
    }

    proptest! {
        /// In no window more than rate × time and the larger of the burst and the largest cost.
        #[test]
        fn never_more_than_the_rate_in_any_window(
            rate in 1_u32..200_000,
            steps in prop::collection::vec((0_u64..30_000_000, 1_u64..12), 1..300),
        ) {
            let mut bucket = Bucket::of_pace(Some(rate));
            let burst = bucket.burst.max(11);
            let mut now = Moment::ZERO;
            let mut log: Vec<(Moment, u64)> = Vec::new();
            for (gap, cost) in steps {
                now = now + Duration::from_nanos(gap);
                if bucket.ready_at(cost) <= now {
                    bucket.take(now, cost);
                    log.push((now, cost));
                }
            }
            for (i, (from, _)) in log.iter().enumerate() {
                let mut sum = 0_u128;
                for (to, cost) in &log[i..] {
                    sum += u128::from(*cost);
                    let most = to.since(*from).as_nanos() * u128::from(rate) / 1_000_000_000;
                    prop_assert!(sum <= most + u128::from(burst) + 1, "{sum} in {:?}", to.since(*from));
                }
            }
        }

        /// A patient taker gets the whole rate, whatever the costs.
        #[test]
        fn never_less_than_the_rate_for_who_waits(
            rate in 1_u32..100_000,
            costs in prop::collection::vec(1_u64..12, 1..200),
        ) {
            let mut bucket = Bucket::of_pace(Some(rate));
            let mut now = Moment::ZERO;
            let mut sum = 0;
            for cost in costs {
                now = now.max(bucket.ready_at(cost));
                bucket.take(now, cost);
                sum += cost;
            }
            prop_assert!(now <= Moment::ZERO + bucket.span(sum));
        }
    }
}

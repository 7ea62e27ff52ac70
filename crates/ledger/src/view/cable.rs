//! The cable check, as screens show it.

use std::time::Duration;

use vocab::{FrameSize, Moment, Pace};

/// The most frames of one size.
const MOST: u32 = 100;
/// The least time from one frame to the next: 50 a second, which is no load for any device.
const EVERY: Duration = Duration::from_millis(20);
/// A check is planned to send for no longer than this; at a slow pace it sends fewer frames instead.
const LONGEST: Duration = Duration::from_mins(1);
/// How long the last answers are waited for.
pub(crate) const ANSWERS: Duration = Duration::from_secs(1);

/// What a check of a cable would send.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CableOffer {
    /// So many frames of each size at the most, 1 to 100.
    pub per_size: u32,
    /// At least this long from one to the next.
    pub every: Duration,
}

impl CableOffer {
    /// What it is at this pace, of which it takes half at the most.
    pub fn at(pace: Pace) -> Self {
        let half = |n: u32| Duration::from_nanos(2_000_000_000_u64.div_ceil(u64::from(n.max(1))));
        let every = pace.per_second().map_or(EVERY, half).max(EVERY);
        let fit = LONGEST.as_nanos() / every.as_nanos() / FrameSize::ALL.len() as u128;
        Self {
            per_size: u32::try_from(fit).unwrap_or(MOST).clamp(1, MOST),
            every,
        }
    }

    /// Frames in all.
    pub const fn frames(&self) -> u32 {
        self.per_size * FrameSize::ALL.len() as u32
    }

    /// Bytes on the wire in all, each way.
    pub fn bytes(&self) -> u32 {
        let once: u32 = FrameSize::ALL.iter().map(|size| u32::from(size.bytes())).sum();
        self.per_size * once
    }

    /// How long it takes where nothing holds it up.
    pub fn takes(&self) -> Duration {
        self.every * self.frames() + ANSWERS
    }

    /// It is ended after this long, whatever was sent by then.
    pub fn at_most(&self) -> Duration {
        (self.every * self.frames() * 3 / 2).max(self.every * self.frames() + 5 * ANSWERS)
    }
}

/// Why a device's cable cannot be checked now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoCheck {
    /// It is not at its address, or has none in a subnet of ours.
    NotHere,
    /// It is behind a router.
    Routed,
    /// It is this computer.
    Ours,
    /// The pace of its network leaves too few frames to tell anything by.
    TooSlow,
}

/// What came of one size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SizeView {
    /// Which.
    pub size: FrameSize,
    /// Frames sent.
    pub sent: u32,
    /// Of these so many came back whole.
    pub answered: u32,
    /// And so many did not in time. What is neither is still on its way, or was given up with the check.
    pub lost: u32,
    /// What share is lost: with 99 % confidence at least and at most so much, 0 to 1 (Clopper and
    /// Pearson's exact interval). docs/cable-check.md tells more.
    pub loss: (f64, f64),
    /// The middle (median) round-trip time; `None` without an answer.
    pub time: Option<Duration>,
    /// The jitter of the round-trip times (RFC 3550's J); `None` before the second answer.
    pub jitter: Option<Duration>,
}

/// A check of a device's cable: the one under way, or the last one.
#[derive(Debug, Clone, PartialEq)]
pub struct CableView {
    /// The device's name.
    pub device: String,
    /// Where it is plugged in, as the file says ("S1/3").
    pub port: Option<String>,
    /// How long its cable is, in metres, as the file says.
    pub cable_m: Option<f64>,
    /// What is sent at the most.
    pub offer: CableOffer,
    /// When it began.
    pub since: Moment,
    /// How long it still takes; `None` once it is over.
    pub left: Option<Duration>,
    /// What came of each size, from the least up.
    pub sizes: Vec<SizeView>,
    /// What it says, once it is over; empty before.
    pub said: String,
    /// The one next step, once it is over.
    pub advice: String,
}

impl CableView {
    /// Whether it is under way.
    pub const fn running(&self) -> bool {
        self.left.is_some()
    }

    /// Frames sent so far.
    pub fn sent(&self) -> u32 {
        self.sizes.iter().map(|size| size.sent).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slow_pace_sends_fewer_and_takes_half_of_it_at_the_most() {
        let of = |pace| {
            let offer = CableOffer::at(pace);
            (offer.frames(), offer.takes().as_secs(), offer.at_most().as_secs())
        };
        assert_eq!(of(Pace::Own), (500, 11, 15));
        assert_eq!(of(Pace::Max), (500, 11, 15));
        assert_eq!(of(Pace::House), (300, 61, 90));
        let own = CableOffer::at(Pace::Own);
        assert_eq!(own.bytes(), 100 * (64 + 256 + 512 + 1_024 + 1_518));
        for n in 1..2_000 {
            let offer = CableOffer::at(Pace::PerSecond(n.try_into().unwrap()));
            let rate = 1.0 / offer.every.as_secs_f64();
            assert!(rate <= (f64::from(n) / 2.0).min(50.0), "{n}: {rate}");
            assert!((5..=500).contains(&offer.frames()), "{n}");
            assert!(offer.takes() <= LONGEST + ANSWERS, "{n}: {:?}", offer.takes());
        }
    }
}

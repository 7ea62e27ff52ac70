//! The one monotonic clock of a run.

use std::time::{Duration, Instant};

use vocab::Moment;

/// The clock that every [`Moment`] of a live run is read from.
#[derive(Debug, Clone, Copy)]
pub struct Clock {
    start: Instant,
    /// How long the computer had slept by then.
    slept: Duration,
}

impl Clock {
    /// A clock that stands at [`Moment::ZERO`] now.
    pub fn start() -> Self {
        Self {
            start: Instant::now(),
            slept: asleep(),
        }
    }

    /// The time since its start. Never goes back.
    pub fn now(&self) -> Moment {
        Moment::ZERO + self.start.elapsed()
    }

    /// How long the computer has slept since its start, which [`Clock::now`] does not count. Zero on systems
    /// that do not tell.
    pub fn slept(&self) -> Duration {
        asleep().saturating_sub(self.slept)
    }
}

/// How long the computer has slept since it was switched on.
#[cfg(target_os = "linux")]
fn asleep() -> Duration {
    crate::linux::asleep()
}

#[cfg(not(target_os = "linux"))]
const fn asleep() -> Duration {
    Duration::ZERO
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_starts_near_zero_and_never_goes_back() {
        let clock = Clock::start();
        let first = clock.now();
        assert!(first < Moment::from_secs(60));
        assert!(clock.now() >= first);
        assert!(clock.slept() < Duration::from_mins(1), "nothing sleeps here");
    }
}

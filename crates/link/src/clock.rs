//! The one monotonic clock of a run.

use std::time::Instant;

use vocab::Moment;

/// The clock that every [`Moment`] of a live run is read from.
#[derive(Debug, Clone, Copy)]
pub struct Clock(Instant);

impl Clock {
    /// A clock that stands at [`Moment::ZERO`] now.
    pub fn start() -> Self {
        Self(Instant::now())
    }

    /// The time since its start. Never goes back.
    pub fn now(&self) -> Moment {
        Moment::ZERO + self.0.elapsed()
    }
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
    }
}

//! Monotonic time as a value.

use core::fmt;
use core::ops::{Add, Sub};
use core::time::Duration;

/// A moment on the program's own monotonic clock: nanoseconds since the run began.
///
/// Pure rooms never read a clock; they are handed a `Moment`. The range is about 584 years.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Moment(u64);

impl Moment {
    /// The start of the run.
    pub const ZERO: Self = Self(0);
    /// Later than any moment a run can reach.
    pub const FAR: Self = Self(u64::MAX);

    /// A moment `nanos` nanoseconds after the start.
    pub const fn from_nanos(nanos: u64) -> Self {
        Self(nanos)
    }

    /// A moment `micros` microseconds after the start.
    pub const fn from_micros(micros: u64) -> Self {
        Self(micros.saturating_mul(1_000))
    }

    /// A moment `millis` milliseconds after the start.
    pub const fn from_millis(millis: u64) -> Self {
        Self(millis.saturating_mul(1_000_000))
    }

    /// A moment `secs` seconds after the start.
    pub const fn from_secs(secs: u64) -> Self {
        Self(secs.saturating_mul(1_000_000_000))
    }

    /// Nanoseconds since the start.
    pub const fn as_nanos(self) -> u64 {
        self.0
    }

    /// Whole microseconds since the start.
    pub const fn as_micros(self) -> u64 {
        self.0 / 1_000
    }

    /// Whole milliseconds since the start.
    pub const fn as_millis(self) -> u64 {
        self.0 / 1_000_000
    }

    /// The time from `earlier` to this moment; zero if `earlier` is in fact later.
    pub const fn since(self, earlier: Self) -> Duration {
        Duration::from_nanos(self.0.saturating_sub(earlier.0))
    }
}

impl Add<Duration> for Moment {
    type Output = Self;

    fn add(self, span: Duration) -> Self {
        let nanos = u64::try_from(span.as_nanos()).unwrap_or(u64::MAX);
        Self(self.0.saturating_add(nanos))
    }
}

impl Sub<Duration> for Moment {
    type Output = Self;

    fn sub(self, span: Duration) -> Self {
        let nanos = u64::try_from(span.as_nanos()).unwrap_or(u64::MAX);
        Self(self.0.saturating_sub(nanos))
    }
}

impl fmt::Debug for Moment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{:06}s", self.0 / 1_000_000_000, self.0 / 1_000 % 1_000_000)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn arithmetic_saturates_at_both_ends() {
        assert_eq!(Moment::FAR + Duration::from_secs(1), Moment::FAR);
        assert_eq!(Moment::ZERO - Duration::from_secs(1), Moment::ZERO);
        assert_eq!(Moment::from_millis(5).since(Moment::from_secs(1)), Duration::ZERO);
        assert_eq!(
            Moment::from_secs(2).since(Moment::from_millis(500)),
            Duration::from_millis(1500)
        );
    }

    #[test]
    fn debug_reads_as_seconds() {
        assert_eq!(format!("{:?}", Moment::from_micros(1_250_003)), "1.250003s");
    }
}

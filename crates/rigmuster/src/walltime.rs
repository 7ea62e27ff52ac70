//! Wall-clock time, for display and for the record only.

use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp, ZonedDateTime};
use vocab::Moment;

use crate::journal::Stamp;

/// What the clock on the wall showed when the run began.
#[derive(Debug, Clone)]
pub(crate) struct WallTime {
    start: Timestamp,
    zone: TimeZone,
}

impl WallTime {
    /// Reads the wall clock once; `now` is the same instant on the run's own clock.
    pub(crate) fn read(now: Moment) -> Self {
        let elapsed = SignedDuration::from_nanos(i64::try_from(now.as_nanos()).unwrap_or(i64::MAX));
        let start = Timestamp::now()
            .checked_sub(elapsed)
            .unwrap_or(Timestamp::UNIX_EPOCH);
        Self {
            start,
            zone: TimeZone::system(),
        }
    }

    /// What the wall clock showed at `at`, a moment not long before `now`, which is this very
    /// instant: the clock may have been set since the start.
    pub(crate) fn stamp(&self, at: Moment, now: Moment) -> Stamp {
        let ago = i64::try_from(now.since(at).as_nanos()).unwrap_or(i64::MAX);
        let then = Timestamp::now().checked_sub(SignedDuration::from_nanos(ago));
        self.stamped(then.unwrap_or(Timestamp::UNIX_EPOCH))
    }

    /// What a wall clock would show at `moment` that went on evenly since the start: that of a
    /// scene, which may be played faster.
    pub(crate) fn played(&self, moment: Moment) -> Stamp {
        self.stamped(self.at(moment))
    }

    /// This instant, in the local zone.
    pub(crate) fn now() -> ZonedDateTime {
        ZonedDateTime::now()
    }

    fn stamped(&self, at: Timestamp) -> Stamp {
        Stamp {
            ms: at.as_millisecond(),
            offset_s: at.to_zoned_datetime(self.zone.clone()).offset().seconds(),
        }
    }

    /// The time of day at `moment`, local, as `18:42:07`.
    pub(crate) fn time_of_day(&self, moment: Moment) -> String {
        self.at(moment)
            .to_zoned_datetime(self.zone.clone())
            .strftime("%H:%M:%S")
            .to_string()
    }

    /// The local date and time at `moment` with its offset, as RFC 3339 writes it.
    pub(crate) fn rfc3339(&self, moment: Moment) -> String {
        self.at(moment)
            .to_zoned_datetime(self.zone.clone())
            .strftime("%Y-%m-%dT%H:%M:%S%:z")
            .to_string()
    }

    fn at(&self, moment: Moment) -> Timestamp {
        let span = SignedDuration::from_nanos(i64::try_from(moment.as_nanos()).unwrap_or(i64::MAX));
        self.start.checked_add(span).unwrap_or(Timestamp::MAX)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_become_times_of_day() {
        let wall = WallTime {
            start: "2026-01-31T23:59:58Z".parse().unwrap(),
            zone: TimeZone::UTC,
        };
        assert_eq!(wall.time_of_day(Moment::from_secs(3)), "00:00:01");
        assert_eq!(
            wall.rfc3339(Moment::from_millis(2_500)),
            "2026-02-01T00:00:00+00:00"
        );
        assert!(!wall.rfc3339(Moment::FAR).is_empty());
    }
}

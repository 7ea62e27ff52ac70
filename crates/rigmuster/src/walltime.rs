//! Wall-clock time, for display and for the record only.

use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use vocab::Moment;

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

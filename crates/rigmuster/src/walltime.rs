//! Wall-clock time, for display and for the record only.

use std::time::Duration;

use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp, ZonedDateTime};
use vocab::Moment;
use wire::onvif::DeviceTime;

use crate::journal::Stamp;

/// A clock that differs by less from what was expected was not set: drift and slow correction are followed in
/// silence.
const SET: SignedDuration = SignedDuration::from_secs(2);
/// Times that the clock was set, or the computer slept, that are remembered.
const MOST: usize = 64;

/// What the wall clock shows in UTC, as a device's clock would.
pub(crate) fn utc() -> Option<DeviceTime> {
    let now = Timestamp::now().to_zoned_datetime(TimeZone::UTC);
    let (date, time) = (now.date(), now.time());
    DeviceTime::new(
        (date.year(), date.month(), date.day()),
        (time.hour(), time.minute(), time.second()),
    )
}

/// From `since` on the wall clock went evenly, as if it had shown `start` at the run's start.
#[derive(Debug, Clone, Copy)]
struct Even {
    since: Moment,
    start: Timestamp,
}

/// What the clock on the wall shows at the run's moments.
#[derive(Debug, Clone)]
pub(crate) struct WallTime {
    /// In the order of their moments; never empty.
    even: Vec<Even>,
    /// How long the computer had slept when the last of them began.
    slept: Duration,
    zone: TimeZone,
}

impl WallTime {
    /// Reads the wall clock once; `now` is the same instant on the run's own clock.
    pub(crate) fn read(now: Moment) -> Self {
        let start = Timestamp::now()
            .checked_sub(signed(now))
            .unwrap_or(Timestamp::UNIX_EPOCH);
        Self {
            even: vec![Even {
                since: Moment::ZERO,
                start,
            }],
            slept: Duration::ZERO,
            zone: TimeZone::system(),
        }
    }

    /// Follows a clock that was set, and one that went on while the computer slept, `slept` in all so far. What
    /// was before keeps its time. Returns by how much it was set, and whether ahead.
    pub(crate) fn follow(&mut self, now: Moment, slept: Duration) -> Option<(bool, Duration)> {
        self.follow_to(now, slept, Timestamp::now())
    }

    fn follow_to(&mut self, now: Moment, slept: Duration, shows: Timestamp) -> Option<(bool, Duration)> {
        let more = SignedDuration::try_from(slept.saturating_sub(self.slept)).unwrap_or_default();
        let off = shows.duration_since(self.at(now));
        let set = off - more;
        if off.abs() < SET {
            return None;
        }
        let start = shows.checked_sub(signed(now)).unwrap_or(Timestamp::UNIX_EPOCH);
        if self.even.len() >= MOST {
            self.even.remove(1);
        }
        self.even.push(Even { since: now, start });
        self.slept = slept;
        (set.abs() >= SET).then(|| (set.is_positive(), set.unsigned_abs()))
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
        let then = self.even.iter().rev().find(|e| e.since <= moment);
        let start = then
            .or(self.even.first())
            .map_or(Timestamp::UNIX_EPOCH, |e| e.start);
        start.checked_add(signed(moment)).unwrap_or(Timestamp::MAX)
    }
}

/// The time since the run began.
fn signed(moment: Moment) -> SignedDuration {
    SignedDuration::from_nanos(i64::try_from(moment.as_nanos()).unwrap_or(i64::MAX))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn began(at: &str) -> WallTime {
        WallTime {
            even: vec![Even {
                since: Moment::ZERO,
                start: at.parse().unwrap(),
            }],
            slept: Duration::ZERO,
            zone: TimeZone::UTC,
        }
    }

    #[test]
    fn a_clock_that_is_set_or_slept_through_is_followed_and_what_was_keeps_its_time() {
        let mut wall = began("2026-01-31T18:00:00Z");
        let s = Moment::from_secs;
        let none = Duration::ZERO;
        let shows = |at: &str| at.parse::<Timestamp>().unwrap();
        assert_eq!(
            wall.follow_to(s(60), none, shows("2026-01-31T18:01:01Z")),
            None,
            "a second is drift"
        );
        // Set ahead by an hour.
        let set = wall.follow_to(s(120), none, shows("2026-01-31T19:02:00Z"));
        assert_eq!(set, Some((true, Duration::from_hours(1))));
        assert_eq!(wall.time_of_day(s(119)), "18:01:59");
        assert_eq!(wall.time_of_day(s(121)), "19:02:01");
        // Then the computer sleeps for 41 minutes, in which the run's own clock stands still: nobody set it.
        let slept = Duration::from_mins(41);
        assert_eq!(wall.follow_to(s(130), slept, shows("2026-01-31T19:43:10Z")), None);
        assert_eq!(wall.time_of_day(s(131)), "19:43:11");
        assert_eq!(wall.time_of_day(s(125)), "19:02:05");
        // And back.
        let set = wall.follow_to(s(140), slept, shows("2026-01-31T19:13:20Z"));
        assert_eq!(set, Some((false, Duration::from_mins(30))));
        // However often: the first and the latest stay.
        for n in 0..500 {
            let at = if n % 2 == 0 {
                "2026-01-31T10:00:00Z"
            } else {
                "2026-01-31T20:00:00Z"
            };
            wall.follow_to(s(200 + n), slept, shows(at));
        }
        assert!(wall.even.len() <= MOST);
        assert_eq!(wall.time_of_day(s(1)), "18:00:01");
        assert_eq!(wall.time_of_day(s(699)), "20:00:00");
    }

    #[test]
    fn moments_become_times_of_day() {
        let wall = began("2026-01-31T23:59:58Z");
        assert_eq!(wall.time_of_day(Moment::from_secs(3)), "00:00:01");
        assert_eq!(
            wall.rfc3339(Moment::from_millis(2_500)),
            "2026-02-01T00:00:00+00:00"
        );
        assert!(!wall.rfc3339(Moment::FAR).is_empty());
    }
}

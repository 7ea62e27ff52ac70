//! The time on the wall, as it is kept.

use jiff::Timestamp;
use jiff::tz::{Offset, TimeZone};

/// A moment on the wall clock, with the offset that the place kept then.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Stamp {
    /// Milliseconds since 1970-01-01T00:00:00Z.
    pub ms: i64,
    /// Seconds that local time was ahead of UTC.
    pub offset_s: i32,
}

impl Stamp {
    /// As RFC 3339 writes it, to the millisecond. What no calendar can say becomes 1970.
    pub fn rfc3339(self) -> String {
        self.format("%Y-%m-%dT%H:%M:%S%.3f%:z")
    }

    /// The date, as `2026-11-26`.
    pub(crate) fn date(self) -> String {
        self.format("%Y-%m-%d")
    }

    /// The time of day, as `18:42:07`.
    pub(crate) fn time(self) -> String {
        self.format("%H:%M:%S")
    }

    /// Date and time of day to the minute.
    pub(crate) fn minute(self) -> String {
        self.format("%Y-%m-%d %H:%M")
    }

    fn format(self, pattern: &str) -> String {
        let at = Timestamp::from_millisecond(self.ms).unwrap_or(Timestamp::UNIX_EPOCH);
        let zone = Offset::from_seconds(self.offset_s).map_or(TimeZone::UTC, TimeZone::fixed);
        at.to_zoned_datetime(zone).strftime(pattern).to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_written_as_rfc_3339_wants_it() {
        // RFC 3339 section 5.8, second example: 1996-12-19T16:39:57-08:00.
        let stamp = Stamp {
            ms: 851_042_397_000,
            offset_s: -8 * 3600,
        };
        assert_eq!(stamp.rfc3339(), "1996-12-19T16:39:57.000-08:00");
        assert_eq!(stamp.minute(), "1996-12-19 16:39");
        assert_eq!(
            (stamp.date() + "T" + &stamp.time()).as_str(),
            "1996-12-19T16:39:57"
        );
    }

    #[test]
    fn nonsense_in_a_file_is_still_a_time() {
        for (ms, offset_s) in [(i64::MAX, 0), (i64::MIN, i32::MAX), (0, i32::MIN)] {
            assert!(Stamp { ms, offset_s }.rfc3339().starts_with("1970-01-01T"));
        }
    }
}

//! A device's own time: ONVIF Core Specification (`GetSystemDateAndTime`), XML Schema part 2
//! section 3.2.7 (how a time is written).
//!
//! A login by token carries the time, and a device refuses one that is far from its own clock, which
//! may be years off: so it is told its own.

use core::time::Duration;

use jiff::SignedDuration;
use jiff::civil::DateTime;

use super::answer::{Answer, Refusal};
use super::tree::Node;

/// A moment by a device's clock, in UTC, to the second.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DeviceTime(DateTime);

impl DeviceTime {
    /// `None` if there is no such date or time. A leap second counts as the one before it.
    pub fn new(date: (i16, i8, i8), time: (i8, i8, i8)) -> Option<Self> {
        let (hour, minute, second) = time;
        let second = if second == 60 { 59 } else { second };
        DateTime::new(date.0, date.1, date.2, hour, minute, second, 0)
            .ok()
            .map(Self)
    }

    /// What clocks show that were never set (common practice, no source).
    pub const NEVER_SET: Self = Self(DateTime::constant(2000, 1, 1, 0, 0, 0, 0));

    /// What the clock shows so much later.
    #[must_use]
    pub fn after(self, span: Duration) -> Self {
        let span = SignedDuration::try_from(span).unwrap_or(SignedDuration::MAX);
        Self(self.0.saturating_add(span))
    }

    /// The moment that a message carries.
    pub(super) fn of_stamp(text: &str) -> Option<Self> {
        let text = text.strip_suffix('Z')?;
        text.parse().ok().map(Self)
    }

    /// How many seconds it is after `other`.
    pub(super) fn seconds_from(self, other: Self) -> i64 {
        self.0.duration_since(other.0).as_secs()
    }

    /// Year, month and day; hour, minute and second.
    pub(crate) fn parts(self) -> ([i16; 3], [i8; 3]) {
        let at = self.0;
        (
            [at.year(), at.month().into(), at.day().into()],
            [at.hour(), at.minute(), at.second()],
        )
    }

    /// As a message carries it.
    pub(super) fn stamp(self) -> String {
        self.0.strftime("%Y-%m-%dT%H:%M:%SZ").to_string()
    }
}

/// The time in an answer to [`super::Question::Clock`], as of when the device answered.
///
/// # Errors
/// [`Refusal::Missing`] where the device does not tell its UTC, which older ones leave out.
pub fn read_clock(answer: &Answer) -> Result<DeviceTime, Refusal> {
    let body = answer.body("GetSystemDateAndTimeResponse")?;
    let utc = body
        .down(&["SystemDateAndTime", "UTCDateTime"])
        .ok_or(Refusal::Missing("UTCDateTime"))?;
    let (date, time) = (utc.down(&["Date"]), utc.down(&["Time"]));
    let small = |of: Option<&Node>, name| of?.number::<i8>(name);
    let read = || {
        let year = date?.number::<i16>("Year")?;
        DeviceTime::new(
            (year, small(date, "Month")?, small(date, "Day")?),
            (
                small(time, "Hour")?,
                small(time, "Minute")?,
                small(time, "Second")?,
            ),
        )
    };
    read().ok_or(Refusal::Missing("UTCDateTime"))
}

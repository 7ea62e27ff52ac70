//! Spans of time as a person writes them: "2h", "today", "2026-11-26 18:00".

use jiff::civil::{Date, DateTime, Time};
use jiff::{SignedDuration, Timestamp, ZonedDateTime};

/// Which end of a span is meant: a day begins at its first moment and ends at its last.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum End {
    /// `--since`.
    Since,
    /// `--until`.
    Until,
}

const FORMS: &str = "a time is written as 2h or 3d (so long ago), today, yesterday, 18:30, 2026-11-26, \
                     \"2026-11-26 18:30\" or 2026-11-26T18:30:00+01:00";
const AGES: &str = "an age is written 30d, 12w, 48h or 90m";

/// Reads a moment as seen from `now`, in its zone. In milliseconds since 1970.
pub(crate) fn parse_when(text: &str, now: &ZonedDateTime, end: End) -> Result<i64, String> {
    let text = text.trim();
    read(text, now, end)
        .map(Timestamp::as_millisecond)
        .ok_or_else(|| format!("{text:?} is no time: {FORMS}"))
}

fn read(text: &str, now: &ZonedDateTime, end: End) -> Option<Timestamp> {
    if let Ok(age) = parse_age(text) {
        return now.timestamp().checked_sub(age).ok();
    }
    if let Ok(at) = text.parse::<Timestamp>() {
        return Some(at);
    }
    let local = |at: DateTime| Some(at.to_zoned_datetime(now.time_zone().clone()).ok()?.timestamp());
    let day = |date: Date| match end {
        End::Since => local(date.at(0, 0, 0, 0)),
        End::Until => local(date.tomorrow().ok()?.at(0, 0, 0, 0))?
            .checked_sub(SignedDuration::from_millis(1))
            .ok(),
    };
    match text {
        "today" => day(now.date()),
        "yesterday" => day(now.date().yesterday().ok()?),
        _ if text.contains(':') && !text.contains('-') => {
            local(now.date().to_datetime(text.parse::<Time>().ok()?))
        }
        _ if text.contains(':') => local(text.parse().ok()?),
        _ => day(text.parse().ok()?),
    }
}

/// Reads an age such as `30d`.
pub(crate) fn parse_age(text: &str) -> Result<SignedDuration, String> {
    let wrong = || format!("{text:?} is no age: {AGES}");
    let digits = text.bytes().take_while(u8::is_ascii_digit).count();
    let (number, unit) = text.split_at(digits);
    let number: i64 = number.parse().map_err(|_| wrong())?;
    let each = match unit {
        "s" => 1,
        "m" => 60,
        "h" => 3_600,
        "d" => 86_400,
        "w" => 7 * 86_400,
        _ => return Err(wrong()),
    };
    let seconds = number.checked_mul(each).filter(|s| *s > 0).ok_or_else(wrong)?;
    Ok(SignedDuration::from_secs(seconds))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn now() -> ZonedDateTime {
        "2026-11-26T20:15:00+01:00[+01:00]".parse().unwrap()
    }

    fn ms(text: &str) -> i64 {
        text.parse::<Timestamp>().unwrap().as_millisecond()
    }

    #[test]
    fn a_time_may_be_written_as_people_do() {
        for (text, since, until) in [
            ("2h", "2026-11-26T17:15:00Z", "2026-11-26T17:15:00Z"),
            ("1w", "2026-11-19T19:15:00Z", "2026-11-19T19:15:00Z"),
            ("today", "2026-11-25T23:00:00Z", "2026-11-26T22:59:59.999Z"),
            ("yesterday", "2026-11-24T23:00:00Z", "2026-11-25T22:59:59.999Z"),
            ("2026-11-20", "2026-11-19T23:00:00Z", "2026-11-20T22:59:59.999Z"),
            ("18:30", "2026-11-26T17:30:00Z", "2026-11-26T17:30:00Z"),
            ("2026-11-20 18:30", "2026-11-20T17:30:00Z", "2026-11-20T17:30:00Z"),
            (
                "2026-11-20T18:30:05",
                "2026-11-20T17:30:05Z",
                "2026-11-20T17:30:05Z",
            ),
            (
                "2026-11-20T18:30:05-05:00",
                "2026-11-20T23:30:05Z",
                "2026-11-20T23:30:05Z",
            ),
        ] {
            assert_eq!(
                parse_when(text, &now(), End::Since),
                Ok(ms(since)),
                "since {text}"
            );
            assert_eq!(
                parse_when(text, &now(), End::Until),
                Ok(ms(until)),
                "until {text}"
            );
        }
    }

    #[test]
    fn what_is_no_time_is_refused_with_the_forms() {
        for text in [
            "",
            "soon",
            "0h",
            "-2h",
            "2026-13-01",
            "25:00",
            "99999999999999999w",
            "2026-11-26 nine",
        ] {
            let why = parse_when(text, &now(), End::Since).unwrap_err();
            assert!(why.contains("is written"), "{why}");
        }
        for text in ["", "d", "30", "0d", "-1d", "3y", "9223372036854775807w"] {
            assert!(parse_age(text).is_err(), "{text}");
        }
    }
}

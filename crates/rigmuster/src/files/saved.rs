//! A `check --json` or `survey --json` that somebody saved, read back.

use std::borrow::Cow;
use std::fmt;
use std::path::{Path, PathBuf};

use super::find::shown;
use super::read::{Kind, ReadError, read_bounded};
use crate::report::Report;

/// A saved check as a file. With 500 unlisted hosts and 10,000 devices it has less than 16 MiB.
const SAVED: Kind = Kind {
    name: "saved check",
    example: "check.json",
    largest: 16,
};

/// Why a saved check cannot be used. Each message ends in the next step.
#[derive(Debug)]
pub(crate) enum SavedError {
    /// Its bytes cannot be had.
    Unread(ReadError),
    /// It is no such object.
    Faulty(PathBuf, serde_json::Error),
}

impl fmt::Display for SavedError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unread(why) => why.fmt(f),
            Self::Faulty(path, why) => write!(
                f,
                "{} is no saved check that this version reads: {}\n\
                 next step: make one with rigmuster check RIG --json > check.json, and name that file",
                shown(path),
                vocab::Text::clean(&why.to_string())
            ),
        }
    }
}

/// Reads a saved check or survey if that is what the file holds; `None` if it holds something else, such as a rig file.
pub(crate) fn load_if_saved(path: &Path) -> Result<Option<Report>, SavedError> {
    let bytes = read_bounded(path, SAVED).map_err(SavedError::Unread)?;
    let text = utf8(&bytes);
    // No rig file begins so.
    let is_object = text.trim_ascii_start().starts_with(b"{");
    is_object.then(|| parse(path, &text)).transpose()
}

/// Reads a saved check or survey.
pub(crate) fn load_saved(path: &Path) -> Result<Report, SavedError> {
    let bytes = read_bounded(path, SAVED).map_err(SavedError::Unread)?;
    of_bytes(path, &bytes)
}

/// Reads the bytes of one; `path` is only repeated in errors.
pub(crate) fn of_bytes(path: &Path, bytes: &[u8]) -> Result<Report, SavedError> {
    parse(path, &utf8(bytes))
}

fn parse(path: &Path, text: &[u8]) -> Result<Report, SavedError> {
    serde_json::from_slice(text).map_err(|why| SavedError::Faulty(path.to_owned(), why))
}

/// Without its byte order mark. One shell of Windows sends what programs print to a file as UTF-16.
fn utf8(bytes: &[u8]) -> Cow<'_, [u8]> {
    let units = |pair: fn([u8; 2]) -> u16| {
        let (pairs, _) = bytes.as_chunks::<2>();
        let units: Vec<u16> = pairs.iter().skip(1).map(|two| pair(*two)).collect();
        Cow::Owned(String::from_utf16_lossy(&units).into_bytes())
    };
    match bytes {
        [0xff, 0xfe, ..] => units(u16::from_le_bytes),
        [0xfe, 0xff, ..] => units(u16::from_be_bytes),
        [0xef, 0xbb, 0xbf, rest @ ..] => Cow::Borrowed(rest),
        _ => Cow::Borrowed(bytes),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::scratch::Scratch;

    const CHECK: &str = r#"{ "format": 1, "version": "0", "taken_at": "2026-11-26T18:42:07+00:00", "elapsed_ms": 1,
        "rig": { "title": "Größe", "file": "hall.rig.toml" }, "link": null, "gateway": null, "ready": false,
        "counts": {}, "devices": [], "unlisted": [], "unlisted_total": 0, "findings": [], "later": 1 }"#;

    #[test]
    fn a_check_is_read_however_it_was_saved() {
        let scratch = Scratch::new();
        let wide = |order: fn(u16) -> [u8; 2]| -> Vec<u8> {
            let text = format!("\u{feff}{CHECK}");
            text.encode_utf16().flat_map(order).collect()
        };
        for bytes in [
            CHECK.as_bytes().to_vec(),
            format!("\u{feff}\n{CHECK}").into_bytes(),
            wide(u16::to_le_bytes),
            wide(u16::to_be_bytes),
        ] {
            let path = scratch.file("check.json", bytes);
            let report = load_if_saved(&path).unwrap().unwrap();
            assert_eq!(report.rig.unwrap().title, "Größe");
        }
    }

    #[test]
    fn what_is_no_check_is_refused_with_a_next_step() {
        let scratch = Scratch::new();
        let rig = scratch.file("hall.rig.toml", "format = 1\n");
        assert!(matches!(load_if_saved(&rig), Ok(None)));
        for bytes in [
            "{",
            "{}",
            &CHECK.replace("\"format\": 1", "\"format\": 2"),
            &CHECK[..CHECK.len() - 5],
            &"{\"a\":".repeat(100_000),
        ] {
            let said = load_if_saved(&scratch.file("bad.json", bytes))
                .unwrap_err()
                .to_string();
            assert!(said.contains("next step: "), "{said}");
        }
    }
}

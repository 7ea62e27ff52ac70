//! Reads the text as TOML and goes on after mistakes.
//!
//! The parser stops at the first mistake that it cannot make sense of. So that all of a file's
//! mistakes come at once, the damaged entry (or, where a `[header]` is damaged, its whole table)
//! is blanked out, length and line breaks kept, and the rest is read again.

use std::ops::Range;

use toml_edit::Document;

use super::faults::Faults;
use super::shape;
use super::source::Source;
use super::words::harmless;

/// How often a damaged text is read at most.
const ROUNDS: usize = 40;
/// How many bytes are read in all these rounds at most, so that a huge file is read only a few
/// times. A rig of a hundred devices has some 20,000 bytes.
const BYTES: usize = 8 * 1024 * 1024;

/// The document as far as it can be read; places in it are places in `text`.
pub(super) fn parse(text: &str, source: &Source<'_>, faults: &mut Faults) -> Option<Document<String>> {
    let mut work = text.to_owned();
    for region in shape::check(text, source, faults) {
        blank(&mut work, region);
    }
    for _ in 0..ROUNDS.min(BYTES / text.len().max(1)).max(2) {
        let error = match Document::parse(work.clone()) {
            Ok(document) => return Some(document),
            Err(error) => error,
        };
        faults.damaged = true;
        let mut span = error.span().unwrap_or(0..0);
        span.start = span.start.min(text.len());
        span.end = span.end.clamp(span.start, text.len());
        let region = shape::damaged_region(source, span.start);
        let (message, mend) = explain(
            error.message(),
            text.get(span.clone()).unwrap_or_default(),
            &region.header,
        );
        faults.error(&span, message, mend);
        if work
            .get(region.span.clone())
            .is_none_or(|part| part.trim().is_empty())
        {
            break;
        }
        blank(&mut work, region.span);
    }
    let end = text.len()..text.len();
    faults.error(
        &end,
        "there may be more mistakes that cannot be told apart yet",
        "Mend those above, then check the file again.",
    );
    None
}

/// Overwrites a part of the text with spaces, byte for byte, and leaves its line breaks.
fn blank(work: &mut String, span: Range<usize>) {
    if let Some(part) = work.get(span.clone()) {
        let spaces: String = part
            .bytes()
            .map(|b| {
                if matches!(b, b'\n' | b'\r') {
                    char::from(b)
                } else {
                    ' '
                }
            })
            .collect();
        work.replace_range(span, &spaces);
    }
}

/// What the parser complains of in plain words, and how to mend it.
fn explain(message: &str, at: &str, header: &str) -> (String, String) {
    let at = harmless(at);
    let list = matches!(header, "device" | "switch");
    let (message, mend) = match message {
        m if m.starts_with("duplicate key") && list => (
            format!("a second [{header}] table"),
            format!("Write [[{header}]] with two brackets on each side, once for every {header}."),
        ),
        m if m.starts_with("duplicate key") && !header.is_empty() => {
            (format!("`{at}` stands twice in the file"), "Keep one of the two, with all that belongs to it.".into())
        }
        m if m.starts_with("duplicate key") => {
            (format!("`{at}` stands twice in the same table"), "Keep one of the two and take the other out.".into())
        }
        m if m.starts_with("string values must be quoted") => {
            (format!("`{at}` is text without quotes"), "Put it in double quotes, or write a plain number.".into())
        }
        m if m.starts_with("key with no value") => {
            ("a key without a value".into(), "Write KEY = VALUE, or put # before the line to make it a comment.".into())
        }
        m if m.starts_with("invalid basic string") || m.starts_with("invalid literal string") => (
            format!("this text is not well formed ({})", harmless(m)),
            "Text stands between two double quotes on one line; write \\\" and \\\\ for a quote and a backslash inside.".into(),
        ),
        m if m.contains("unclosed table") || m.contains("unclosed array table") => {
            ("a header without its closing bracket".into(), "Write [network], or [[device]] with two brackets on each side.".into())
        }
        m => (
            format!("this is not TOML ({})", harmless(m)),
            "Each entry is KEY = VALUE on a line of its own, with text in double quotes.".into(),
        ),
    };
    (message, mend)
}

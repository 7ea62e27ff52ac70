//! The help page.

use ratatui::text::{Line, Span};

use super::keys::KEYS;
use crate::help::hang;
use crate::{look, text};

/// The marks before the rows.
const MARKS: &[(&str, &str)] = &[
    ("+", "taken: it gets an entry, or a listed device gets its mac"),
    ("-", "left out, unless you take it"),
    ("!", "left out, because two units hold its address"),
    ("=", "listed in the file already"),
];

/// What a person should know before writing.
const GOOD_TO_KNOW: &[&str] = &[
    "Who answered at a control port is taken from the start; nobody else is.",
    "What a host says of itself is only a proposal: anybody may call himself anything.",
    "Channels go to cameras that answered VISCA or ONVIF, in the order of their addresses. Compare them with the panel itself.",
    "Entries, comments and order of a file that is there stay as they are.",
];

/// The lines of the page.
pub(super) fn lines(columns: u16) -> Vec<Line<'static>> {
    let room = usize::from(columns.saturating_sub(2));
    let label = if columns < 60 { 13 } else { 16 };
    let mut out = vec![Line::styled("Keys", look::BOLD)];
    let row = |out: &mut Vec<Line<'static>>, name: &str, help: &str| {
        let lead = Span::styled(text::pad(&format!("  {name}"), label + 2), look::BOLD);
        hang(out, &[lead], label + 2, help, room);
    };
    for key in KEYS.iter().filter(|key| !key.help.is_empty()) {
        row(&mut out, key.label, key.help);
    }
    row(
        &mut out,
        "mouse",
        "click selects, a second click takes or leaves; the wheel scrolls",
    );
    out.push(Line::default());
    out.push(Line::styled("Marks", look::BOLD));
    for (mark, meaning) in MARKS {
        row(&mut out, mark, meaning);
    }
    out.push(Line::default());
    out.push(Line::styled("Good to know", look::BOLD));
    for sentence in GOOD_TO_KNOW {
        hang(&mut out, &[Span::raw("  ")], 2, sentence, room);
    }
    out
}

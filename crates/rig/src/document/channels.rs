//! Adds channels to a panel, however its own are written.

use std::collections::BTreeMap;
use std::ops::Range;

use toml_edit::{Item, TableLike, Value};

use super::places::Places;
use super::splice::{body, insertion, line_break, line_end, parse, whole_lines};
use crate::spell::quote;

/// Channels as they stand in an inline table.
fn pairs(channels: &BTreeMap<u32, String>) -> String {
    let pairs: Vec<String> = channels
        .iter()
        .map(|(number, device)| format!("{number} = {}", quote(device)))
        .collect();
    pairs.join(", ")
}

/// In which line, from 1, a panel's channel stands.
pub(super) fn line(text: &str, panel: &str, channel: u32) -> Option<usize> {
    let (body, _) = body(text);
    let document = parse(body).ok()?;
    let place = Places::of(&document).named(panel)?;
    let channels = place.table.get("channels")?.as_table_like()?;
    let key = channels.key(&channel.to_string())?.span()?;
    Some(1 + body.get(..key.start)?.matches('\n').count())
}

/// The place in the text where channels are added to those of a panel, and how they are written there.
pub(super) fn splice(
    body: &str,
    table: &dyn TableLike,
    own_lines: bool,
    channels: &BTreeMap<u32, String>,
) -> Option<(Range<usize>, String)> {
    if channels.is_empty() {
        return None;
    }
    let span = |key: &str| Some((table.key(key)?.span()?, table.get(key)?.span()?));
    let new = pairs(channels);
    match table.get("channels") {
        Some(Item::Value(Value::InlineTable(inline))) if !inline.is_dotted() => {
            let last = inline
                .iter()
                .filter_map(|(_, value)| Some(value.span()?.end))
                .max();
            match last {
                Some(end) => Some((end..end, format!(", {new}"))),
                None => Some((inline.span()?, format!("{{ {new} }}"))),
            }
        }
        Some(item) => {
            let (line, before) = below(body, item.as_table_like()?, item)?;
            let line_break = line_break(body);
            let lines = channels
                .iter()
                .map(|(number, device)| format!("{before}{number} = {}{line_break}", quote(device)));
            let mut lines: String = lines.collect();
            if !body.get(..line).unwrap_or_default().ends_with('\n') {
                lines.insert_str(0, line_break);
            }
            Some((line..line, lines))
        }
        None => {
            let mut anchors = ["control", "address", "mac", "role", "name"].into_iter();
            let anchor = anchors.find_map(span)?;
            Some(insertion(
                body,
                &anchor,
                own_lines,
                "channels",
                &format!("{{ {new} }}"),
            ))
        }
    }
}

/// Where further lines go in a table that has lines of its own, and what stands before each number: the
/// blanks of the last line, and the key's own name where the table is written with dots.
fn below(body: &str, table: &dyn TableLike, item: &Item) -> Option<(usize, String)> {
    let last = table
        .iter()
        .filter_map(|(key, value)| {
            let end = match value {
                Item::Table(inner) => inner.iter().filter_map(|(_, v)| Some(v.span()?.end)).max(),
                other => Some(other.span()?.end),
            };
            Some((end?, table.key(key)?.span()?.start))
        })
        .max();
    let Some((end, key)) = last else {
        // A header alone.
        return Some((line_end(body, item.span()?.end), String::new()));
    };
    let line = whole_lines(body, key, key).start;
    let before = body.get(line..key)?.to_owned();
    Some((line_end(body, end), before))
}

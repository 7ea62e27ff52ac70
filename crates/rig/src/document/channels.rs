//! Adds channels to a panel, however its own are written.

use std::collections::BTreeMap;

use toml_edit::{Item, TableLike, Value};

use super::EditError;
use super::splice::{body, insertion, line_break, line_end, parse, quote, tables, whole_lines};

/// Channels as they stand in an inline table.
pub(super) fn pairs(channels: &BTreeMap<u32, String>) -> String {
    let pairs: Vec<String> = channels
        .iter()
        .map(|(number, device)| format!("{number} = {}", quote(device)))
        .collect();
    pairs.join(", ")
}

/// Adds channels to those of the device `name`.
pub(super) fn add(text: &mut String, name: &str, channels: &BTreeMap<u32, String>) -> Result<(), EditError> {
    let missing = || EditError::NoSuchDevice(name.to_owned());
    if channels.is_empty() {
        return Ok(());
    }
    let (body, shift) = body(text);
    let document = parse(body)?;
    let (table, own_lines) = tables(document.as_table(), "device")
        .into_iter()
        .find(|(table, _)| table.get("name").and_then(Item::as_str) == Some(name))
        .ok_or_else(missing)?;
    let span = |key: &str| Some((table.key(key)?.span()?, table.get(key)?.span()?));
    let new = pairs(channels);
    let (place, new) = match table.get("channels") {
        Some(Item::Value(Value::InlineTable(inline))) if !inline.is_dotted() => {
            let at = inline.span().ok_or_else(missing)?;
            let last = inline
                .iter()
                .filter_map(|(_, value)| Some(value.span()?.end))
                .max();
            match last {
                Some(end) => (end..end, format!(", {new}")),
                None => (at, format!("{{ {new} }}")),
            }
        }
        Some(item) => {
            let inner = item.as_table_like().ok_or_else(missing)?;
            let (line, before) = below(body, inner, item).ok_or_else(missing)?;
            let line_break = line_break(body);
            let lines = channels
                .iter()
                .map(|(number, device)| format!("{before}{number} = {}{line_break}", quote(device)));
            let mut lines: String = lines.collect();
            if !body.get(..line).unwrap_or_default().ends_with('\n') {
                lines.insert_str(0, line_break);
            }
            (line..line, lines)
        }
        None => {
            let anchor = ["control", "address", "mac", "role", "name"]
                .into_iter()
                .find_map(span)
                .ok_or_else(missing)?;
            insertion(body, &anchor, own_lines, "channels", &format!("{{ {new} }}"))
        }
    };
    text.replace_range(place.start + shift..place.end + shift, &new);
    Ok(())
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

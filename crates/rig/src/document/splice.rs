//! Replaces single values in the text.

use std::ops::Range;

use toml_edit::{Document, Item, TableLike, Value};
use vocab::Mac;

use super::{Edit, EditError, NewDevice};
use crate::AddressSpec;

/// Makes one edit in the text of a whole file. What comes out is not checked yet.
pub(super) fn apply(text: &mut String, edit: &Edit) -> Result<(), EditError> {
    match edit {
        Edit::Macs { name, macs } => set(
            text,
            name,
            "mac",
            (!macs.is_empty()).then(|| mac_value(macs)).as_deref(),
        ),
        Edit::Address { name, address } => set(text, name, "address", Some(&address_value(*address))),
        Edit::How { name, how } => set(text, name, "how", Some(&quote(how.as_str()))),
        Edit::Add(device) => add(text, device),
    }
}

fn address_value(address: AddressSpec) -> String {
    quote(&address.to_string())
}

fn mac_value(macs: &[Mac]) -> String {
    match macs {
        [one] => quote(&one.to_string()),
        several => list(several.iter().map(|mac| quote(&mac.to_string()))),
    }
}

fn list(values: impl Iterator<Item = String>) -> String {
    format!("[{}]", values.collect::<Vec<_>>().join(", "))
}

/// A TOML string of any text, escaped where it must be.
fn quote(text: &str) -> String {
    Value::from(text).to_string()
}

/// The text without its byte order mark, and the mark's length.
fn body(text: &str) -> (&str, usize) {
    text.strip_prefix('\u{feff}')
        .map_or((text, 0), |body| (body, text.len() - body.len()))
}

/// A document that was read without errors parses; what an edit before this one broke is
/// reported when all edits are made.
fn parse(body: &str) -> Result<Document<&str>, EditError> {
    Document::parse(body)
        .map_err(|_| EditError::WouldBreak(crate::read("the edited file", body.as_bytes()).errors))
}

/// Every `[[device]]` or `[[switch]]`, and whether its entries have lines of their own.
fn tables<'d>(root: &'d dyn TableLike, key: &str) -> Vec<(&'d dyn TableLike, bool)> {
    match root.get(key) {
        Some(Item::ArrayOfTables(list)) => list.iter().map(|table| (table as &dyn TableLike, true)).collect(),
        Some(Item::Value(Value::Array(list))) => list
            .iter()
            .filter_map(Value::as_inline_table)
            .map(|table| (table as &dyn TableLike, false))
            .collect(),
        _ => Vec::new(),
    }
}

/// Sets a key of the device or switch `name`, adds it if it is not there, takes it out for `None`.
fn set(text: &mut String, name: &str, key: &str, value: Option<&str>) -> Result<(), EditError> {
    let missing = || EditError::NoSuchDevice(name.to_owned());
    let (body, shift) = body(text);
    let document = parse(body)?;
    let root = document.as_table();
    let (table, own_lines) = tables(root, "device")
        .into_iter()
        .chain(tables(root, "switch"))
        .find(|(table, _)| table.get("name").and_then(Item::as_str) == Some(name))
        .ok_or_else(missing)?;
    let span = |key: &str| {
        let key_at = table.key(key)?.span()?;
        Some((key_at, table.get(key)?.span()?))
    };
    let (place, new) = match (span(key), value) {
        (Some((_, at)), Some(value)) => (at, value.to_owned()),
        (Some((key_at, at)), None) if own_lines => (whole_lines(body, key_at.start, at.end), String::new()),
        (Some((key_at, at)), None) => (with_comma(body, key_at.start..at.end), String::new()),
        (None, None) => return Ok(()),
        (None, Some(value)) => {
            let anchor = ["address", "mac", "role", "name"]
                .into_iter()
                .find_map(span)
                .ok_or_else(missing)?;
            insertion(body, &anchor, own_lines, key, value)
        }
    };
    text.replace_range(place.start + shift..place.end + shift, &new);
    Ok(())
}

fn whole_lines(body: &str, from: usize, to: usize) -> Range<usize> {
    let start = body
        .get(..from)
        .and_then(|before| before.rfind('\n'))
        .map_or(0, |at| at + 1);
    start..line_end(body, to)
}

/// Where the line that holds `at` ends, its line break included.
fn line_end(body: &str, at: usize) -> usize {
    body.get(at..)
        .and_then(|rest| rest.find('\n'))
        .map_or(body.len(), |n| at + n + 1)
}

/// An entry of an inline table with the comma before it, or else the one after it.
fn with_comma(body: &str, at: Range<usize>) -> Range<usize> {
    let before = body.get(..at.start).unwrap_or_default().trim_end();
    if before.ends_with(',') {
        return before.len() - 1..at.end;
    }
    let rest = body.get(at.end..).unwrap_or_default();
    match rest.trim_start().strip_prefix(',') {
        Some(after) => at.start..body.len() - after.trim_start().len(),
        None => at,
    }
}

/// Where a new entry goes, after the anchor, and how it is written: in the manner of the anchor.
fn insertion(
    body: &str,
    anchor: &(Range<usize>, Range<usize>),
    own_lines: bool,
    key: &str,
    value: &str,
) -> (Range<usize>, String) {
    let (key_at, value_at) = anchor;
    if !own_lines {
        return (value_at.end..value_at.end, format!(", {key} = {value}"));
    }
    let end = line_end(body, value_at.end);
    let line = whole_lines(body, key_at.start, key_at.end).start;
    let indent = body.get(line..key_at.start).unwrap_or_default();
    // As wide as the anchor's key with its blanks, so that the equals signs stay in line.
    let width = body
        .get(key_at.start..value_at.start)
        .and_then(|between| between.find('='));
    let width = width.unwrap_or_default().saturating_sub(1);
    let line_break = line_break(body);
    let entry = format!("{indent}{key:width$} = {value}");
    let unended = !body.get(..end).unwrap_or_default().ends_with('\n');
    (
        end..end,
        if unended {
            format!("{line_break}{entry}")
        } else {
            format!("{entry}{line_break}")
        },
    )
}

/// The line break of the file: that of its first line.
fn line_break(body: &str) -> &'static str {
    match body.find('\n') {
        Some(at) if body.get(..at).is_some_and(|line| line.ends_with('\r')) => "\r\n",
        _ => "\n",
    }
}

fn add(text: &mut String, device: &NewDevice) -> Result<(), EditError> {
    let (body, shift) = body(text);
    let document = parse(body)?;
    let mut lines = vec![
        "[[device]]".to_owned(),
        format!("name    = {}", quote(&device.name)),
        format!("role    = {}", quote(device.role.as_str())),
    ];
    if !device.macs.is_empty() {
        lines.push(format!("mac     = {}", mac_value(&device.macs)));
    }
    lines.push(format!("address = {}", address_value(device.address)));
    if !device.control.is_empty() {
        lines.push(format!(
            "control = {}",
            list(device.control.iter().map(|port| quote(&port.to_string())))
        ));
    }
    if let Some(note) = &device.note {
        lines.push(format!("note    = {}", quote(note)));
    }
    let at = tables(document.as_table(), "device")
        .last()
        .map_or(body.len(), |(last, _)| end_of(body, *last));
    let line_break = line_break(body);
    let mut new = String::new();
    if !body.get(..at).unwrap_or_default().ends_with('\n') {
        new.push_str(line_break);
    }
    for line in std::iter::once("").chain(lines.iter().map(String::as_str)) {
        new.push_str(line);
        new.push_str(line_break);
    }
    text.insert_str(at + shift, &new);
    Ok(())
}

/// Where a table under a header ends: after its last value, and after the comments right below it
/// unless they stand right above the next header.
fn end_of(body: &str, table: &dyn TableLike) -> usize {
    let last = last_place(table).unwrap_or(body.len());
    let end = line_end(body, last);
    let mut after = end;
    while let Some(line) = body
        .get(after..)
        .and_then(|rest| rest.split_inclusive('\n').next())
    {
        if line.trim_start().starts_with('#') {
            after += line.len();
        } else {
            return if line.trim_start().starts_with('[') {
                end
            } else {
                after
            };
        }
    }
    after
}

fn last_place(table: &dyn TableLike) -> Option<usize> {
    let ends = table.iter().filter_map(|(_, item)| match item {
        Item::Table(inner) => last_place(inner).max(inner.span().map(|span| span.end)),
        other => other.span().map(|span| span.end),
    });
    ends.max()
}

//! Replaces single values in the text.
//!
//! As many edits as do not get in each other's way are made from one reading of the text, so that a
//! rig of thousands of devices is renumbered at once.

use std::collections::{BTreeMap, HashSet};
use std::ops::Range;

use toml_edit::{Document, Item, TableLike};

use super::places::{Place, Places};
use super::{Edit, EditError, NewDevice, channels, fresh, values};
use crate::Role;
use crate::model::Row;

/// A piece of the text and what comes in its place.
struct Splice {
    at: Range<usize>,
    new: String,
}

/// Makes all edits, one after the other as far as they touch the same. What comes out is not checked
/// yet.
pub(super) fn apply(text: &mut String, edits: &[Edit]) -> Result<(), EditError> {
    let mut rest = edits;
    while !rest.is_empty() {
        let (body, mark) = body(text);
        let document = parse(body)?;
        let mut batch = Batch::new(body, Places::of(&document));
        let made = rest.iter().position(|edit| !batch.takes(edit));
        let made = made.unwrap_or(rest.len());
        if made == 0 {
            // It stands alone, and so is wrong itself.
            return Err(batch.fault.unwrap_or_else(|| EditError::WouldBreak(Vec::new())));
        }
        let new = batch.text();
        text.replace_range(mark.., &new);
        rest = &rest[made..];
    }
    Ok(())
}

/// The text without its byte order mark, and the mark's length.
pub(super) fn body(text: &str) -> (&str, usize) {
    text.strip_prefix('\u{feff}')
        .map_or((text, 0), |body| (body, text.len() - body.len()))
}

/// A document that was read without errors parses; what an edit before this one broke is
/// reported when all edits are made.
pub(super) fn parse(body: &str) -> Result<Document<&str>, EditError> {
    Document::parse(body)
        .map_err(|_| EditError::WouldBreak(crate::read("the edited file", body.as_bytes()).errors))
}

/// Edits made from one reading of the text.
struct Batch<'d> {
    body: &'d str,
    places: Places<'d>,
    splices: Vec<Splice>,
    /// Entries that were touched, by table and key.
    touched: HashSet<(usize, &'static str)>,
    /// Tables whose entries share a line and one of them goes out or is the first: nothing else is done there.
    closed: HashSet<usize>,
    /// Tables that were touched at all.
    tables: HashSet<usize>,
    /// Something was put in at a place that other edits may want too.
    full: bool,
    fault: Option<EditError>,
}

impl<'d> Batch<'d> {
    fn new(body: &'d str, places: Places<'d>) -> Self {
        Self {
            body,
            places,
            splices: Vec::new(),
            touched: HashSet::new(),
            closed: HashSet::new(),
            tables: HashSet::new(),
            full: false,
            fault: None,
        }
    }

    /// Takes an edit; `false` if it must wait until those before are made, or cannot be made.
    fn takes(&mut self, edit: &Edit) -> bool {
        if self.full {
            return false;
        }
        match edit {
            Edit::Macs { name, macs } => {
                let value = (!macs.is_empty()).then(|| values::macs(macs));
                self.device(name, "mac", value)
            }
            Edit::Address { name, address } => {
                self.device(name, "address", Some(values::quote(&address.to_string())))
            }
            Edit::How { name, how } => self.device(name, "how", Some(values::quote(how.as_str()))),
            Edit::Network { network, key } => {
                let (key, value) = values::network(key);
                let place = self.places.network(network);
                self.known(place, network, |batch, place| batch.set(&place, key, value))
            }
            Edit::Reserved(ranges) => self.plan("reserved", values::ranges(ranges)),
            Edit::Blocks(blocks) => match self.places.blocks() {
                None => self.plan("blocks", values::blocks(blocks)),
                Some(place) => Role::ALL.into_iter().all(|role| {
                    let value = blocks.get(&role).map(|range| values::block(*range));
                    self.set(&place, role.as_str(), value)
                }),
            },
            Edit::Add(device) => self.alone(|batch| batch.add(device)),
            Edit::Devices(devices) => {
                let lines = fresh::lines(devices.iter().map(Row::Device));
                self.alone(|batch| batch.after_last("device", &lines))
            }
            Edit::Channels { name, channels } => {
                let place = self.places.named(name);
                self.known(place, name, |batch, place| batch.channels(&place, channels))
            }
            Edit::Switches(switches) => {
                let lines = fresh::lines(switches.iter().map(Row::Switch));
                self.alone(|batch| batch.after_last("switch", &lines))
            }
        }
    }

    /// Does what may share its place with nothing else.
    fn alone(&mut self, work: impl FnOnce(&mut Self)) -> bool {
        if !self.splices.is_empty() {
            return false;
        }
        work(self);
        self.full = true;
        true
    }

    fn device(&mut self, name: &str, key: &'static str, value: Option<String>) -> bool {
        let place = self.places.named(name);
        self.known(place, name, |batch, place| batch.set(&place, key, value))
    }

    fn known(
        &mut self,
        place: Option<Place<'d>>,
        name: &str,
        work: impl FnOnce(&mut Self, Place<'d>) -> bool,
    ) -> bool {
        if let Some(place) = place {
            return work(self, place);
        }
        self.fault = Some(EditError::NoSuchDevice(name.to_owned()));
        false
    }

    fn plan(&mut self, key: &'static str, value: Option<String>) -> bool {
        match (self.places.plan(), value) {
            (Some(place), value) => self.set(&place, key, value),
            (None, None) => true,
            (None, Some(value)) => self.alone(|batch| {
                let lines = ["[plan]".to_owned(), format!("{key} = {value}")];
                batch.paragraph(batch.body.len(), &lines);
            }),
        }
    }

    /// Sets a key of a table, adds it if it is not there, takes it out for `None`.
    fn set(&mut self, place: &Place<'d>, key: &'static str, value: Option<String>) -> bool {
        let body = self.body;
        let table = place.table;
        let span = |key: &str| {
            let key_at = table.key(key)?.span()?;
            Some((key_at, table.get(key)?.span()?))
        };
        let here = span(key);
        // On one line an entry that goes out, or is the first, bears on where the others stand.
        let shifts = match (&here, &value) {
            (Some(_), None) => !place.own_lines,
            (None, Some(_)) => !place.own_lines && anchors(table).next().is_none(),
            _ => false,
        };
        let crowded = self.closed.contains(&place.number)
            || (shifts && self.tables.contains(&place.number))
            || self.touched.contains(&(place.number, key));
        if crowded {
            return false;
        }
        let (at, new) = match (here, value) {
            (Some((_, at)), Some(value)) => (at, value),
            (Some((key_at, at)), None) if place.own_lines => {
                (whole_lines(body, key_at.start, at.end), String::new())
            }
            (Some((key_at, at)), None) => (with_comma(body, key_at.start..at.end), String::new()),
            (None, None) => return true,
            (None, Some(value)) => match anchors(table).find_map(span) {
                Some(anchor) => insertion(body, &anchor, place.own_lines, key, &value),
                None => first_entry(body, place, key, &value),
            },
        };
        self.touched.insert((place.number, key));
        self.tables.insert(place.number);
        if shifts {
            self.closed.insert(place.number);
        }
        self.splices.push(Splice { at, new });
        true
    }

    fn add(&mut self, device: &NewDevice) {
        let quote = values::quote;
        let mut lines = vec![
            "[[device]]".to_owned(),
            format!("name    = {}", quote(&device.name)),
            format!("role    = {}", quote(device.role.as_str())),
        ];
        if !device.macs.is_empty() {
            lines.push(format!("mac     = {}", values::macs(&device.macs)));
        }
        lines.push(format!("address = {}", quote(&device.address.to_string())));
        if !device.control.is_empty() {
            let ports = device.control.iter().map(|port| quote(&port.to_string()));
            lines.push(format!("control = {}", values::list(ports)));
        }
        if let Some(note) = &device.note {
            lines.push(format!("note    = {}", quote(note)));
        }
        self.after_last("device", &lines);
    }

    /// Adds channels to those of a panel.
    fn channels(&mut self, place: &Place<'d>, channels: &BTreeMap<u32, String>) -> bool {
        let body = self.body;
        self.alone(|batch| {
            if let Some((at, new)) = channels::splice(body, place.table, place.own_lines, channels) {
                batch.splices.push(Splice { at, new });
            }
        })
    }

    /// Puts lines after the last table of that key, or at the end.
    fn after_last(&mut self, key: &str, lines: &[String]) {
        let last = self.places.last(key);
        let at = last.map_or(self.body.len(), |last| end_of(self.body, last));
        self.paragraph(at, lines);
    }

    /// Puts lines in, with an empty one before them.
    fn paragraph(&mut self, at: usize, lines: &[String]) {
        let line_break = line_break(self.body);
        let mut new = String::new();
        if !self.body.get(..at).unwrap_or_default().ends_with('\n') {
            new.push_str(line_break);
        }
        for line in std::iter::once("").chain(lines.iter().map(String::as_str)) {
            new.push_str(line);
            new.push_str(line_break);
        }
        self.splices.push(Splice { at: at..at, new });
    }

    /// The text with all of them made.
    fn text(mut self) -> String {
        // What is put in at a place goes before what is taken out from there on.
        self.splices
            .sort_by_key(|splice| (splice.at.start, splice.at.end));
        let mut out = String::with_capacity(self.body.len());
        let mut from = 0;
        for splice in &self.splices {
            out.push_str(self.body.get(from..splice.at.start).unwrap_or_default());
            out.push_str(&splice.new);
            from = splice.at.end;
        }
        out.push_str(self.body.get(from..).unwrap_or_default());
        out
    }
}

/// Beside what a new entry goes, the best place first. What has a header of its own is no such place.
fn anchors(table: &dyn TableLike) -> impl Iterator<Item = &'static str> {
    const KEYS: [&str; 8] = [
        "address", "mac", "role", "name", "gateway", "subnet", "reserved", "blocks",
    ];
    let entry = |key: &&str| table.get(key).is_some_and(Item::is_value);
    KEYS.into_iter().filter(entry)
}

pub(super) fn whole_lines(body: &str, from: usize, to: usize) -> Range<usize> {
    let start = body
        .get(..from)
        .and_then(|before| before.rfind('\n'))
        .map_or(0, |at| at + 1);
    start..line_end(body, to)
}

/// Where the line that holds `at` ends, its line break included.
pub(super) fn line_end(body: &str, at: usize) -> usize {
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
pub(super) fn insertion(
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

/// Where the first entry of a table goes: below its header, or between its braces.
fn first_entry(body: &str, place: &Place<'_>, key: &str, value: &str) -> (Range<usize>, String) {
    if !place.own_lines {
        let inside = place.start + 1;
        return (inside..inside, format!(" {key} = {value} "));
    }
    let line_break = line_break(body);
    let at = line_end(body, place.start);
    let unended = !body.get(..at).unwrap_or_default().ends_with('\n');
    let before = if unended { line_break } else { "" };
    (at..at, format!("{before}{key} = {value}{line_break}"))
}

/// The line break of the file: that of its first line.
pub(super) fn line_break(body: &str) -> &'static str {
    match body.find('\n') {
        Some(at) if body.get(..at).is_some_and(|line| line.ends_with('\r')) => "\r\n",
        _ => "\n",
    }
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

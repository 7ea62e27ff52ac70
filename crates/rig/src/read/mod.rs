//! Reads a rig file: text into a [`Rig`], with all that is wrong in it at once.
//!
//! The way of a file: bytes → text (`encoding`) → rough shape (`shape`) → TOML with places
//! (`syntax`) → one table after another (`networks`, `switch`, `device`, by way of `fields` and
//! `values`) → checks across tables (`cross`). Each step reports into one `Faults`; only at the end
//! are places turned into lines and columns (`source`).

mod cross;
mod device;
mod encoding;
mod faults;
mod fields;
mod keys;
mod network;
mod networks;
mod problem;
mod shape;
mod source;
mod switch;
mod syntax;
mod values;
mod venue;
pub(crate) mod words;

use std::ops::Range;

use toml_edit::{Item, TableLike, Value};

pub use keys::keys_of;
pub use problem::Problem;
pub(crate) use values::{NAME as LONGEST_NAME, name_problem};
pub use venue::{VenueReading, read_venue};

use crate::{Rig, RigDocument};
use cross::Row;
use faults::Faults;
use fields::{Entry, Fields, what};
use keys::Kind;
use networks::Networks;
use source::Source;

/// The largest file that is read, in bytes: 4 MiB, room for more than 10,000 devices.
pub const LARGEST_FILE: usize = 4 * 1024 * 1024;

/// The format that this program reads: `format = 1`.
const FORMAT: i64 = 1;

/// What came of reading a rig file.
#[derive(Debug, Clone)]
pub struct Reading {
    /// The rig; there exactly if there are no errors.
    pub rig: Option<Rig>,
    /// The text for editing; there exactly if there are no errors.
    pub document: Option<RigDocument>,
    /// All mistakes, in the order of the file. With any of them the file is not used.
    pub errors: Vec<Problem>,
    /// What is risky, in the order of the file. The file is used all the same.
    pub warnings: Vec<Problem>,
}

/// Reads the bytes of a rig file. `file_name` is only repeated in problems.
///
/// Any bytes will do: nothing makes it panic, and its work is bounded by [`LARGEST_FILE`].
pub fn read(file_name: &str, bytes: &[u8]) -> Reading {
    let mut faults = Faults::new();
    let text = encoding::text(bytes, &mut faults);
    let source = Source::new(&text);
    let rig = if faults.errors.is_empty() {
        document(&text, &source, &mut faults)
    } else {
        None
    };
    faults.close(text.len());
    let rig = rig.filter(|_| faults.errors.is_empty());
    let document = rig
        .is_some()
        .then(|| std::str::from_utf8(bytes).ok())
        .flatten()
        .map(RigDocument::of_valid);
    Reading {
        rig,
        document,
        errors: source.problems(file_name, faults.errors),
        warnings: source.problems(file_name, faults.warnings),
    }
}

/// What came of reading a text that was made of another file.
pub(crate) struct MadeReading {
    /// The rig; there exactly if there are no errors.
    pub(crate) rig: Option<Rig>,
    pub(crate) errors: Vec<LineProblem>,
    pub(crate) warnings: Vec<LineProblem>,
}

/// A mistake in such a text.
pub(crate) struct LineProblem {
    /// The line of the made text, from 0.
    pub(crate) line: usize,
    pub(crate) message: String,
    pub(crate) mend: String,
}

/// Reads a text that was made of another file. `numbers` are the lines of that file that each of its
/// own lines comes from, as messages name them.
pub(crate) fn read_made(text: &str, numbers: &[usize]) -> MadeReading {
    let mut faults = Faults::new();
    let source = Source::made_of(text, numbers);
    let rig = document(text, &source, &mut faults);
    let problems = |faults: Vec<faults::Fault>| -> Vec<LineProblem> {
        let problem = |fault: faults::Fault| LineProblem {
            line: source.line_of(fault.span.start),
            message: fault.message,
            mend: fault.mend,
        };
        faults.into_iter().map(problem).collect()
    };
    faults.close(text.len().saturating_sub(1));
    MadeReading {
        rig: rig.filter(|_| faults.errors.is_empty()),
        errors: problems(faults.errors),
        warnings: problems(faults.warnings),
    }
}

fn document(text: &str, source: &Source<'_>, faults: &mut Faults) -> Option<Rig> {
    let document = syntax::parse(text, source, faults)?;
    let root = Fields::new(document.as_table(), Kind::Root, 0..0, faults);
    if let Some(entry) = root.needed("format", "Write format = 1 as the first line.", faults) {
        format(entry, faults);
    }
    let title = root
        .get("title")
        .and_then(|entry| entry.free_text(values::FREE_TEXT, faults))
        .unwrap_or_default();
    let networks = Networks::read(&root, source, faults);
    let mut switches = Vec::new();
    let mut rows: Vec<Row> = Vec::new();
    for (table, place) in root
        .get("switch")
        .map(|entry| tables(entry, faults))
        .unwrap_or_default()
    {
        let (switch, row) = switch::switch(table, place, &networks, faults);
        switches.push(switch);
        rows.push(row);
    }
    for (table, place) in root
        .get("device")
        .map(|entry| tables(entry, faults))
        .unwrap_or_default()
    {
        rows.push(device::device(table, place, &networks, faults));
    }
    let plan = root
        .get("plan")
        .and_then(|entry| {
            let (table, place) = table(entry, faults)?;
            Some(network::plan(table, place, networks.main_subnet(), faults))
        })
        .unwrap_or_default();
    rows.sort_by_key(|row| row.place.start);
    cross::check(&rows, &networks, source, faults);
    let devices = rows.into_iter().filter_map(|row| row.device).collect();
    let (network, others) = networks.split()?;
    Some(Rig {
        title,
        network,
        others,
        switches,
        devices,
        plan,
    })
}

fn format(entry: &Entry<'_>, faults: &mut Faults) {
    match entry.item.as_integer() {
        Some(FORMAT) => {}
        Some(newer) if newer > FORMAT => faults.error(
            &entry.at,
            format!("format {newer} is newer than this program, which reads format {FORMAT}"),
            "Use the program that wrote this file, or a newer version of this one.",
        ),
        Some(other) => {
            faults.error(
                &entry.at,
                format!("there is no format {other}"),
                "Write format = 1.",
            );
        }
        None => entry.wrong_type("a whole number", "format = 1", faults),
    }
}

/// The table that the entry holds, with its place.
fn table<'t>(entry: &Entry<'t>, faults: &mut Faults) -> Option<(&'t dyn TableLike, Range<usize>)> {
    if let Some(table) = entry.item.as_table_like() {
        return Some((table, entry.at.clone()));
    }
    faults.error(
        &entry.key_at,
        format!(
            "`{}` must be one table, and this is {}",
            entry.key,
            what(entry.item)
        ),
        format!(
            "Write the header [{}] once, with one bracket on each side.",
            entry.key
        ),
    );
    None
}

/// The tables of a list, each with its place.
fn tables<'t>(entry: &Entry<'t>, faults: &mut Faults) -> Vec<(&'t dyn TableLike, Range<usize>)> {
    let mend = format!(
        "Write the header [[{0}]] with two brackets on each side, once for every {0}.",
        entry.key
    );
    match entry.item {
        Item::ArrayOfTables(list) => list
            .iter()
            .map(|table| {
                (
                    table as &dyn TableLike,
                    table.span().unwrap_or_else(|| entry.at.clone()),
                )
            })
            .collect(),
        Item::Value(Value::Array(list)) => {
            let mut tables = Vec::new();
            for value in list {
                let at = value.span().unwrap_or_else(|| entry.at.clone());
                match value.as_inline_table() {
                    Some(table) => tables.push((table as &dyn TableLike, at)),
                    None => faults.error(&at, format!("a {} must be a table", entry.key), mend.clone()),
                }
            }
            tables
        }
        other => {
            faults.error(
                &entry.key_at,
                format!(
                    "`{}` must be a list of tables, and this is {}",
                    entry.key,
                    what(other)
                ),
                mend,
            );
            Vec::new()
        }
    }
}

//! What an import would add to a rig file, and where the file says otherwise.

use std::fmt::Write as _;

use rig::compare::{Comparison, Unit};

use super::escape::plain;
use super::table::columns;

/// How many names of those that stay are told.
const TOLD: usize = 12;

/// Who is in the file, and not in the spreadsheet.
#[derive(Debug, Default)]
pub(crate) struct Left(pub(crate) Vec<String>);

/// The devices and switches that would be new, as a table.
pub(crate) fn added(units: &[Unit]) -> String {
    let rows = units
        .iter()
        .map(|unit| {
            let fact = |key: &str| {
                let fact = unit.facts.iter().find(|(other, _)| *other == key);
                fact.and_then(|(_, value)| value.clone()).unwrap_or_default()
            };
            let macs: Vec<String> = unit.macs.iter().map(ToString::to_string).collect();
            vec![
                unit.name.clone(),
                unit.role.as_str().to_owned(),
                unit.address.to_string(),
                macs.join(" "),
                fact("control"),
            ]
        })
        .collect();
    format!(
        "New\n{}\n",
        columns(&["device", "role", "address", "hardware", "control"], rows)
    )
}

/// Where the file says otherwise than the spreadsheet: the file's word stands.
pub(crate) fn differing(found: &Comparison, left: &Left) -> String {
    let mut rows: Vec<Vec<String>> = Vec::new();
    let mut row = |name: &str, key: &str, file: String, sheet: String| {
        rows.push(vec![name.to_owned(), key.to_owned(), file, sheet]);
    };
    for (old, new) in &found.renamed {
        row(old, "name", old.clone(), new.clone());
    }
    for moved in &found.moved {
        row(
            &moved.name,
            "address",
            moved.from.to_string(),
            moved.to.to_string(),
        );
        if let Some((from, to)) = &moved.networks {
            row(&moved.name, "network", from.clone(), to.clone());
        }
    }
    // What the spreadsheet leaves open is no difference: a plain list has few columns.
    for one in &found.rechannelled {
        if let Some(to) = &one.to {
            let from = one.from.as_ref().map_or("-", |channel| channel.device.as_str());
            row(
                &one.panel,
                &format!("channel {}", one.channel),
                from.to_owned(),
                to.device.clone(),
            );
        }
    }
    for (name, changed) in found.changed.iter().chain(&found.settings) {
        if let Some(to) = &changed.to {
            let from = changed.from.as_deref().unwrap_or("-");
            row(name, changed.key, from.to_owned(), to.clone());
        }
    }
    let mut out = String::new();
    if !rows.is_empty() {
        let table = columns(&["", "key", "in the rig file", "in the spreadsheet"], rows);
        let _ = writeln!(
            out,
            "Different (the rig file stays as it is)\n{table}next: correct it by hand in the rig file where the spreadsheet is right.\n"
        );
    }
    if !left.0.is_empty() {
        let names: Vec<&str> = left.0.iter().take(TOLD).map(String::as_str).collect();
        let more = match left.0.len().saturating_sub(TOLD) {
            0 => String::new(),
            n => format!(" and {n} more"),
        };
        let _ = writeln!(
            out,
            "Only in the rig file, and kept: {}{more}.\n",
            plain(&names.join(", "))
        );
    }
    out
}

//! The JSON object of `sheet`, format 1.

use std::collections::BTreeMap;

use rig::sheet::{Cell, Part, Sheet, Table};
use schemars::JsonSchema;
use serde::Serialize;

use super::{Format, RigPart};

/// The whole object. What is left to be written by hand is null.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct SheetReport {
    format: Format,
    version: &'static str,
    /// When it was made, as RFC 3339 writes it.
    #[schemars(extend("format" = "date-time"))]
    made_at: String,
    rig: RigPart,
    parts: Vec<PartPart>,
}

#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
struct PartPart {
    kind: &'static str,
    title: &'static str,
    facts: Vec<FactPart>,
    warnings: Vec<WarningPart>,
    tables: Vec<TablePart>,
    notes: Vec<String>,
    /// What is to be signed.
    sign: Vec<String>,
}

#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
struct FactPart {
    name: String,
    value: String,
}

#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
struct WarningPart {
    text: String,
    next: String,
}

#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
struct TablePart {
    title: String,
    columns: Vec<ColumnPart>,
    rows: Vec<BTreeMap<&'static str, Option<String>>>,
}

#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
struct ColumnPart {
    key: &'static str,
    head: &'static str,
}

impl SheetReport {
    /// The object for `sheet`.
    pub(crate) fn new(sheet: &Sheet, title: &str, file: &str, made_at: String) -> Self {
        Self {
            format: Format,
            version: env!("CARGO_PKG_VERSION"),
            made_at,
            rig: RigPart {
                title: title.to_owned(),
                file: file.to_owned(),
            },
            parts: sheet.parts.iter().map(part).collect(),
        }
    }
}

fn part(part: &Part) -> PartPart {
    let fact = |(name, value): &(String, String)| FactPart {
        name: name.clone(),
        value: value.clone(),
    };
    PartPart {
        kind: part.kind.as_str(),
        title: part.kind.title(),
        facts: part.facts.iter().map(fact).collect(),
        warnings: part
            .warnings
            .iter()
            .map(|w| WarningPart {
                text: w.text.clone(),
                next: w.next.clone(),
            })
            .collect(),
        tables: part.tables.iter().map(table).collect(),
        notes: part.notes.clone(),
        sign: part.sign.clone(),
    }
}

fn table(table: &Table) -> TablePart {
    let cell = |cell: &Cell| match cell {
        Cell::Text(text) => Some(text.clone()),
        Cell::ByHand | Cell::Tick => None,
    };
    let row = |row: &Vec<Cell>| {
        table
            .columns
            .iter()
            .zip(row)
            .map(|(c, said)| (c.key, cell(said)))
            .collect()
    };
    TablePart {
        title: table.title.clone(),
        columns: table
            .columns
            .iter()
            .map(|c| ColumnPart {
                key: c.key,
                head: c.head,
            })
            .collect(),
        rows: table.rows.iter().map(row).collect(),
    }
}

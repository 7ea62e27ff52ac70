//! A spreadsheet as a rig.

use vocab::Ipv4Net;

use super::columns::Column;
use super::encoding;
use super::links;
use super::made::{Made, Maker};
use super::problem::RowProblem;
use super::rows::{self, Faults, Place};
use super::subnet;
use super::table;
use crate::Rig;
use crate::read::{LineProblem, read_made};

/// What the caller knows that the table need not tell.
#[derive(Debug, Clone, Copy, Default)]
pub struct Given<'g> {
    /// The subnet, where no row and no mask tells it.
    pub subnet: Option<Ipv4Net>,
    /// The title, where no row has one.
    pub title: Option<&'g str>,
    /// A rig whose networks hold where the table has no rows for them.
    pub rig: Option<&'g Rig>,
}

/// What came of reading a spreadsheet.
#[derive(Debug, Clone)]
pub struct Sheet {
    /// The rig; there exactly if there are no errors.
    pub rig: Option<Rig>,
    /// All mistakes, in the order of the file. With any of them nothing is used.
    pub errors: Vec<RowProblem>,
    /// What is risky, and what is left out, in the order of the file.
    pub warnings: Vec<RowProblem>,
    /// The headings that are not known, whose cells became notes.
    pub notes: Vec<String>,
}

/// Reads the bytes of a spreadsheet. `file_name` is only repeated in problems.
///
/// Any bytes will do: nothing makes it panic, and its work is bounded by [`crate::LARGEST_FILE`].
pub fn read(file_name: &str, bytes: &[u8], given: &Given<'_>) -> Sheet {
    let mut faults = Faults::new(file_name);
    let mut notes = Vec::new();
    let rig = match encoding::text(bytes) {
        Ok(text) => table_of(text, given, &mut notes, &mut faults),
        Err((message, mend)) => {
            faults.error(Place::row(1), message, mend);
            None
        }
    };
    let (errors, warnings) = faults.close();
    Sheet {
        rig: rig.filter(|_| errors.is_empty()),
        errors,
        warnings,
        notes,
    }
}

fn table_of(text: &str, given: &Given<'_>, notes: &mut Vec<String>, faults: &mut Faults) -> Option<Rig> {
    let table = match table::table(text) {
        Ok(table) => table,
        Err(none) => {
            faults.error(Place::row(none.line), none.message, none.mend);
            return None;
        }
    };
    let headings = &table.headings.cells;
    faults.name_columns(headings);
    let columns = rows::columns(&table.headings, faults);
    let has = |column: Column| columns.contains(&Some(column));
    let rows = rows::rows(&table, &columns, faults);
    *notes = noted(&rows, headings);
    let head = Place::row(table.headings.number);
    if rows.is_empty() && faults.is_empty() {
        faults.error(
            head,
            "there is nothing below the headings",
            "Write a device in each line, with its name, role, mac and address.",
        );
        return None;
    }
    let devices = rows.iter().any(|row| row.kind == rows::Kind::Device);
    for (column, mend) in [
        (
            Column::Role,
            "Add a column role with one of camera, panel, switcher, encoder, decoder, recorder, display, audio, intercom, tally, computer, router, access-point or other.",
        ),
        (
            Column::Address,
            "Add a column address with each device's address, or dhcp, or none for a thing without one.",
        ),
    ] {
        if devices && !has(column) {
            faults.error(head, format!("there is no column {}", column.heading()), mend);
        }
    }
    let nets = subnet::networks(&rows, given, faults);
    let links = links::links(&rows, faults);
    let mut maker = Maker {
        made: Made::default(),
        links: &links,
        headings,
        commas: table.separator == b',',
        has_role: has(Column::Role),
        has_address: has(Column::Address),
    };
    maker.write(given.title, &nets, &rows, faults);
    let made = maker.made;
    let numbers: Vec<usize> = made.places.iter().map(|place| place.line).collect();
    let read = read_made(&made.text, &numbers);
    for problem in &read.errors {
        // Without a main network the reason is told already, and it is not the reader's.
        if !nets.is_empty() || problem.line > 0 {
            let (place, mend) = (place(&made, problem), mend(problem));
            faults.error(place, problem.message.clone(), mend);
        }
    }
    for problem in &read.warnings {
        faults.warning(place(&made, problem), problem.message.clone(), mend(problem));
    }
    read.rig
}

fn place(made: &Made, problem: &LineProblem) -> Place {
    made.places.get(problem.line).copied().unwrap_or(Place::row(1))
}

/// How to mend it in a table, where that is not as in a rig file.
fn mend(problem: &LineProblem) -> String {
    if problem.mend.starts_with("Write the header [networks.NAME]") {
        return "Add a row of the kind network with that name, or leave the cell empty for the main one."
            .into();
    }
    problem.mend.clone()
}

/// The headings that are not known and have something below them.
fn noted(rows: &[rows::Row<'_>], headings: &[String]) -> Vec<String> {
    let used = |n: &usize| rows.iter().any(|row| row.others.iter().any(|(at, _)| at == n));
    let all = (0..headings.len()).filter(used);
    all.map(|n| crate::read::words::harmless(headings[n].trim()))
        .collect()
}

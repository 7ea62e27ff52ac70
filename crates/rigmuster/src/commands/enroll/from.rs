//! `enroll --from`: makes a rig file from a spreadsheet, or adds to one.

use std::fmt::Write as _;
use std::io::{self, Write};
use std::path::Path;

use rig::compare::{Account, Comparison, compare};
use rig::spreadsheet::{self, Given, Sheet};
use rig::{Device, Edit, Rig, RigDocument, Role, Switch};
use vocab::{Ipv4Net, Text};

use super::target::Target;
use crate::commands::agree::agreed;
use crate::commands::{print, print_warnings};
use crate::files::{self, Kind, Loaded};
use crate::report::imported::{Left, added, differing};
use crate::{Exit, Failure};

/// A spreadsheet as a file.
const SPREADSHEET: Kind = Kind {
    name: "spreadsheet",
    example: "devices.csv",
    largest: 4,
};

/// What to do with a rig file and a spreadsheet.
pub(super) struct Wanted<'w> {
    /// The rig file that is made or added to.
    pub(super) target: &'w Target,
    pub(super) sheet: &'w Path,
    /// The subnet, where the spreadsheet does not tell it.
    pub(super) subnet: Option<Ipv4Net>,
    /// Write without asking.
    pub(super) sure: bool,
}

/// Reads the spreadsheet, shows what it would make, asks, and writes. A bad row anywhere, and nothing
/// is written.
pub(super) fn from(wanted: &Wanted<'_>) -> Result<Exit, Failure> {
    let target = wanted.target;
    let known = match target.rig {
        Some(_) => Some(files::load(target.path()).map_err(Failure::usage)?),
        None => None,
    };
    let bytes = files::read_bounded(wanted.sheet, SPREADSHEET).map_err(Failure::usage)?;
    let title = known
        .as_ref()
        .map_or_else(|| target.title(), |known| known.rig.title.clone());
    let given = Given {
        subnet: wanted.subnet,
        title: Some(title.as_str()).filter(|title| !title.is_empty()),
        rig: known.as_ref().map(|known| &known.rig),
    };
    let sheet = spreadsheet::read(&wanted.sheet.display().to_string(), &bytes, &given);
    let Some(rig) = &sheet.rig else {
        return Err(refused(&sheet, wanted));
    };
    warn(&sheet);
    match known {
        None => make(rig, wanted),
        Some(known) => add(known, rig, wanted),
    }
}

/// All that is wrong at once.
fn refused(sheet: &Sheet, wanted: &Wanted<'_>) -> Failure {
    let mut said = String::new();
    for error in &sheet.errors {
        let _ = writeln!(said, "{error}\n");
    }
    let (count, them) = match sheet.errors.len() {
        1 => ("one mistake".to_owned(), "it"),
        n => (format!("{n} mistakes"), "them"),
    };
    Failure::usage(format_args!(
        "{said}{} has {count}, so nothing was written.\n\
         next step: mend {them} in the spreadsheet, save it as CSV, and try again",
        shown(wanted.sheet)
    ))
}

fn warn(sheet: &Sheet) {
    let mut lines: Vec<String> = sheet.warnings.iter().map(ToString::to_string).collect();
    if !sheet.notes.is_empty() {
        lines.push(format!(
            "These columns are not known and become notes: {}.",
            sheet.notes.join(", ")
        ));
    }
    print_warnings(&lines);
}

/// Makes a new file.
fn make(rig: &Rig, wanted: &Wanted<'_>) -> Result<Exit, Failure> {
    let document = RigDocument::fresh(rig).map_err(Failure::fault)?;
    print(&added(&Account::of(rig).units))?;
    let matter = format!("{} would be made of this", wanted.target.name());
    write(&document, &matter, "Write it", wanted)
}

/// Adds what is new to a file, and says what is different.
fn add(mut known: Loaded, rig: &Rig, wanted: &Wanted<'_>) -> Result<Exit, Failure> {
    let (old, new) = (Account::of(&known.rig), Account::of(rig));
    let comparison = compare(&old, &new);
    print(&differing(&comparison, &left(&comparison, &old)))?;
    let units: Vec<_> = comparison.added.iter().map(|n| new.units[*n].clone()).collect();
    if units.is_empty() {
        print("Nothing in the spreadsheet is new; nothing was written.\n")?;
        return Ok(Exit::Done);
    }
    print(&added(&units))?;
    let is_new = |name: &str| units.iter().any(|unit| unit.name == name);
    let switches: Vec<Switch> = rig.switches.iter().filter(|s| is_new(&s.name)).cloned().collect();
    let new_device = |d: &&Device| d.role != Role::Switch && is_new(&d.name);
    let devices: Vec<Device> = rig.devices.iter().filter(new_device).cloned().collect();
    let mut edits = Vec::new();
    if !switches.is_empty() {
        edits.push(Edit::Switches(switches));
    }
    if !devices.is_empty() {
        edits.push(Edit::Devices(devices));
    }
    known.document.apply(&edits).map_err(|e| {
        Failure::usage(format_args!(
            "nothing was written: {e}\nnext step: mend the row in the spreadsheet, or the entry in {}",
            wanted.target.name()
        ))
    })?;
    let matter = format!("{} would be added to {}", many(units.len()), wanted.target.name());
    write(&known.document, &matter, "Write them", wanted)
}

/// Who is in the file alone, and stays.
fn left(comparison: &Comparison, old: &Account) -> Left {
    Left(
        comparison
            .dropped
            .iter()
            .map(|n| old.units[*n].name.clone())
            .collect(),
    )
}

fn many(count: usize) -> String {
    if count == 1 {
        "This one".to_owned()
    } else {
        format!("These {count}")
    }
}

fn write(document: &RigDocument, matter: &str, act: &str, wanted: &Wanted<'_>) -> Result<Exit, Failure> {
    if !wanted.sure && !agreed(matter, act)? {
        print("Nothing was written.\n")?;
        return Ok(Exit::Done);
    }
    wanted.target.save(document).map_err(Failure::usage)?;
    let file = wanted.target.name();
    let _ = writeln!(
        io::stderr(),
        "rigmuster: written: {file}\nnext step: read it through, then rigmuster check {file}"
    );
    Ok(Exit::Done)
}

fn shown(path: &Path) -> String {
    Text::clean(&path.display().to_string()).as_str().to_owned()
}

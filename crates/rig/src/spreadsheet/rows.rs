//! Rows by their kind, and each cell by its column.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::cells;
use super::columns::{Column, is_secret};
use super::problem::RowProblem;
use super::table::{Line, Table};
use super::write::kind;
use crate::Role;
use crate::read::words::{harmless, one_of, quoted};

/// The most mistakes and warnings that are kept of one spreadsheet.
const KEPT: usize = 5_000;

/// Where something stands: the line from 1, and the place of its column among the headings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Place {
    pub(super) line: usize,
    pub(super) column: Option<usize>,
}

impl Place {
    /// A row as a whole.
    pub(super) const fn row(line: usize) -> Self {
        Self { line, column: None }
    }
}

/// What is wrong so far.
pub(super) struct Faults {
    file: String,
    headings: Vec<String>,
    errors: Vec<(Place, RowProblem)>,
    warnings: Vec<(Place, RowProblem)>,
    left_out: usize,
}

impl Faults {
    pub(super) fn new(file: &str) -> Self {
        Self {
            file: harmless(file),
            headings: Vec::new(),
            errors: Vec::new(),
            warnings: Vec::new(),
            left_out: 0,
        }
    }

    /// From now on columns are told by these headings.
    pub(super) fn name_columns(&mut self, headings: &[String]) {
        self.headings = headings.iter().map(|heading| harmless(heading.trim())).collect();
    }

    fn problem(&self, place: Place, message: impl Into<String>, mend: impl Into<String>) -> RowProblem {
        let heading = |n: usize| match self.headings.get(n).map(String::as_str) {
            Some("") | None => (n + 1).to_string(),
            Some(heading) => heading.chars().take(40).collect(),
        };
        RowProblem {
            file: self.file.clone(),
            line: place.line,
            column: place.column.map(heading),
            message: message.into(),
            mend: mend.into(),
        }
    }

    pub(super) fn error(&mut self, place: Place, message: impl Into<String>, mend: impl Into<String>) {
        if self.errors.len() < KEPT {
            self.errors.push((place, self.problem(place, message, mend)));
        } else {
            self.left_out += 1;
        }
    }

    pub(super) fn warning(&mut self, place: Place, message: impl Into<String>, mend: impl Into<String>) {
        if self.warnings.len() < KEPT {
            self.warnings.push((place, self.problem(place, message, mend)));
        }
    }

    /// Whether there is no mistake so far.
    pub(super) const fn is_empty(&self) -> bool {
        self.errors.is_empty()
    }

    /// All mistakes and all warnings, in the order of the file.
    pub(super) fn close(mut self) -> (Vec<RowProblem>, Vec<RowProblem>) {
        if self.left_out > 0 {
            let end = Place::row(self.errors.iter().map(|(place, _)| place.line).max().unwrap_or(1));
            let message = format!("{} more mistakes are not listed", self.left_out);
            let more = self.problem(end, message, "Mend the others, then try again.");
            self.errors.push((end, more));
        }
        let sorted = |mut all: Vec<(Place, RowProblem)>| -> Vec<RowProblem> {
            all.sort_by_key(|(place, _)| (place.line, place.column));
            all.into_iter().map(|(_, problem)| problem).collect()
        };
        (sorted(self.errors), sorted(self.warnings))
    }
}

/// What a row is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Device,
    Switch,
    Network,
    Leases,
    Reserved,
    Block,
    Rig,
}

impl Kind {
    const ALL: [(&'static str, Self); 7] = [
        (kind::DEVICE, Self::Device),
        (kind::SWITCH, Self::Switch),
        (kind::NETWORK, Self::Network),
        (kind::LEASES, Self::Leases),
        (kind::RESERVED, Self::Reserved),
        (kind::BLOCK, Self::Block),
        (kind::RIG, Self::Rig),
    ];

    /// The columns that such a row has a place for.
    fn takes(self, column: Column) -> bool {
        use Column as C;
        match self {
            Self::Device => !matches!(
                column,
                C::Ports
                    | C::BudgetW
                    | C::PoeType
                    | C::UplinkMbps
                    | C::Uplink
                    | C::Subnet
                    | C::Reach
                    | C::Pace
                    | C::Shared
            ),
            Self::Switch => matches!(
                column,
                C::Kind
                    | C::Name
                    | C::Role
                    | C::Channel
                    | C::Mac
                    | C::Address
                    | C::Mask
                    | C::Gateway
                    | C::Network
                    | C::Port
                    | C::Ports
                    | C::BudgetW
                    | C::PoeType
                    | C::UplinkMbps
                    | C::Uplink
            ),
            Self::Network => matches!(
                column,
                C::Kind | C::Name | C::Subnet | C::Reach | C::Gateway | C::Pace | C::Shared
            ),
            Self::Leases => matches!(column, C::Kind | C::Address | C::Network),
            Self::Reserved => matches!(column, C::Kind | C::Address),
            Self::Block => matches!(column, C::Kind | C::Address | C::Role),
            Self::Rig => matches!(column, C::Kind | C::Name),
        }
    }

    fn word(self) -> &'static str {
        Self::ALL
            .iter()
            .find(|(_, kind)| *kind == self)
            .map_or("", |(word, _)| word)
    }
}

/// A row, its cells by their columns.
#[derive(Debug, Clone)]
pub(super) struct Row<'t> {
    pub(super) line: usize,
    pub(super) kind: Kind,
    cells: BTreeMap<Column, (usize, &'t str)>,
    /// The cells of columns that are not known, by their places.
    pub(super) others: Vec<(usize, &'t str)>,
}

impl<'t> Row<'t> {
    /// A cell that is not empty, as it stands, and its place.
    pub(super) fn raw(&self, column: Column) -> Option<(&'t str, Place)> {
        self.cells.get(&column).map(|(at, cell)| (*cell, self.at(*at)))
    }

    /// The text of a cell.
    pub(super) fn text(&self, column: Column) -> Option<(String, Place)> {
        let (cell, place) = self.raw(column)?;
        cells::read_text(cell).map(|text| (text, place))
    }

    pub(super) fn at(&self, column: usize) -> Place {
        Place {
            line: self.line,
            column: Some(column),
        }
    }

    pub(super) fn place(&self) -> Place {
        Place::row(self.line)
    }

    /// Its name, or what stands in for one that is missing.
    pub(super) fn name(&self) -> (String, Place) {
        self.text(Column::Name)
            .unwrap_or_else(|| (format!("(line {})", self.line), self.place()))
    }

    /// Whether it is a thing that plugs in.
    pub(super) fn is_unit(&self) -> bool {
        matches!(self.kind, Kind::Device | Kind::Switch)
    }
}

/// Which column each heading stands for. Two that stand for one are reported.
pub(super) fn columns(headings: &Line, faults: &mut Faults) -> Vec<Option<Column>> {
    let mut seen: HashMap<Column, usize> = HashMap::new();
    let mut columns = Vec::new();
    for (n, heading) in headings.cells.iter().enumerate() {
        let column = Column::of(heading);
        if let Some(column) = column {
            if let Some(first) = seen.get(&column) {
                faults.error(
                    Place {
                        line: headings.number,
                        column: Some(n),
                    },
                    format!(
                        "this heading and {} both stand for `{}`",
                        quoted(headings.cells[*first].trim()),
                        column.heading()
                    ),
                    "Keep one of the two, or call the other differently: it then becomes part of the note.",
                );
                columns.push(None);
                continue;
            }
            seen.insert(column, n);
        }
        columns.push(column);
    }
    columns
}

/// Every row by its kind. What a row has no place for is told as left out.
pub(super) fn rows<'t>(table: &'t Table, columns: &[Option<Column>], faults: &mut Faults) -> Vec<Row<'t>> {
    let mut rows = Vec::new();
    let mut secret = BTreeSet::new();
    for line in &table.rows {
        let mut row = Row {
            line: line.number,
            kind: Kind::Device,
            cells: BTreeMap::new(),
            others: Vec::new(),
        };
        for (n, cell) in line.cells.iter().enumerate() {
            if cell.trim().is_empty() {
                continue;
            }
            let heading = table.headings.cells.get(n).map_or("", |heading| heading.trim());
            match columns.get(n).copied().flatten() {
                Some(column) => {
                    row.cells.insert(column, (n, cell));
                }
                None if is_secret(heading) => {
                    secret.insert(n);
                }
                None if !heading.is_empty() => row.others.push((n, cell)),
                None => faults.error(
                    row.at(n),
                    format!("{} stands in a column without a heading", quoted(cell.trim())),
                    "Write a heading into the first line, or take the cell out. A comma inside of a cell needs double quotes around the cell.",
                ),
            }
        }
        if let Some(kind) = kind_of(&row, faults) {
            row.kind = kind;
            leave_out(&mut row, table, faults);
            rows.push(row);
        }
    }
    for column in secret {
        faults.warning(
            Place {
                line: table.headings.number,
                column: Some(column),
            },
            "this column is left out: a rig file is passed on, so passwords and logins do not belong in it",
            "Nothing need be done. A column login_from with env:NAME says in which variable a login will be.",
        );
    }
    rows
}

fn kind_of(row: &Row<'_>, faults: &mut Faults) -> Option<Kind> {
    let Some((text, place)) = row.text(Column::Kind) else {
        let role = row.text(Column::Role).map(|(role, _)| super::values::word(&role));
        let switch = role.as_deref() == Some(Role::Switch.as_str());
        return Some(if switch { Kind::Switch } else { Kind::Device });
    };
    let word = super::values::word(&text);
    let known = Kind::ALL.iter().find(|(known, _)| *known == word);
    if known.is_none() {
        faults.error(
            place,
            format!("{} is no kind of row", quoted(&text)),
            format!(
                "Write one of {}, or leave it empty for a device.",
                one_of(Kind::ALL.iter().map(|(word, _)| *word))
            ),
        );
    }
    known.map(|(_, kind)| *kind)
}

/// Takes out what such a row has no place for, and says so.
fn leave_out(row: &mut Row<'_>, table: &Table, faults: &mut Faults) {
    let kind = row.kind;
    let mut out: Vec<(usize, &str)> = Vec::new();
    row.cells.retain(|column, cell| {
        let takes = kind.takes(*column);
        if !takes {
            out.push(*cell);
        }
        takes
    });
    if kind != Kind::Device {
        out.append(&mut row.others);
    }
    for (n, cell) in out {
        faults.warning(
            row.at(n),
            format!(
                "{} is left out: a row of the kind {} has no place for {}",
                quoted(cell.trim()),
                kind.word(),
                quoted(table.headings.cells.get(n).map_or("", |heading| heading.trim()))
            ),
            "Nothing need be done if it is not needed in the rig file.",
        );
    }
}

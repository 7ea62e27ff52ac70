//! Sheets for the hand: the patch sheet, the channel maps, the hand-over and strike sheet, and the
//! sign-off of a check.
//!
//! A sheet is a value first ([`Sheet`]): parts with tables, warnings and lines to sign. One file for
//! each part fills it in, one for each form writes it out ([`markdown`], [`html`]), and each of these
//! escapes every text for its own sink.

mod channels;
mod handover;
mod html;
mod markdown;
mod patch;
mod signoff;
pub mod walked;

pub use channels::channels;
pub use handover::{AsFound, handover};
pub use html::html;
pub use markdown::markdown;
pub use patch::patch;
pub use signoff::{Checked, CheckedDevice, CheckedFinding, SeenDevice, Stands, sign_off};
pub use walked::Walked;

/// A whole sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sheet {
    /// What the rig is called, or its file.
    pub title: String,
    /// One line under it: when it was made, and from what.
    pub origin: String,
    /// Its parts; each begins a new page.
    pub parts: Vec<Part>,
}

impl Sheet {
    /// All its warnings.
    pub fn warnings(&self) -> impl Iterator<Item = &Warning> {
        self.parts.iter().flat_map(|part| &part.warnings)
    }
}

/// Which part it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// What is plugged in where, with which address.
    Patch,
    /// What each channel of each panel drives.
    Channels,
    /// The head count at hand-over and at the strike, and how borrowed units are put back.
    HandOver,
    /// A check, to be signed.
    SignOff,
}

impl Kind {
    /// The word for it in JSON and on the command line.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Patch => "patch",
            Self::Channels => "channels",
            Self::HandOver => "handover",
            Self::SignOff => "signoff",
        }
    }

    /// Its heading.
    pub const fn title(self) -> &'static str {
        match self {
            Self::Patch => "Patch sheet",
            Self::Channels => "Channels of the panels",
            Self::HandOver => "Hand-over and strike",
            Self::SignOff => "Sign-off",
        }
    }
}

/// A part of a sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    /// Which.
    pub kind: Kind,
    /// What holds for all of it: a name and what it is.
    pub facts: Vec<(String, String)>,
    /// What is wrong or risky.
    pub warnings: Vec<Warning>,
    /// Its tables.
    pub tables: Vec<Table>,
    /// Sentences below.
    pub notes: Vec<String>,
    /// What to sign, each with a line for the name and one for the time.
    pub sign: Vec<String>,
}

impl Part {
    pub(super) const fn new(kind: Kind) -> Self {
        Self {
            kind,
            facts: Vec::new(),
            warnings: Vec::new(),
            tables: Vec::new(),
            notes: Vec::new(),
            sign: Vec::new(),
        }
    }

    fn fact(&mut self, name: &str, value: impl Into<String>) {
        self.facts.push((name.to_owned(), value.into()));
    }
}

/// A warning with its next step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Warning {
    /// What is wrong or risky.
    pub text: String,
    /// What to do about it.
    pub next: String,
}

/// A table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// Its heading; empty if the part's own says enough.
    pub title: String,
    /// Its columns.
    pub columns: Vec<Column>,
    /// Its rows, each with a cell for every column.
    pub rows: Vec<Vec<Cell>>,
}

impl Table {
    /// The places of the columns that have anything to show: a text, or room to write.
    pub fn shown(&self) -> Vec<usize> {
        let says = |row: &Vec<Cell>, i: usize| row.get(i).is_some_and(|cell| *cell != Cell::EMPTY);
        (0..self.columns.len())
            .filter(|i| self.rows.iter().any(|row| says(row, *i)))
            .collect()
    }
}

/// A column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Column {
    /// Its name for programs.
    pub key: &'static str,
    /// Its name for people.
    pub head: &'static str,
    /// Addresses and the like, which are copied letter by letter and never broken.
    pub code: bool,
}

/// A column of words.
const fn words(key: &'static str, head: &'static str) -> Column {
    Column {
        key,
        head,
        code: false,
    }
}

/// A column of addresses, ports or numbers.
const fn code(key: &'static str, head: &'static str) -> Column {
    Column {
        key,
        head,
        code: true,
    }
}

/// A cell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cell {
    /// What is known; empty if there is nothing to say.
    Text(String),
    /// Room to write by hand.
    ByHand,
    /// A box to tick.
    Tick,
}

impl Cell {
    const EMPTY: Self = Self::Text(String::new());
}

impl<T: Into<String>> From<T> for Cell {
    fn from(text: T) -> Self {
        Self::Text(text.into())
    }
}

/// What may stand on paper and on a screen as it is; whatever could move the cursor, turn the writing
/// direction, hide itself or break the line becomes U+FFFD.
const fn harmless(c: char) -> char {
    if vocab::moves_or_hides(c) { '\u{fffd}' } else { c }
}

/// All of them, with a comma between.
fn list<T: ToString>(items: impl IntoIterator<Item = T>) -> String {
    let items: Vec<String> = items.into_iter().map(|item| item.to_string()).collect();
    items.join(", ")
}

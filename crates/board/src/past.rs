//! What happened before: the page of changes goes on into the journal.
//!
//! The journal is read by the program, piece by piece, as somebody scrolls there; the board asks for
//! the next piece and shows what came.

use ledger::{Snapshot, Standing};
use vocab::Moment;

use crate::pen::Pen;
use crate::{changes, look, shape};

/// A line of the journal, the latest first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PastLine {
    /// What the lines below are of: a run, or another day of it.
    Head(String),
    /// A change.
    Change {
        /// The time of day.
        time: String,
        /// How the device stood from then on, where it is about one.
        standing: Option<Standing>,
        /// Whether it was one for the worse.
        worse: bool,
        /// One sentence.
        text: String,
        /// What it is based on; empty where nothing is said of that.
        basis: String,
    },
}

/// How far the journal was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Reach {
    /// There is no journal.
    None,
    /// Nothing yet.
    Unread,
    /// The next piece is on its way; `true`: it takes the place of all that is here.
    Awaited(bool),
    /// So far, and there is more.
    More,
    /// To its beginning.
    Whole,
}

/// What was read of the journal.
#[derive(Debug, Clone)]
pub(crate) struct Past {
    lines: Vec<PastLine>,
    reach: Reach,
    /// The oldest of this run's own changes that were kept when the reading began: what is older
    /// comes from the journal.
    edge: Option<Moment>,
}

impl Past {
    /// No journal.
    pub(crate) const NONE: Self = Self {
        lines: Vec::new(),
        reach: Reach::None,
        edge: None,
    };

    /// There is one.
    pub(crate) const fn begin(&mut self) {
        self.reach = Reach::Unread;
    }

    /// How many lines it adds to the page: one says how far it was read.
    pub(crate) const fn rows(&self) -> usize {
        match self.reach {
            Reach::None => 0,
            _ => self.lines.len() + 1,
        }
    }

    /// Whether the next piece is wanted now, as the last line that is shown of the page is `last`:
    /// `Some(true)` if all is to be read anew.
    pub(crate) fn wants(&mut self, last: usize, snapshot: &Snapshot) -> Option<bool> {
        let oldest = snapshot.changes.first().map(|change| change.at);
        // Changes that fell off the list meanwhile stand in the journal only.
        let moved = oldest != self.edge;
        let near = last + AHEAD >= changes::own_rows(snapshot) + self.lines.len();
        let anew = match self.reach {
            Reach::None | Reach::Awaited(_) => return None,
            Reach::Unread => true,
            Reach::More | Reach::Whole if moved => true,
            Reach::More if near => false,
            Reach::More | Reach::Whole => return None,
        };
        if anew {
            self.edge = oldest;
        }
        self.reach = Reach::Awaited(anew);
        Some(anew)
    }

    /// Takes a piece; `more`: there is more before it.
    pub(crate) fn add(&mut self, lines: Vec<PastLine>, more: bool) {
        if self.reach == Reach::Awaited(true) {
            self.lines.clear();
        }
        self.lines.extend(lines);
        self.reach = if more { Reach::More } else { Reach::Whole };
    }

    /// Paints it from row `from` on, leaving out its first `skip` lines.
    pub(crate) fn draw(&self, pen: &mut Pen<'_>, from: u16, skip: usize) {
        let end = match self.reach {
            Reach::None => return,
            Reach::Unread | Reach::Awaited(_) | Reach::More => "Reading the journal",
            Reach::Whole => "The journal has nothing earlier of this rig.",
        };
        let mut rows = from..pen.area().height;
        for (line, y) in self.lines.iter().skip(skip).zip(rows.by_ref()) {
            draw_line(pen, y, line);
        }
        if let Some(y) = rows.next().filter(|_| skip <= self.lines.len()) {
            pen.put(1, y, u16::MAX, end, look::PLAIN);
        }
    }
}

/// So many lines before the end of what was read the next piece is wanted.
const AHEAD: usize = 100;

fn draw_line(pen: &mut Pen<'_>, y: u16, line: &PastLine) {
    match line {
        PastLine::Head(words) => {
            pen.rule(y);
            pen.put(2, y, u16::MAX, &format!(" {words} "), look::BOLD);
        }
        PastLine::Change {
            time,
            standing,
            worse,
            text,
            basis,
        } => {
            let mark = match standing {
                Some(standing) => shape::of(*standing),
                None if *worse => '!',
                None => '+',
            };
            draw_change(pen, y, time, mark, *worse, text, basis);
        }
    }
}

/// One change: when, its mark, what, and what it is based on as far as there is room.
pub(crate) fn draw_change(
    pen: &mut Pen<'_>,
    y: u16,
    time: &str,
    mark: char,
    worse: bool,
    text: &str,
    basis: &str,
) {
    let style = if worse { look::BOLD } else { look::PLAIN };
    let mut x = 1;
    x += pen.put(x, y, u16::MAX, time, look::PLAIN) + 2;
    x += pen.put(x, y, 1, &mark.to_string(), style) + 1;
    x += pen.put(x, y, u16::MAX, text, style);
    if !basis.is_empty() {
        pen.put(x + 2, y, u16::MAX, &format!("({basis})"), look::PLAIN);
    }
}

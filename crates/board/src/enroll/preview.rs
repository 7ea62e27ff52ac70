//! What would be written, line by line.

use ratatui::style::Style;

use crate::look;
use crate::pen::Pen;

/// What becomes of a line of the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Change {
    /// It stays.
    Kept,
    /// It is new.
    Added,
    /// It goes, because a line below replaces it.
    Gone,
    /// It stands for lines that stay and are not shown.
    Skipped,
}

/// The lines that change, with a few around them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Preview {
    lines: Vec<(Change, String)>,
}

impl Preview {
    /// Of these lines.
    pub const fn new(lines: Vec<(Change, String)>) -> Self {
        Self { lines }
    }

    pub(super) const fn len(&self) -> usize {
        self.lines.len()
    }

    pub(super) fn draw(&self, pen: &mut Pen<'_>, top: usize) {
        let rows = usize::from(pen.area().height);
        for ((change, line), y) in self.lines.iter().skip(top).take(rows).zip(0..) {
            let (mark, style): (_, Style) = match change {
                Change::Kept => ("  ", look::PLAIN),
                Change::Added => ("+ ", look::BOLD),
                Change::Gone => ("- ", look::PLAIN),
                Change::Skipped => ("  ", look::PLAIN),
            };
            let x = 1 + pen.put(1, y, 2, mark, style);
            pen.put(x, y, u16::MAX, line, style);
        }
        more(pen, self.len(), top);
    }
}

/// Says that the page goes on below.
pub(super) fn more(pen: &mut Pen<'_>, lines: usize, top: usize) {
    let rows = pen.area().height;
    if rows > 0 && lines.saturating_sub(top) > usize::from(rows) {
        pen.put_right(1, rows - 1, " more below ", look::MARKED);
    }
}

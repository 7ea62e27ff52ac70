//! One thing that is wrong, or risky, in a rig file.

use std::fmt;

use unicode_width::UnicodeWidthStr;

/// A mistake or a warning with its place in the file, and how to mend it.
///
/// It prints as `FILE:LINE:COLUMN: what is wrong`, the line itself, a marker under the place, and
/// the next step. All of its text is cleaned: a terminal may show it as it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The file as the caller named it, cleaned.
    pub file: String,
    /// The line, from 1.
    pub line: usize,
    /// The column in characters (Unicode scalar values), from 1. One past the end of the line
    /// where something is missing there. A byte order mark has no column.
    pub column: usize,
    /// The line, or where it is long the part of it around the column.
    pub source_line: String,
    /// What is wrong.
    pub message: String,
    /// How to mend it.
    pub mend: String,
    /// Where the marker begins in `source_line`, in bytes, and where it ends.
    pub(super) marked: (usize, usize),
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}:{}:{}: {}", self.file, self.line, self.column, self.message)?;
        if !self.source_line.trim().is_empty() {
            let before = self.source_line.get(..self.marked.0).unwrap_or_default();
            let under = self
                .source_line
                .get(self.marked.0..self.marked.1)
                .unwrap_or_default();
            writeln!(f, "    {}", self.source_line.trim_end())?;
            writeln!(
                f,
                "    {}{}",
                " ".repeat(before.width()),
                "^".repeat(under.width().max(1))
            )?;
        }
        write!(f, "    {}", self.mend)
    }
}

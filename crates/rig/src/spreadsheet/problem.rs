//! What is wrong with a spreadsheet, and where.

use std::fmt;

/// A mistake or a warning with its line, its column, and how to mend it. All of its text is
/// cleaned: a terminal may show it as it is.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct RowProblem {
    /// The file as the caller named it, cleaned.
    pub file: String,
    /// The line of the file on which the row begins, from 1.
    pub line: usize,
    /// The heading of the column, cleaned; `None` where it is about the row or the whole file.
    pub column: Option<String>,
    /// What is wrong.
    pub message: String,
    /// How to mend it.
    pub mend: String,
}

impl fmt::Display for RowProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}: ", self.file, self.line)?;
        if let Some(column) = &self.column {
            write!(f, "column {column}: ")?;
        }
        write!(f, "{}\n    {}", self.message, self.mend)
    }
}

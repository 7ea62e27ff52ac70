//! What the commands print: tables for people, JSON and CSV for programs.

mod budget;
mod checked;
mod dated;
pub(crate) mod diary;
pub(crate) mod differences;
pub(crate) mod differences_text;
mod enroll;
pub(crate) mod escape;
pub(crate) mod imported;
pub(crate) mod json;
pub(crate) mod plan;
mod progress;
pub(crate) mod records;
mod sheet;
mod table;
pub(crate) mod word;

pub(crate) use budget::{BudgetReport, budget};
pub(crate) use dated::dated;
pub(crate) use enroll::enrolled;
pub(crate) use escape::plain;
pub(crate) use json::{Report, RigPart};
pub(crate) use progress::Progress;
pub(crate) use records::Record;
pub(crate) use sheet::SheetReport;
pub(crate) use table::{Paint, table, wrapped};
pub(crate) use word::{Format, Printed, Word, ipv4};

/// A file without its folders, which are nobody's business on paper.
pub(crate) fn file_name(file: &str) -> &str {
    let name = std::path::Path::new(file).file_name();
    name.and_then(|name| name.to_str()).unwrap_or(file)
}

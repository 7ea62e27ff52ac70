//! What the commands print: tables for people, JSON and CSV for programs.

mod budget;
pub(crate) mod diary;
pub(crate) mod differences;
pub(crate) mod differences_text;
pub(crate) mod escape;
pub(crate) mod json;
pub(crate) mod plan;
mod progress;
mod records;
mod table;
mod word;

pub(crate) use budget::{BudgetReport, budget};
pub(crate) use json::{Report, RigPart};
pub(crate) use progress::Progress;
pub(crate) use records::Record;
pub(crate) use table::{Paint, table};
pub(crate) use word::{Format, Printed, Word};

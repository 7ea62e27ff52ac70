//! What the commands print: tables for people, JSON and CSV for programs.

mod budget;
pub(crate) mod diary;
pub(crate) mod differences;
pub(crate) mod differences_text;
pub(crate) mod escape;
pub(crate) mod json;
mod progress;
mod records;
mod table;
mod word;

pub(crate) use budget::{BudgetReport, budget};
pub(crate) use json::Report;
pub(crate) use progress::Progress;
pub(crate) use records::Record;
pub(crate) use table::{Paint, table};

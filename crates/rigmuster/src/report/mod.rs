//! What `check`, `survey`, `enroll` and `journal` print.

mod budget;
pub(crate) mod diary;
mod enroll;
mod escape;
mod json;
mod progress;
mod records;
mod table;

pub(crate) use budget::{BudgetReport, budget};
pub(crate) use enroll::enrolled;
pub(crate) use json::Report;
pub(crate) use progress::Progress;
pub(crate) use records::Record;
pub(crate) use table::{Paint, table};

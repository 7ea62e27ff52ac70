//! What `check` and `survey` print.

mod json;
mod progress;
mod table;

pub(crate) use json::Report;
pub(crate) use progress::Progress;
pub(crate) use table::{Paint, table};

//! What `check` and `survey` print.

mod json;
mod progress;
mod table;

pub use json::Report;
pub use progress::Progress;
pub use table::{Paint, table};

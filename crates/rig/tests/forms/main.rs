//! A rig written anew, as a rig file and as a spreadsheet, and read back.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

mod arbitrary;
mod fresh;
mod lists;
mod sheets;

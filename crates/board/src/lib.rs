//! The full-screen board: a pure view of a snapshot; keys become requests.
//!
//! [`Board::draw`] paints a [`ledger::Snapshot`] and changes nothing. [`Board::handle`] takes what
//! the terminal reports, moves the board's own state (selection, page, filter), and hands back a
//! [`Request`] where something is wanted from the program. Nothing here reads a clock, a file or
//! the network.

mod board;
mod look;

pub use board::{Board, Request};
pub use look::{ColourUse, Look};

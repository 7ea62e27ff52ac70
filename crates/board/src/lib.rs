//! The full-screen board: a pure view of a snapshot; keys become requests.
//!
//! [`Board::draw`] paints a [`ledger::Snapshot`] and changes nothing. [`Board::handle`] takes what
//! the terminal reports, moves the board's own state (selection, page, filter), and hands back a
//! [`Request`] where something is wanted from the program. Nothing here reads a clock, a file or
//! the network.
//!
//! Both go through the same plan: what is where on a screen of this size. So the mouse hits
//! what was painted, and only what can be seen is built.

mod big;
mod board;
mod cable;
mod changes;
mod deed;
pub mod enroll;
mod far;
mod filter;
mod findings;
mod head;
mod help;
mod keymap;
mod keys;
mod known;
mod layout;
mod list;
mod look;
mod moves;
mod paint;
mod past;
mod pen;
mod plan;
mod request;
mod restart;
mod rows;
mod shape;
mod sheet;
mod sparkline;
mod starts;
mod text;
mod title;
mod wall;
mod words;

#[cfg(test)]
mod tests;

pub use board::Board;
pub use deed::{Answer, DeedForm, DeedLine};
pub use look::{ColourUse, Look};
pub use past::PastLine;
pub use request::{Deed, Request};
pub use title::title;
pub use words::span;

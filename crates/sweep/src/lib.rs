//! The scanner: carries out asks and reports what it saw.
//!
//! [`Scanner`] is the whole of it without any input or output: it is handed the time, frames and
//! asks, and hands out [`Order`]s and sightings. [`Driver`] is the thin part that waits. The
//! scanner never judges what a silence or an answer means; that is for the ledger.

mod arp;
mod asked;
mod borrow;
mod busy;
mod carry;
mod control;
mod discover;
mod driver;
mod echo;
mod gaps;
mod hear;
mod here;
mod job;
mod known;
mod lend;
mod listener;
mod manners;
mod names;
mod newborn;
mod order;
mod pacer;
mod passes;
mod plain;
mod queue;
mod runs;
mod scanner;
mod send;
mod sparing;
mod trial;
mod tunnel;

pub use borrow::Peer;
pub use driver::Driver;
pub use order::{Hold, Order};
pub use scanner::{Config, Dialing, Scanner};
pub use tunnel::TunnelNews;

//! Random rigs, faults and storms in virtual time, held to what really is.
//!
//! A seed gives a [`course::Course`]: a rig file, what really stands there, and what happens. It is played by venue, scanner
//! and ledger as they are. `watch` holds to the contract what is shown on the way, and the end is held to the
//! simulator's own `truth`.
#![allow(missing_docs, clippy::missing_panics_doc)]

mod build;
pub mod course;
pub mod dice;
pub mod draw;
pub mod file;
mod happen;
mod record;
pub mod round;
pub mod shrink;
pub mod tally;
mod truth;
mod watch;

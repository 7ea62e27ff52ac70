//! The program on a wire of real kernel stacks. All in one binary, so that tests that mostly wait run side by side.
#![cfg(target_os = "linux")]
#![allow(clippy::expect_used, clippy::unwrap_used)]

mod abuse;
mod away;
mod board;
mod cable;
mod clash;
mod computer;
mod control;
mod dhcp;
mod enroll;
mod far;
mod flaps;
mod groups;
mod journal;
mod level;
mod names;
mod networks;
mod oddities;
mod outage;
mod permission;
mod plan;
mod reach;
mod reach_rough;
mod readdress;
mod rights;
mod says;
mod six;
mod standings;
mod starts;
mod told;
mod traps;
mod who;
mod wink;
mod wire;
mod woken;

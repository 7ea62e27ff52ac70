//! What the program works out and prints from the rig file alone.
#![cfg(unix)]
#![allow(clippy::expect_used, clippy::unwrap_used)]

mod budget;

//! What the program works out and prints from the rig file alone.
#![cfg(unix)]
#![allow(clippy::expect_used, clippy::unwrap_used)]

#[cfg(target_os = "linux")]
mod browser;
mod budget;
#[cfg(target_os = "linux")]
mod sheet;
mod spreadsheets;

//! A rig as a spreadsheet (CSV, RFC 4180), and a spreadsheet as a rig.
//!
//! One table carries the whole rig. Each row is of a `kind`: a `device` or a `switch`, and below them
//! what belongs to no single one: `network`, `leases` (what the DHCP server of a network hands out),
//! `reserved` and `block` (for address planning), `rig` (its title). The columns are called as the
//! keys of the rig file; a panel's channels stand with the device that they point at, as
//! `Desk panel/1`. A list of devices without any other rows is read too, if it tells the subnet by
//! a `mask` column or the caller gives it.
//!
//! Export then import gives back the same rig, whatever its names are.

mod cells;
mod columns;
mod encoding;
mod links;
mod made;
mod problem;
mod read;
mod rows;
mod subnet;
mod table;
mod values;
mod write;

pub use problem::RowProblem;
pub use read::{Given, Sheet, read};
pub use write::write;

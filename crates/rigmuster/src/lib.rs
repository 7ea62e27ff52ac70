//! The program: arguments, files, wiring, reports, exit codes.
//!
//! One way round: a [`source`] (a real link, or the simulated venue) gives sightings, the ledger
//! judges them, and a command shows the snapshot: as a screen, a table or JSON.

mod args;
mod browser;
mod commands;
mod exit;
pub mod files;
mod hands;
pub mod journal;
mod moves;
mod places;
mod readdress;
mod report;
mod schema;
mod screen;
mod settings;
pub mod source;
mod tunnel;
#[doc(hidden)]
pub mod untrusted;
mod vendors;
mod walk;
mod walltime;

use std::ffi::OsString;
use std::process::ExitCode;

use clap::Parser;

pub use args::Cli;
pub use exit::{Exit, Failure};

/// The object that `check RIG --json` prints for `snapshot` of the rig file `file`, begun at `taken_at` (RFC 3339);
/// read back through the types that its schema is made from.
///
/// # Errors
/// If the types do not read what they wrote.
pub fn checked_json(
    snapshot: &ledger::Snapshot,
    file: &str,
    taken_at: &str,
) -> serde_json::Result<serde_json::Value> {
    let report = report::Report::new(snapshot, Some(file), taken_at.to_owned(), Some(snapshot.ready));
    let value = serde_json::to_value(report)?;
    serde_json::from_value::<report::Report>(value.clone())?;
    Ok(value)
}

/// Runs the program with these arguments (the first is the program's own name).
pub fn main(args: impl IntoIterator<Item = OsString>) -> ExitCode {
    let cli = match Cli::try_parse_from(args) {
        Ok(cli) => cli,
        Err(e) => {
            // Help and version are asked for; everything else is wrong usage.
            let code = if e.use_stderr() { Exit::Usage } else { Exit::Done };
            let _ = e.print();
            return code.into();
        }
    };
    match commands::run(cli) {
        Ok(exit) => exit.into(),
        Err(failure) => {
            failure.print();
            failure.exit.into()
        }
    }
}

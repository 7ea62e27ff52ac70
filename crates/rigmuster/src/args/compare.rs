//! The arguments of `compare`.

use std::path::PathBuf;

use clap::Args;

/// What to hold against what.
#[derive(Debug, Args)]
pub struct CompareArgs {
    /// The earlier one: a rig file, or a saved `check --json`
    #[arg(value_name = "A")]
    pub a: PathBuf,
    /// The later one: a rig file, or a saved `check --json`
    #[arg(value_name = "B")]
    pub b: PathBuf,
    /// Print one JSON object instead of the tables
    #[arg(long)]
    pub json: bool,
}

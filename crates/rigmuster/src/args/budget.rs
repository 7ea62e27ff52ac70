//! The arguments of `budget`.

use clap::Args;

use super::RigArg;

/// What to sum up, and how to print it.
#[derive(Debug, Args)]
pub struct BudgetArgs {
    /// The rig file.
    #[command(flatten)]
    pub rig: RigArg,
    /// Print one JSON object instead of the table
    #[arg(long)]
    pub json: bool,
}

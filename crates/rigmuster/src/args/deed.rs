//! The arguments that all commands share which act on a device.

use std::path::PathBuf;
use std::time::Duration;

use clap::Args;

use super::{KeepArgs, LinkArgs, parse_span};

/// On which rig, by which way, and how careful.
#[derive(Debug, Args)]
pub struct DeedArgs {
    /// The rig file (NAME.rig.toml); where this folder holds exactly one, it is the default
    #[arg(long, value_name = "FILE")]
    pub rig: Option<PathBuf>,
    #[command(flatten)]
    pub link: LinkArgs,
    /// Look for the device at most this long, such as 30s or 2m
    #[arg(long, value_name = "TIME", value_parser = parse_span, default_value = "30s")]
    pub within: Duration,
    /// Only say what would be done and sent
    #[arg(long)]
    pub dry_run: bool,
    #[command(flatten)]
    pub keep: KeepArgs,
}

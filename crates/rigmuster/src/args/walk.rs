//! The arguments of `walk`.

use clap::Args;

use super::DeedArgs;

/// Which panel, and which of its channels.
#[derive(Debug, Args)]
pub struct WalkArgs {
    /// The panel's name in the rig file
    #[arg(value_name = "PANEL")]
    pub panel: String,
    #[command(flatten)]
    pub deed: DeedArgs,
    /// Walk this channel alone
    #[arg(long, value_name = "NUMBER")]
    pub channel: Option<u32>,
}

//! The arguments of `enroll`.

use std::path::PathBuf;
use std::time::Duration;

use clap::Args;
use vocab::Ipv4Net;

use super::{LinkArgs, LookArgs, RigArg, parse_span};

/// From what a rig file is made, and how it is confirmed.
#[derive(Debug, Args)]
pub struct EnrollArgs {
    #[command(flatten)]
    pub rig: RigArg,
    #[command(flatten)]
    pub link: LinkArgs,
    /// Look at nothing: take the hosts of a survey that was saved (survey --json)
    #[arg(long, value_name = "SURVEY", conflicts_with_all = ["link", "rehearse", "listen_only", "pace", "unprivileged", "within"])]
    pub seen: Option<PathBuf>,
    /// Look at nothing: take the devices of this spreadsheet (CSV), such as sheet --as csv writes it, or a
    /// plain list; shows what is new and asks, unless --yes is given
    #[arg(long, value_name = "SHEET.csv", conflicts_with_all = ["seen", "link", "rehearse", "listen_only", "pace", "unprivileged", "within"])]
    pub from: Option<PathBuf>,
    /// The rig's subnet, where the spreadsheet does not tell it
    #[arg(long, value_name = "CIDR", requires = "from")]
    pub subnet: Option<Ipv4Net>,
    /// End the look at the wire after this long at the latest; without it, when the pass and 3 s of
    /// listening are over
    #[arg(long, value_name = "TIME", value_parser = parse_span)]
    pub within: Option<Duration>,
    /// Ask nothing and show no screen: take every host that answered at a control port, leave the others
    /// out, and write the file
    #[arg(long)]
    pub yes: bool,
    #[command(flatten)]
    pub look: LookArgs,
}

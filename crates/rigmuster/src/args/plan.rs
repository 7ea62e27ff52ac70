//! The arguments of the address planner.

use std::net::Ipv4Addr;
use std::path::PathBuf;

use clap::{Args, ValueEnum};
use vocab::Ipv4Net;

use super::{LinkArgs, RigArg};

/// What to plan.
#[expect(clippy::struct_excessive_bools, reason = "each is an option of its own")]
#[derive(Debug, Args)]
pub struct PlanArgs {
    #[command(flatten)]
    pub rig: RigArg,
    /// Move the whole rig into the hall of this venue file: [network], [networks.NAME] and [plan] as in
    /// a rig file
    #[arg(long, value_name = "FILE")]
    pub venue: Option<PathBuf>,
    /// Plan for this subnet instead of the file's, such as 10.40.8.0/24
    #[arg(long, value_name = "CIDR", value_parser = subnet, conflicts_with = "venue")]
    pub subnet: Option<Ipv4Net>,
    /// The gateway there
    #[arg(long, value_name = "ADDRESS", requires = "subnet")]
    pub gateway: Option<Ipv4Addr>,
    /// Plan for the subnet that a DHCP server on the wire offers
    #[arg(long, conflicts_with_all = ["venue", "subnet", "seen", "listen_only", "unprivileged"])]
    pub from_offer: bool,
    /// Take the addresses in use from a saved `survey --json` or `check --json` instead of the wire
    #[arg(long, value_name = "FILE", conflicts_with_all = ["link", "rehearse"])]
    pub seen: Option<PathBuf>,
    /// Leave devices that have their address by DHCP as they are; without it they get one of their own
    #[arg(long)]
    pub keep_dhcp: bool,
    /// Advise for a rig that goes from hall to hall; --venue implies it
    #[arg(long)]
    pub touring: bool,
    /// Print one free address, checked on the wire, with mask and gateway, for a guest or this computer
    #[arg(long, conflicts_with_all = ["seen", "listen_only", "write", "moves_to", "reservations", "keep_dhcp", "touring"])]
    pub free: bool,
    /// Print only the planned addresses as reservations for this DHCP server
    #[arg(long, value_name = "SERVER", conflicts_with = "json")]
    pub reservations: Option<Server>,
    /// Save the work list in this file, for: rigmuster board --moves FILE
    #[arg(long, value_name = "FILE")]
    pub moves_to: Option<PathBuf>,
    /// Write the plan in the rig file; asks first
    #[arg(long)]
    pub write: bool,
    /// Write without asking
    #[arg(long, requires = "write")]
    pub yes: bool,
    /// Print one JSON object instead of the text
    #[arg(long)]
    pub json: bool,
    #[command(flatten)]
    pub link: LinkArgs,
}

/// A work list for the board.
#[derive(Debug, Args)]
pub struct MovesArgs {
    /// Show this work list of `plan --moves-to FILE` on key v, ticked off as the devices turn up; ticks by
    /// hand are kept in the file
    #[arg(long, value_name = "FILE")]
    pub moves: Option<PathBuf>,
}

/// An open DHCP server.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Server {
    /// `dhcp-host` lines of dnsmasq
    Dnsmasq,
    /// The configuration of a Kea server
    Kea,
}

/// Reads a subnet that a rig can have: /16 to /30, as the rig file has it.
fn subnet(text: &str) -> Result<Ipv4Net, String> {
    let net = crate::places::parse_place(text)?;
    if (16..=30).contains(&net.prefix_len()) {
        return Ok(net);
    }
    Err(format!(
        "a rig's subnet is /16 to /30, and this is /{}",
        net.prefix_len()
    ))
}

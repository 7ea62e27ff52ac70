//! The network of a rig, and what address planning may use of it.

use std::collections::BTreeMap;
use std::net::Ipv4Addr;

use vocab::{AddressRange, Ipv4Net, Pace};

use super::Role;

/// The `[network]` table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Network {
    /// The rig's subnet, /16 to /30, host bits zero.
    pub subnet: Ipv4Net,
    /// The gateway, inside the subnet.
    pub gateway: Option<Ipv4Addr>,
    /// What the DHCP server hands out.
    pub leases: Vec<AddressRange>,
    /// How fast we may ask.
    pub pace: Pace,
    /// Whether other people's hosts share it.
    pub shared: bool,
}

/// The `[plan]` table.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Plan {
    /// Addresses that planning leaves alone.
    pub reserved: Vec<AddressRange>,
    /// Where the devices of a role go.
    pub blocks: BTreeMap<Role, AddressRange>,
}

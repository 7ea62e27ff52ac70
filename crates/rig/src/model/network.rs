//! The networks of a rig, and what address planning may use of them.

use std::collections::BTreeMap;
use std::net::Ipv4Addr;

use vocab::{AddressRange, Ipv4Net, Pace};

use super::Role;

/// How the hosts of a network are asked, which decides what can be seen of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Reach {
    /// This computer is plugged into it: clashes, strangers and hardware are seen.
    #[default]
    Wire,
    /// Through a router: only echo and control ports tell of a device.
    Routed,
}

impl Reach {
    /// Every one, the usual one first.
    pub const ALL: [Self; 2] = [Self::Wire, Self::Routed];

    /// The word in the rig file and in JSON.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Wire => "wire",
            Self::Routed => "routed",
        }
    }
}

/// The `[network]` table, or a `[networks.NAME]` one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Network {
    /// What it is called: [`Network::MAIN`] for `[network]`.
    pub name: String,
    /// How its hosts are asked; `[network]` is always on the wire.
    pub reach: Reach,
    /// Its subnet, /16 to /30, host bits zero.
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

impl Network {
    /// The name of `[network]`.
    pub const MAIN: &'static str = "main";

    /// The addresses that hosts may hold: all of the subnet without its network address (the
    /// first) and its broadcast address (the last; RFC 950, RFC 922).
    pub fn hosts(&self) -> AddressRange {
        Self::host_range(self.subnet)
    }

    /// The hosts of any subnet. Where it has neither a network nor a broadcast address (/31 and
    /// /32, which no rig has) it is the whole of it (RFC 3021).
    pub(crate) fn host_range(subnet: Ipv4Net) -> AddressRange {
        let (network, broadcast) = (subnet.network(), subnet.broadcast());
        let whole = AddressRange::from(subnet);
        u32::from(network)
            .checked_add(1)
            .zip(u32::from(broadcast).checked_sub(1))
            .and_then(|(first, last)| AddressRange::new(first.into(), last.into()))
            .unwrap_or(whole)
    }

    /// Whether a host of the rig may hold `address`: in the subnet, and neither its network nor
    /// its broadcast address.
    pub fn is_host(&self, address: Ipv4Addr) -> bool {
        self.hosts().contains(address)
    }
}

/// The `[plan]` table.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Plan {
    /// Addresses that planning leaves alone.
    pub reserved: Vec<AddressRange>,
    /// Where the devices of a role go.
    pub blocks: BTreeMap<Role, AddressRange>,
}

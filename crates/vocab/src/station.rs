//! This computer and its way onto the wire.

use core::net::Ipv6Addr;

use ipnet::Ipv4Net;

use crate::Mac;

/// How we reach the wire, which decides what can be seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Mode {
    /// Whole Ethernet frames: everything on the wire that reaches our port.
    Raw,
    /// Without permission for frames: own subnet only, no clashes, no foreign addresses.
    Unprivileged,
    /// The simulated venue.
    Simulated,
    /// Through routers, by the system's own routes: echo and control ports of one network alone.
    Routed,
}

impl Mode {
    /// Every one.
    pub const ALL: [Self; 4] = [Self::Raw, Self::Unprivileged, Self::Simulated, Self::Routed];

    /// Whether whole frames are seen, and with them hardware, clashes and foreign addresses.
    pub const fn sees_frames(self) -> bool {
        matches!(self, Self::Raw | Self::Simulated)
    }

    /// The word in the JSON contract.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Raw => "raw",
            Self::Unprivileged => "unprivileged",
            Self::Simulated => "simulated",
            Self::Routed => "routed",
        }
    }
}

/// What our interface says of itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum LinkState {
    /// Switched on, with carrier.
    Up,
    /// Switched on, but nothing at the other end of the cable.
    NoCarrier,
    /// Switched off.
    Down,
    /// There is no interface of that name now.
    Gone,
}

/// What kind of interface it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Medium {
    /// Ethernet over a cable, as far as the system says.
    Wired,
    /// Wi-Fi.
    Wireless,
}

/// Another interface of this computer that has an IPv4 address.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct OtherPort {
    /// Its name in the operating system.
    pub name: String,
    /// Its hardware address, where the system tells it.
    pub mac: Option<Mac>,
    /// Its addresses with their masks.
    pub addresses: Vec<Ipv4Net>,
    /// What kind it is.
    pub medium: Medium,
}

/// This computer as a host on the wire: the interface in use, and the others.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Station {
    /// The interface's name in the operating system.
    pub name: String,
    /// Its number there; a new one when it was made again. 0 where there is none.
    pub index: u32,
    /// Its hardware address.
    pub mac: Mac,
    /// Its IPv4 addresses with their masks, the order that the system gives.
    pub addresses: Vec<Ipv4Net>,
    /// Its link-local IPv6 address, once the system has made sure that it is free.
    pub link_local: Option<Ipv6Addr>,
    /// Whether the cable carries.
    pub state: LinkState,
    /// What kind of interface it is.
    pub medium: Medium,
    /// How frames get in and out.
    pub mode: Mode,
    /// This computer's other interfaces with IPv4 addresses that are up, without loopback.
    pub others: Vec<OtherPort>,
}

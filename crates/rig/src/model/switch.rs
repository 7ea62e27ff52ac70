//! Switches and the power they give.

use std::net::Ipv4Addr;

use vocab::Mac;

use super::SwitchPort;

/// IEEE 802.3 power-sourcing Type, 1 to 4.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PoeType {
    /// Type 1 (802.3af), up to class 3.
    One,
    /// Type 2 (802.3at), up to class 4.
    Two,
    /// Type 3 (802.3bt), up to class 6.
    Three,
    /// Type 4 (802.3bt), up to class 8.
    Four,
}

impl PoeType {
    /// Every Type there is.
    pub const ALL: [Self; 4] = [Self::One, Self::Two, Self::Three, Self::Four];
}

/// The Types of a switch's powered ports.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PoeTypes {
    /// The file does not say.
    Unsaid,
    /// All ports alike.
    All(PoeType),
    /// By ranges of ports (first, last, Type), in order, not overlapping.
    Ranges(Vec<(u32, u32, PoeType)>),
}

/// A `[[switch]]` table.
#[derive(Debug, Clone, PartialEq)]
pub struct Switch {
    /// Its name, unique among switches and devices.
    pub name: String,
    /// How many powered ports it has.
    pub ports: Option<u32>,
    /// What all its ports may give together, in watts.
    pub budget_w: Option<f64>,
    /// Which Type its ports are.
    pub poe: PoeTypes,
    /// What its uplink carries, in Mb/s.
    pub uplink_mbps: Option<f64>,
    /// Where it is plugged in.
    pub uplink: Option<SwitchPort>,
    /// Its own address, if it has one.
    pub address: Option<Ipv4Addr>,
    /// The name of the network that its address lies in.
    pub network: String,
    /// Its own hardware addresses.
    pub macs: Vec<Mac>,
}

//! A host that is not on the list.

use std::net::{Ipv4Addr, Ipv6Addr};

use vocab::{ControlPort, ControlState, Ipv6Source, Mac, Moment, Name, Power, Text};

use super::HeardView;

/// One thing on the wire that no device of the rig accounts for.
#[derive(Debug, Clone, PartialEq)]
pub struct HostView {
    /// Its hardware; `None` where only an address is known.
    pub mac: Option<Mac>,
    /// The network it was heard on, where the rig has more than one.
    pub network: Option<String>,
    /// Its IPv4 addresses, the latest heard first.
    pub addresses: Vec<Ipv4Addr>,
    /// What it is known by besides.
    pub heard: HeardView,
    /// Where it was last heard over IPv6, and how.
    pub ipv6: Option<(Ipv6Addr, Ipv6Source)>,
    /// Who made it, from the registries.
    pub vendor: Option<Text>,
    /// What it calls itself, what people gave it first.
    pub names: Vec<Name>,
    /// When it was first heard.
    pub first_seen: Moment,
    /// When it was last heard.
    pub last_heard: Moment,
    /// Whether it has an address in the subnet.
    pub on_subnet: bool,
    /// Control ports that were asked.
    pub control: Vec<(ControlPort, ControlState)>,
    /// What those ports said of it.
    pub said: Vec<(ControlPort, Text)>,
    /// Whether it is on, as it said; `None` where it did not say.
    pub power: Option<Power>,
    /// Which missing devices it could be, best first.
    pub resembles: Vec<Resemblance>,
}

/// A stranger's likeness to a missing device.
#[derive(Debug, Clone, PartialEq)]
pub struct Resemblance {
    /// The device's name.
    pub device: String,
    /// How much, 0 to 1.
    pub score: f64,
    /// Why.
    pub because: Vec<String>,
}

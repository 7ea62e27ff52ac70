//! One expected device.

use std::collections::BTreeMap;
use std::fmt;
use std::net::{AddrParseError, Ipv4Addr};
use std::str::FromStr;
use std::time::Duration;

use vocab::{ControlPort, Mac};

use super::{Login, Role};

/// Which address a device should hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum AddressSpec {
    /// This one.
    Fixed(Ipv4Addr),
    /// Any in its network's subnet, given by the DHCP server.
    Dhcp,
    /// It has none: on the sheet, not in the count.
    None,
}

impl fmt::Display for AddressSpec {
    /// As the rig file spells it.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Fixed(address) => address.fmt(f),
            Self::Dhcp => f.pad("dhcp"),
            Self::None => f.pad("none"),
        }
    }
}

impl FromStr for AddressSpec {
    type Err = AddrParseError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text {
            "dhcp" => Ok(Self::Dhcp),
            "none" => Ok(Self::None),
            text => text.parse().map(Self::Fixed),
        }
    }
}

/// How a fixed address comes to the device.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum How {
    /// Set in the device.
    #[default]
    Static,
    /// Reserved by the DHCP server.
    Reserved,
}

impl How {
    /// Every one, the usual one first.
    pub const ALL: [Self; 2] = [Self::Static, Self::Reserved];

    /// The word in the rig file.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Static => "static",
            Self::Reserved => "reserved",
        }
    }
}

/// When its control ports are asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum AskWhen {
    /// When it appears, returns, or on request.
    #[default]
    Once,
    /// Every 60 seconds as well.
    Watch,
    /// Never.
    Never,
}

impl AskWhen {
    /// Every one, the usual one first.
    pub const ALL: [Self; 3] = [Self::Once, Self::Watch, Self::Never];

    /// The word in the rig file.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Once => "once",
            Self::Watch => "watch",
            Self::Never => "never",
        }
    }
}

/// Whether the show waits for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Need {
    /// It decides whether the rig is ready.
    #[default]
    Show,
    /// A spare.
    Spare,
    /// It comes later.
    Later,
}

impl Need {
    /// Every one, the usual one first.
    pub const ALL: [Self; 3] = [Self::Show, Self::Spare, Self::Later];

    /// The word in the rig file and in JSON.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Show => "show",
            Self::Spare => "spare",
            Self::Later => "later",
        }
    }
}

/// A port of a switch, written `S1/3`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SwitchPort {
    /// The switch's name. It need not be listed in the file.
    pub switch: String,
    /// The port number, from 1.
    pub port: u32,
}

impl fmt::Display for SwitchPort {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.switch, self.port)
    }
}

/// What a device draws over its network cable.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Power {
    /// An IEEE 802.3 class, 0 to 8.
    Class(u8),
    /// So many watts at the device.
    Watts(f64),
}

/// What a panel's channel points at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Channel {
    /// The name of the device.
    pub device: String,
    /// The control port it is driven by, if the file says.
    pub control: Option<ControlPort>,
}

/// A `[[device]]` table, or a switch that has an address.
#[derive(Debug, Clone, PartialEq)]
pub struct Device {
    /// Its name, unique among devices and switches.
    pub name: String,
    /// What it is for.
    pub role: Role,
    /// Its hardware addresses; empty if the file gives none.
    pub macs: Vec<Mac>,
    /// The address it should hold.
    pub address: AddressSpec,
    /// The name of the network it is on.
    pub network: String,
    /// How a fixed address comes to it.
    pub how: How,
    /// The control ports that must answer.
    pub control: Vec<ControlPort>,
    /// When they are asked.
    pub ask: AskWhen,
    /// Whether the show waits for it.
    pub need: Need,
    /// Whether it may doze off without an alarm.
    pub sleeps: bool,
    /// Where it is plugged in.
    pub port: Option<SwitchPort>,
    /// How long its cable is, in metres.
    pub cable_m: Option<f64>,
    /// What it draws.
    pub power: Option<Power>,
    /// What it sends, in Mb/s.
    pub stream_mbps: Option<f64>,
    /// How long its start may take; the default of its role if the file says nothing.
    pub boot: Duration,
    /// Where its login is found, for what needs one.
    pub login: Option<Login>,
    /// Where it stands.
    pub position: Option<String>,
    /// Anything else.
    pub note: Option<String>,
    /// Who else points at it.
    pub used_by: Vec<String>,
    /// A panel's channels by number.
    pub channels: BTreeMap<u32, Channel>,
}

impl Device {
    /// How long a start may take where the file says nothing: computers 180 s, all else 120 s
    /// (the rig file's contract).
    pub const fn usual_boot(role: Role) -> Duration {
        match role {
            Role::Computer => Duration::from_mins(3),
            _ => Duration::from_mins(2),
        }
    }

    /// The fixed address, if it has one.
    pub const fn fixed_address(&self) -> Option<Ipv4Addr> {
        match self.address {
            AddressSpec::Fixed(address) => Some(address),
            AddressSpec::Dhcp | AddressSpec::None => None,
        }
    }
}

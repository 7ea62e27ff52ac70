//! How each device should come to its address.
//!
//! All of this is common practice of the trade, no source.

use super::Hall;
use super::users::Users;
use crate::{AddressSpec, Device, How, Network, Rig, Role};

/// Whether the rig goes from hall to hall.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Stay {
    /// It lives in one place.
    #[default]
    Fixed,
    /// It travels.
    Touring,
}

impl Stay {
    /// The word in JSON.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Fixed => "fixed",
            Self::Touring => "touring",
        }
    }
}

/// A way to come to an address.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Way {
    /// Set in the device.
    Static,
    /// Reserved by the DHCP server.
    Reserved,
    /// Any that the DHCP server gives.
    Dhcp,
}

impl Way {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Static, Self::Reserved, Self::Dhcp];

    /// The word in the rig file and in JSON.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Static => "static",
            Self::Reserved => "reserved",
            Self::Dhcp => "dhcp",
        }
    }

    /// The way that a device has its address by, by the file.
    const fn of(device: &Device) -> Option<Self> {
        match (device.address, device.how) {
            (AddressSpec::None, _) => None,
            (AddressSpec::Dhcp, _) => Some(Self::Dhcp),
            (AddressSpec::Fixed(_), How::Static) => Some(Self::Static),
            (AddressSpec::Fixed(_), How::Reserved) => Some(Self::Reserved),
        }
    }
}

/// What to do with a device, and why.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Advice {
    /// The way.
    pub way: Way,
    /// A few words.
    pub why: &'static str,
}

/// How each device of the rig should come to its address, in file order; those without one are left out.
pub fn advice<'r>(rig: &'r Rig, hall: &Hall, stay: Stay) -> Vec<(&'r Device, Way, Advice)> {
    let users = Users::of(rig);
    let devices = rig.devices.iter();
    devices
        .filter_map(|device| {
            // Whoever is known by its address: to a channel, a listed user, whoever drives its control
            // ports; and panels, which others must find.
            let driven = !device.control.is_empty() || !device.used_by.is_empty();
            let pointed_at = driven || device.role == Role::Panel || !users.channels(&device.name).is_empty();
            let network = hall.network(&device.network)?;
            Some((device, Way::of(device)?, of(network, device, pointed_at, stay)))
        })
        .collect()
}

fn of(network: &Network, device: &Device, pointed_at: bool, stay: Stay) -> Advice {
    // A pool in the file is a server that somebody knows; a house LAN's is not ours.
    let server = !network.leases.is_empty();
    let (way, why) = match (device.role, stay) {
        (Role::Router, _) => (Way::Static, "gives out addresses itself"),
        (Role::Switch | Role::AccessPoint, _) => (Way::Static, "must be reached when nothing else works"),
        _ if !pointed_at && (server || stay == Stay::Touring) => {
            (Way::Dhcp, "nobody points at it; it takes what the hall gives")
        }
        _ if !pointed_at => (Way::Static, "no lease pool is known here"),
        _ if network.shared && device.macs.is_empty() => {
            (Way::Static, "pointed at; give its mac and the house can reserve")
        }
        _ if network.shared => (Way::Reserved, "pointed at; only the house knows what is free"),
        (_, Stay::Touring) => (Way::Static, "pointed at; the next hall may have no server"),
        _ if !server => (Way::Static, "pointed at; no lease pool is known here"),
        _ if device.macs.is_empty() => (Way::Static, "pointed at; without a mac nothing can be reserved"),
        _ => (Way::Reserved, "pointed at; the address is kept in one place"),
    };
    Advice { way, why }
}

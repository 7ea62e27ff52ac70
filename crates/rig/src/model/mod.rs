//! The rig as a model: what should be on the network.
//!
//! A [`Rig`] is only ever made by reading a rig file without errors, so names, hardware addresses,
//! addresses and channels are unique in it, and fixed addresses lie in the subnet of their network.

mod device;
mod login;
mod network;
mod role;
mod rows;
mod switch;
mod venue;

pub use device::{AddressSpec, AskWhen, Channel, Device, How, Need, Power, SwitchPort};
pub use login::{Login, NoLogin};
pub use network::{Network, Plan, Reach};
pub use role::Role;
pub(crate) use rows::Row;
pub use switch::{PoeType, PoeTypes, Switch};
pub use venue::Venue;

/// Everything a rig file says, as seen from one of its networks.
#[derive(Debug, Clone, PartialEq)]
pub struct Rig {
    /// What the show or the rig is called; empty if the file gives none.
    pub title: String,
    /// The network that the rig is seen from: `[network]`, unless [`Rig::seen_from`] chose another.
    pub network: Network,
    /// Its other networks, in file order; their subnets do not overlap.
    pub others: Vec<Network>,
    /// The switches, in file order.
    pub switches: Vec<Switch>,
    /// The devices in file order. A switch with an address of its own stands among them, where
    /// the file has it, with [`Role::Switch`].
    pub devices: Vec<Device>,
    /// For address planning.
    pub plan: Plan,
}

impl Rig {
    /// The device of that name.
    pub fn device(&self, name: &str) -> Option<&Device> {
        self.devices.iter().find(|d| d.name == name)
    }

    /// The devices that take part in the head count of [`Rig::network`]: those on it that have an
    /// address, fixed or by DHCP.
    pub fn counted(&self) -> impl Iterator<Item = &Device> {
        self.devices
            .iter()
            .filter(|d| d.address != AddressSpec::None && d.network == self.network.name)
    }

    /// All networks, the one that the rig is seen from first.
    pub fn networks(&self) -> impl Iterator<Item = &Network> {
        core::iter::once(&self.network).chain(&self.others)
    }

    /// The same rig seen from the network of that name; `None` if it has no such network. Devices
    /// of the others stay in it, because channels lead from one network to another.
    pub fn seen_from(&self, name: &str) -> Option<Self> {
        let mut rig = self.clone();
        if name != self.network.name {
            let there = rig.others.iter().position(|n| n.name == name)?;
            std::mem::swap(&mut rig.network, rig.others.get_mut(there)?);
        }
        Some(rig)
    }

    /// The channels of panels that point at the device of that name, as (panel, channel number).
    pub fn channels_of<'a>(&'a self, name: &'a str) -> impl Iterator<Item = (&'a Device, u32)> {
        self.devices.iter().flat_map(move |panel| {
            panel
                .channels
                .iter()
                .filter(move |(_, c)| c.device == name)
                .map(move |(n, _)| (panel, *n))
        })
    }
}

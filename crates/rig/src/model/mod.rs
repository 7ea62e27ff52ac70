//! The rig as a model: what should be on the network.
//!
//! A [`Rig`] is only ever made by reading a rig file without errors, so names, hardware addresses,
//! addresses and channels are unique in it, and fixed addresses lie in the subnet.

mod device;
mod network;
mod role;
mod switch;

pub use device::{AddressSpec, AskWhen, Channel, Device, How, Need, Power, SwitchPort};
pub use network::{Network, Plan};
pub use role::Role;
pub use switch::{PoeType, PoeTypes, Switch};

/// Everything a rig file says.
#[derive(Debug, Clone, PartialEq)]
pub struct Rig {
    /// What the show or the rig is called; empty if the file gives none.
    pub title: String,
    /// The network that the rig lives on.
    pub network: Network,
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

    /// The devices that take part in the head count: those with an address, fixed or by DHCP.
    pub fn counted(&self) -> impl Iterator<Item = &Device> {
        self.devices.iter().filter(|d| d.address != AddressSpec::None)
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

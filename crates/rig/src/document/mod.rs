//! The text of a rig file, kept for editing.
//!
//! An edit finds the place of the value in the text and replaces or inserts just that; nothing is
//! written anew from a model. So comments, order, spacing and line endings stay as their owner left
//! them. After each edit the text is read again, and an edit that would break the file is refused.

mod channels;
mod fresh;
mod places;
mod splice;
mod values;

use std::collections::BTreeMap;
use std::fmt;
use std::net::Ipv4Addr;

use vocab::{AddressRange, ControlPort, Ipv4Net, Mac, Pace};

use crate::{AddressSpec, Device, How, Problem, Reach, Rig, Role, Switch, read};

/// The text of a rig file that reads without errors.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RigDocument {
    text: String,
}

/// A change to a rig file.
#[derive(Debug, Clone, PartialEq)]
pub enum Edit {
    /// Gives a device or switch these hardware addresses in place of those it had; an empty list
    /// takes the key out.
    Macs {
        /// Its name.
        name: String,
        /// Its hardware addresses.
        macs: Vec<Mac>,
    },
    /// Gives a device or switch another address. For a switch only a fixed one will do.
    Address {
        /// Its name.
        name: String,
        /// The address.
        address: AddressSpec,
    },
    /// Says how a device gets its address.
    How {
        /// Its name.
        name: String,
        /// How.
        how: How,
    },
    /// Changes a network.
    Network {
        /// Its name.
        network: String,
        /// What of it.
        key: NetworkKey,
    },
    /// Says which addresses planning leaves alone; an empty list takes the key out.
    Reserved(Vec<AddressRange>),
    /// Says where the devices of a role go; an empty table takes the key out.
    Blocks(BTreeMap<Role, AddressRange>),
    /// Adds a `[[device]]` after the last one.
    Add(NewDevice),
    /// The same with as many, and with all that is known of them.
    Devices(Vec<Device>),
    /// Adds a `[[switch]]` for each after the last one.
    Switches(Vec<Switch>),
    /// Gives a panel further channels; those that it has stay. A number that it has already is an
    /// error of the outcome.
    Channels {
        /// Its name.
        name: String,
        /// The names of devices, by channel.
        channels: BTreeMap<u32, String>,
    },
}

/// A key of a network with its new value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NetworkKey {
    /// Its subnet.
    Subnet(Ipv4Net),
    /// How its hosts are asked; for a `[networks.NAME]` only.
    Reach(Reach),
    /// Its gateway; `None` takes the key out.
    Gateway(Option<Ipv4Addr>),
    /// Its lease pools; an empty list takes the key out.
    Leases(Vec<AddressRange>),
    /// How fast we may ask.
    Pace(Pace),
    /// Whether other people's hosts share it.
    Shared(bool),
}

/// A device to be added.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewDevice {
    /// Its name.
    pub name: String,
    /// What it is for; not [`Role::Switch`].
    pub role: Role,
    /// Its hardware addresses.
    pub macs: Vec<Mac>,
    /// Its address.
    pub address: AddressSpec,
    /// The control ports that must answer.
    pub control: Vec<ControlPort>,
    /// A remark, such as where it was found.
    pub note: Option<String>,
}

/// Why an edit was refused. The document is as it was.
#[derive(Debug, Clone, PartialEq)]
pub enum EditError {
    /// The file has no device, switch or network of that name.
    NoSuchDevice(String),
    /// The file would have these errors afterwards; their places are places in the edited text.
    WouldBreak(Vec<Problem>),
}

impl fmt::Display for EditError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoSuchDevice(name) => write!(f, "the rig file has no device called {name:?}"),
            Self::WouldBreak(problems) => {
                f.write_str("the rig file would be wrong after this change")?;
                problems.iter().try_for_each(|problem| write!(f, "\n{problem}"))
            }
        }
    }
}

impl std::error::Error for EditError {}

impl RigDocument {
    /// A document of a text that was just read without errors.
    pub(crate) fn of_valid(text: &str) -> Self {
        Self {
            text: text.to_owned(),
        }
    }

    /// A new file that reads as `rig`; what is as usual stands not in it.
    ///
    /// # Errors
    /// A rig that no file can say, because it was not made by reading one.
    pub fn fresh(rig: &Rig) -> Result<Self, EditError> {
        let text = fresh::text(rig);
        let reading = read("the new file", text.as_bytes());
        if reading.errors.is_empty() {
            Ok(Self { text })
        } else {
            Err(EditError::WouldBreak(reading.errors))
        }
    }

    /// The text to be saved. A byte order mark and the line endings are those of the file.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// In which line, from 1, a panel's channel stands.
    pub fn channel_line(&self, panel: &str, channel: u32) -> Option<usize> {
        channels::line(&self.text, panel, channel)
    }

    /// Makes all the edits or, if one cannot be made or the outcome would have an error, none.
    /// Only the outcome is checked, so two devices may swap their addresses in one go.
    pub fn apply(&mut self, edits: &[Edit]) -> Result<Rig, EditError> {
        let mut text = self.text.clone();
        splice::apply(&mut text, edits)?;
        let reading = read("the edited file", text.as_bytes());
        let rig = reading.rig.ok_or(EditError::WouldBreak(reading.errors))?;
        self.text = text;
        Ok(rig)
    }

    /// Gives a device or switch one hardware address in place of those it had.
    pub fn set_mac(&mut self, name: &str, mac: Mac) -> Result<Rig, EditError> {
        self.apply(&[Edit::Macs {
            name: name.to_owned(),
            macs: vec![mac],
        }])
    }

    /// Gives a device or switch another address.
    pub fn set_address(&mut self, name: &str, address: AddressSpec) -> Result<Rig, EditError> {
        self.apply(&[Edit::Address {
            name: name.to_owned(),
            address,
        }])
    }

    /// Adds a device after the last one.
    pub fn add_device(&mut self, device: NewDevice) -> Result<Rig, EditError> {
        self.apply(&[Edit::Add(device)])
    }
}

//! One host as it stands on the sheet.

use vocab::Mac;

use super::found::{Found, HostId};
use super::names;
use crate::{AddressSpec, Role};

/// What becomes of a host.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fate {
    /// It gets an entry.
    Taken,
    /// It gets none, unless somebody takes it.
    Left,
    /// The file lists it already, under this name.
    Listed(String),
    /// The file lists its address without hardware, under this name; its hardware may be added.
    Nameless {
        /// The device.
        device: String,
        /// Whether it is.
        add: bool,
    },
    /// It is this computer.
    Own,
    /// It is the gateway.
    Gateway,
    /// No entry could tell which host it is: neither its hardware nor an address of the rig's
    /// network is known.
    Untold,
}

/// One host with the entry that is proposed for it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// What it shows of itself.
    pub found: Found,
    /// What it is known by.
    pub id: HostId,
    /// What becomes of it.
    pub fate: Fate,
    /// The name to write.
    pub name: String,
    /// Its role.
    pub role: Role,
    /// What speaks for that role.
    pub role_because: String,
    /// Its address.
    pub address: AddressSpec,
    /// What speaks for that address.
    pub address_because: String,
    /// Its address now, where that is none of the rig's network.
    pub stray: Option<std::net::Ipv4Addr>,
    /// The panel's channel that will point at it.
    pub channel: Option<u32>,
    /// Others that hold its address as well.
    pub clash: Vec<Mac>,
    /// The name that it gives itself, fit for the file.
    pub(super) own_name: Option<String>,
    pub(super) hand: Hand,
}

/// What a person has decided, which no news changes.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Hand {
    pub(super) fate: Option<bool>,
    pub(super) name: Option<String>,
    pub(super) role: Option<Role>,
    pub(super) address: Option<AddressSpec>,
    pub(super) channel: Choice<u32>,
}

/// What a person chose, where that may be nothing at all.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) enum Choice<T> {
    /// No word was said.
    #[default]
    Open,
    /// Nothing is wanted.
    Nothing,
    /// This is.
    This(T),
}

impl<T> Choice<T> {
    pub(super) fn of(chosen: Option<T>) -> Self {
        chosen.map_or(Self::Nothing, Self::This)
    }
}

impl Row {
    pub(super) fn new(id: HostId, found: Found) -> Self {
        Self {
            own_name: names::own(&found),
            found,
            id,
            fate: Fate::Left,
            name: String::new(),
            role: Role::Other,
            role_because: String::new(),
            address: AddressSpec::Dhcp,
            address_because: String::new(),
            stray: None,
            channel: None,
            clash: Vec::new(),
            hand: Hand::default(),
        }
    }

    /// Goes by what it shows now.
    pub(super) fn show(&mut self, found: Found) {
        if self.found.words != found.words {
            self.own_name = names::own(&found);
        }
        self.found = found;
    }

    /// Whether it gets an entry.
    pub fn is_taken(&self) -> bool {
        self.fate == Fate::Taken
    }

    /// Whether it may get one, or its hardware may be added.
    pub const fn is_open(&self) -> bool {
        matches!(self.fate, Fate::Taken | Fate::Left | Fate::Nameless { .. })
    }

    /// Whether somebody gave it its name.
    pub const fn is_named(&self) -> bool {
        self.hand.name.is_some()
    }

    /// Why it gets no entry of its own; empty where it does.
    pub fn left_because(&self) -> String {
        match &self.fate {
            Fate::Taken => String::new(),
            Fate::Left if self.hand.fate == Some(false) => "left out by hand".to_owned(),
            Fate::Left if !self.clash.is_empty() => {
                let others: Vec<String> = self.clash.iter().map(ToString::to_string).collect();
                format!("its address is held by {} too", others.join(" and "))
            }
            Fate::Left if self.found.is_proven() => "the file is full".to_owned(),
            Fate::Left => "no control port answered".to_owned(),
            Fate::Listed(device) => format!("listed as {device}"),
            Fate::Nameless { device, add: true } => format!("listed as {device}; its mac is added"),
            Fate::Nameless { device, add: false } => format!("listed as {device}, without its mac"),
            Fate::Own => "this computer".to_owned(),
            Fate::Gateway => "the gateway".to_owned(),
            Fate::Untold => "neither hardware nor an address of the rig's network is known".to_owned(),
        }
    }
}

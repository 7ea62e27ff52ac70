//! What the wire shows, in the words that all rooms share.

use std::collections::BTreeSet;
use std::net::Ipv4Addr;

use vocab::{ControlPort, ControlState, Ipv4Net, Mac, NameSource, Text};

/// What a host is known by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum HostId {
    /// Its hardware.
    Mac(Mac),
    /// Its address, where no hardware is seen.
    Address(Ipv4Addr),
}

/// By what a host said a word of itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Source {
    /// A protocol that names are told by.
    Name(NameSource),
    /// The title of its own web page.
    Page,
    /// A saved survey, which does not tell.
    Survey,
}

impl Source {
    /// It in a word or two.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Name(source) => source.as_str(),
            Self::Page => "web page",
            Self::Survey => "survey",
        }
    }

    /// Whether it may name a device: a page's title only where nothing else does.
    pub(super) const fn names(self) -> bool {
        !matches!(self, Self::Name(NameSource::Hardware | NameSource::Location))
    }
}

/// A word that a host says of itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Word {
    /// The word.
    pub text: Text,
    /// By what it was said.
    pub source: Source,
}

/// What shows that a host has its address from a DHCP server.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lease {
    /// It was heard asking a server.
    Asked,
    /// It told a server what it is called, or what it is.
    Told,
}

/// What one host shows of itself.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Found {
    /// Its hardware, where that is seen.
    pub mac: Option<Mac>,
    /// The network that it was seen on, where the rig has several.
    pub network: Option<String>,
    /// The IPv4 addresses that it holds, the one that matters first.
    pub addresses: Vec<Ipv4Addr>,
    /// What it says of itself, what people gave it first.
    pub words: Vec<Word>,
    /// Who made it, from the registries.
    pub vendor: Option<Text>,
    /// Its control ports that were asked.
    pub control: Vec<(ControlPort, ControlState)>,
    /// What shows that its address is leased.
    pub lease: Option<Lease>,
    /// The addresses that it keeps asking for.
    pub calls: Vec<Ipv4Addr>,
}

impl Found {
    /// What it is known by; `None` for one that shows neither hardware nor an address.
    pub fn id(&self) -> Option<HostId> {
        self.mac
            .map(HostId::Mac)
            .or_else(|| self.addresses.first().copied().map(HostId::Address))
    }

    /// The control ports that answered, in the order of the contract.
    pub fn answered(&self) -> impl Iterator<Item = ControlPort> {
        self.control
            .iter()
            .filter(|(_, state)| *state == ControlState::Answered)
            .map(|(port, _)| *port)
    }

    /// Whether it proved a control service.
    pub fn is_proven(&self) -> bool {
        self.answered().next().is_some()
    }

    /// Its first address.
    pub fn address(&self) -> Option<Ipv4Addr> {
        self.addresses.first().copied()
    }
}

/// What surrounds the hosts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wire {
    /// The subnet that was gone through.
    pub subnet: Ipv4Net,
    /// The gateway, as this computer or a DHCP server names it.
    pub gateway: Option<Ipv4Addr>,
    /// The hardware of this computer.
    pub own_macs: BTreeSet<Mac>,
    /// The addresses of this computer.
    pub own_addresses: BTreeSet<Ipv4Addr>,
    /// DHCP servers that answered.
    pub servers: BTreeSet<Ipv4Addr>,
}

//! How it is known that a host is at an address, and what else it says of itself without proof.

use std::net::Ipv4Addr;

use vocab::{AddressSource, ClientId, ControlPort, Moment, Text};

/// By what a host is known to hold an address, the weaker first. From [`Proof::Kernel`] on only an
/// owner does so, not one that answers for others.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Proof {
    /// It answered an ARP question in our own name. A proxy does too.
    Real,
    /// It answered an ARP question that went to it alone.
    Unicast,
    /// It answered an echo request that went to its hardware.
    Echo,
    /// The kernel's neighbour table says so.
    Kernel,
    /// An echo came back, where no hardware is seen.
    Reached,
    /// A control port answered or refused, where no hardware is seen.
    Port,
    /// It asked others by ARP from the address.
    Asked,
    /// It announced the address by ARP (RFC 5227 section 2.3).
    Announced,
    /// It answered a 0.0.0.0 probe (RFC 5227 section 2.1.1).
    Nobody,
}

impl Proof {
    /// Whether only an owner does so.
    pub const fn is_owners(self) -> bool {
        matches!(
            self,
            Self::Kernel | Self::Reached | Self::Port | Self::Asked | Self::Announced | Self::Nobody
        )
    }

    /// It in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Real => "answered ARP",
            Self::Unicast => "answered ARP that went to it alone",
            Self::Echo => "answered an echo request",
            Self::Kernel => "in this computer's neighbour table",
            Self::Reached => "answered an echo request through a router",
            Self::Port => "answered at a control port",
            Self::Asked => "asked others by ARP from it",
            Self::Announced => "announced by ARP",
            Self::Nobody => "answered an ARP probe for it",
        }
    }
}

/// How an address of a host is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Known {
    /// It holds the address.
    Held {
        /// The best of what shows it.
        by: Proof,
    },
    /// It held the address, and is not known to hold it now.
    Was {
        /// The best of what showed it.
        by: Proof,
        /// When it was last heard there.
        last: Moment,
    },
    /// It says so, or that it wants to, and nothing shows it.
    Told {
        /// By which words.
        by: AddressSource,
        /// When it last did.
        at: Moment,
    },
}

/// An address of a host.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AddressView {
    /// Which.
    pub address: Ipv4Addr,
    /// How it is known.
    pub known: Known,
}

/// What a host is known by beside its hardware and its names.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct HeardView {
    /// Its addresses: those that it holds as in the host's own list, then those that it only tells.
    pub addresses: Vec<AddressView>,
    /// What kind of DHCP client it says that it is. No maker's word.
    pub dhcp_class: Option<Text>,
    /// What it is known by to DHCP servers, as it says.
    pub dhcp_id: Option<ClientId>,
    /// Devices and other hardware of which the same unit speaks, by that.
    pub same_unit: Vec<String>,
    /// Whether it was heard asking a DHCP server for an address.
    pub asks_dhcp: bool,
    /// Services that it announced at ports of its own, whether or not anybody asked there.
    pub serves: Vec<ControlPort>,
    /// In an enrolment: the addresses that it asked others for by ARP, at most 16.
    pub calls: Vec<Ipv4Addr>,
}

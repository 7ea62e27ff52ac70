//! From whom to whom a frame goes, for the helpers that build whole frames.

use core::net::Ipv4Addr;

use pnet_packet::ethernet::EtherTypes;
use vocab::Mac;

use crate::{Ethernet, Ipv4};

/// The four addresses of a frame that carries IPv4, and its tag.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Path {
    /// Source of the frame.
    pub from_mac: Mac,
    /// Source of the packet.
    pub from: Ipv4Addr,
    /// Destination of the frame.
    pub to_mac: Mac,
    /// Destination of the packet.
    pub to: Ipv4Addr,
}

impl Path {
    /// The way back.
    #[must_use]
    pub const fn back(self) -> Self {
        Self {
            from_mac: self.to_mac,
            from: self.to,
            to_mac: self.from_mac,
            to: self.from,
        }
    }

    /// A whole untagged frame with `payload` of IP protocol `protocol`, padded to 60 bytes.
    pub fn frame(self, protocol: u8, payload: &[u8]) -> Vec<u8> {
        let packet = Ipv4::new(self.from, self.to, protocol, payload).emit();
        Ethernet {
            destination: self.to_mac,
            source: self.from_mac,
            vlan: None,
            ethertype: EtherTypes::Ipv4.0,
            payload: &packet,
        }
        .emit()
    }
}

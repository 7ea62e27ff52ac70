//! ARP for IPv4 over Ethernet: RFC 826 (packet), RFC 5227 (probe and announcement).

use core::net::Ipv4Addr;

use pnet_packet::arp::{ArpHardwareType, ArpHardwareTypes, ArpOperations, ArpPacket, MutableArpPacket};
use pnet_packet::ethernet::EtherTypes;
pub use vocab::ArpOp;
use vocab::Mac;

use crate::Ethernet;
use crate::malformed::{Layer, Malformed, Reason};

/// Bytes in a packet for six-byte hardware and four-byte protocol addresses.
pub const LEN: usize = 28;
/// Hardware type "IEEE 802 networks" (IANA), which kernels take for Ethernet as well (from memory).
const IEEE_802: ArpHardwareType = ArpHardwareType(6);

/// An ARP packet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Arp {
    /// Request or reply.
    pub op: ArpOp,
    /// Sender hardware address.
    pub sender_mac: Mac,
    /// Sender protocol address; 0.0.0.0 in a probe.
    pub sender_ip: Ipv4Addr,
    /// Target hardware address: without meaning in a request. Some senders put odd things here.
    pub target_mac: Mac,
    /// Target protocol address.
    pub target_ip: Ipv4Addr,
}

impl Arp {
    /// Who holds `target_ip`? The target hardware address is zero, as RFC 5227 wants it.
    pub const fn request(from_mac: Mac, from_ip: Ipv4Addr, target_ip: Ipv4Addr) -> Self {
        Self {
            op: ArpOp::Request,
            sender_mac: from_mac,
            sender_ip: from_ip,
            target_mac: Mac::ZERO,
            target_ip,
        }
    }

    /// Does anybody hold `target_ip`? Asked in nobody's name (RFC 5227 section 1.1).
    pub const fn probe(from_mac: Mac, target_ip: Ipv4Addr) -> Self {
        Self::request(from_mac, Ipv4Addr::UNSPECIFIED, target_ip)
    }

    /// `address` is mine (RFC 5227 section 2.3): a request with sender and target address alike.
    pub const fn announcement(mac: Mac, address: Ipv4Addr) -> Self {
        Self::request(mac, address, address)
    }

    /// `from_ip` is at `from_mac`, said to one host (RFC 826).
    pub const fn reply(from_mac: Mac, from_ip: Ipv4Addr, to_mac: Mac, to_ip: Ipv4Addr) -> Self {
        Self {
            op: ArpOp::Reply,
            sender_mac: from_mac,
            sender_ip: from_ip,
            target_mac: to_mac,
            target_ip: to_ip,
        }
    }

    /// Whether it asks in nobody's name.
    pub fn is_probe(&self) -> bool {
        self.op == ArpOp::Request && self.sender_ip.is_unspecified()
    }

    /// Whether it tells all of an address of its sender's.
    pub fn is_announcement(&self) -> bool {
        self.sender_ip == self.target_ip && !self.sender_ip.is_unspecified()
    }

    /// Reads a packet; what follows it is padding.
    ///
    /// # Errors
    /// [`Reason::Short`]; [`Reason::Unsupported`] for other hardware, protocols or operations than
    /// request and reply; [`Reason::Length`] where the address lengths are not 6 and 4.
    pub fn parse(bytes: &[u8]) -> Result<Self, Malformed> {
        let bad = |reason, at| Malformed::new(Layer::Arp, reason, at);
        let view = ArpPacket::new(bytes).ok_or(bad(Reason::Short, bytes.len()))?;
        let hardware = view.get_hardware_type();
        if hardware != ArpHardwareTypes::Ethernet && hardware != IEEE_802 {
            return Err(bad(Reason::Unsupported, 0));
        }
        if view.get_protocol_type() != EtherTypes::Ipv4 {
            return Err(bad(Reason::Unsupported, 2));
        }
        if view.get_hw_addr_len() != 6 || view.get_proto_addr_len() != 4 {
            return Err(bad(Reason::Length, 4));
        }
        let op = match view.get_operation() {
            ArpOperations::Request => ArpOp::Request,
            ArpOperations::Reply => ArpOp::Reply,
            _ => return Err(bad(Reason::Unsupported, 6)),
        };
        Ok(Self {
            op,
            sender_mac: Mac::new(view.get_sender_hw_addr().octets()),
            sender_ip: view.get_sender_proto_addr(),
            target_mac: Mac::new(view.get_target_hw_addr().octets()),
            target_ip: view.get_target_proto_addr(),
        })
    }

    /// The packet.
    pub fn emit(&self) -> [u8; LEN] {
        let mut out = [0; LEN];
        if let Some(mut view) = MutableArpPacket::new(&mut out) {
            view.set_hardware_type(ArpHardwareTypes::Ethernet);
            view.set_protocol_type(EtherTypes::Ipv4);
            view.set_hw_addr_len(6);
            view.set_proto_addr_len(4);
            view.set_operation(match self.op {
                ArpOp::Request => ArpOperations::Request,
                ArpOp::Reply => ArpOperations::Reply,
            });
            view.set_sender_hw_addr(self.sender_mac.octets().into());
            view.set_sender_proto_addr(self.sender_ip);
            view.set_target_hw_addr(self.target_mac.octets().into());
            view.set_target_proto_addr(self.target_ip);
        }
        out
    }

    /// A whole frame from the packet's sender to `to`, tagged if `vlan` is set, 60 bytes long.
    pub fn frame(&self, to: Mac, vlan: Option<u16>) -> Vec<u8> {
        Ethernet {
            destination: to,
            source: self.sender_mac,
            vlan,
            ethertype: EtherTypes::Arp.0,
            payload: &self.emit(),
        }
        .emit()
    }
}

/// The frame that asks who holds `target_ip`, to everybody ([`Mac::BROADCAST`]) or to one host.
pub fn request_frame(from_mac: Mac, from_ip: Ipv4Addr, target_ip: Ipv4Addr, to: Mac) -> Vec<u8> {
    Arp::request(from_mac, from_ip, target_ip).frame(to, None)
}

/// The frame that asks for `target_ip` in nobody's name, to everybody or to one host.
pub fn probe_frame(from_mac: Mac, target_ip: Ipv4Addr, to: Mac) -> Vec<u8> {
    Arp::probe(from_mac, target_ip).frame(to, None)
}

/// The frame that tells everybody of an address.
pub fn announcement_frame(mac: Mac, address: Ipv4Addr) -> Vec<u8> {
    Arp::announcement(mac, address).frame(Mac::BROADCAST, None)
}

/// The frame that answers one host's request.
pub fn reply_frame(from_mac: Mac, from_ip: Ipv4Addr, to_mac: Mac, to_ip: Ipv4Addr) -> Vec<u8> {
    Arp::reply(from_mac, from_ip, to_mac, to_ip).frame(to_mac, None)
}

#[cfg(test)]
#[path = "arp_tests.rs"]
mod tests;

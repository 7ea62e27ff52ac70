//! A frame on its way, looked at once for all who will see it.

use std::sync::Arc;

use vocab::Mac;
use wire::{Arp, Ethernet, ethernet};

/// What a host has to know of a frame before it looks closer.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Glance {
    /// An ARP packet for IPv4 over Ethernet.
    Arp(Arp),
    /// An IPv4 packet, untagged, not looked into.
    Ipv4,
    /// An IPv6 packet, untagged, not looked into.
    Ipv6,
    /// Anything else: switches pass it on, hosts ignore it.
    Other,
}

/// A whole frame with its addresses read.
#[derive(Debug)]
pub(crate) struct Packet {
    pub(crate) to: Mac,
    pub(crate) from: Mac,
    pub(crate) glance: Glance,
    pub(crate) bytes: Vec<u8>,
}

impl Packet {
    /// Reads the frame's head. `None` for what is too short to be a frame, which no switch passes on.
    pub(crate) fn new(bytes: Vec<u8>) -> Option<Arc<Self>> {
        let head = Ethernet::parse(&bytes).ok()?;
        let glance = match (head.vlan, head.ethertype) {
            (None, ethernet::ARP) => Arp::parse(head.payload).map_or(Glance::Other, Glance::Arp),
            (None, ethernet::IPV4) => Glance::Ipv4,
            (None, ethernet::IPV6) => Glance::Ipv6,
            _ => Glance::Other,
        };
        let (to, from) = (head.destination, head.source);
        Some(Arc::new(Self {
            to,
            from,
            glance,
            bytes,
        }))
    }

    /// What follows the Ethernet header.
    pub(crate) fn payload(&self) -> &[u8] {
        self.bytes.get(ethernet::HEADER..).unwrap_or_default()
    }
}

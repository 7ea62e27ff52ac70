//! Our computer: its jack, and as much of its own system as answers by itself.

use std::collections::VecDeque;
use std::sync::Arc;

use vocab::{ArpOp, LinkState, Medium, Mode, Station};
use wire::icmp::{Icmp, echo_reply_frame};
use wire::{Ipv4, Path, arp, ipv4};

use crate::builder::Computer;
use crate::packet::{Glance, Packet};

/// Frames that wait to be taken; further ones are lost, as in a full receive buffer.
const INBOX: usize = 65_536;

/// Our computer.
#[derive(Debug)]
pub(crate) struct Ours {
    pub(crate) plan: Computer,
    pub(crate) cable: usize,
    /// Whether the link carries, as it tells itself.
    pub(crate) carrier: bool,
    /// The station changed since it was last told.
    pub(crate) changed: bool,
    pub(crate) inbox: VecDeque<Arc<Packet>>,
}

impl Ours {
    pub(crate) fn new(plan: Computer, cable: usize) -> Self {
        Self {
            plan,
            cable,
            carrier: false,
            changed: false,
            inbox: VecDeque::new(),
        }
    }

    pub(crate) fn station(&self) -> Station {
        Station {
            name: self.plan.port.clone(),
            index: 1,
            mac: self.plan.mac,
            addresses: self.plan.addresses.clone(),
            link_local: self.plan.link_local,
            state: if self.carrier {
                LinkState::Up
            } else {
                LinkState::NoCarrier
            },
            medium: Medium::Wired,
            mode: Mode::Simulated,
            others: self.plan.others.clone(),
        }
    }

    /// A frame reaches the jack. It is kept for whoever listens; what the system itself answers
    /// comes back: ARP requests for our addresses, and echo requests. TCP and UDP are left to
    /// those who dial through the jack, so that no reset cuts their connections.
    pub(crate) fn hear(&mut self, packet: &Arc<Packet>) -> Option<Arc<Packet>> {
        // Not promiscuous: a frame that a switch flooded for somebody else is not taken.
        if packet.to != self.plan.mac && !packet.to.is_group() {
            return None;
        }
        if self.inbox.len() < INBOX {
            self.inbox.push_back(Arc::clone(packet));
        }
        self.reply(packet).and_then(Packet::new)
    }

    fn holds(&self, address: std::net::Ipv4Addr) -> bool {
        self.plan.addresses.iter().any(|net| net.addr() == address)
    }

    fn reply(&self, packet: &Packet) -> Option<Vec<u8>> {
        match &packet.glance {
            Glance::Arp(ask) => {
                (ask.op == ArpOp::Request && ask.sender_mac.is_host() && self.holds(ask.target_ip))
                    .then(|| arp::reply_frame(self.plan.mac, ask.target_ip, ask.sender_mac, ask.sender_ip))
            }
            Glance::Ipv4 if packet.to == self.plan.mac => {
                let ip = Ipv4::parse(packet.payload()).ok()?;
                if ip.protocol != ipv4::ICMP || !self.holds(ip.destination) || ip.source.is_unspecified() {
                    return None;
                }
                let Ok(Icmp::EchoRequest(echo)) = Icmp::parse(ip.payload) else {
                    return None;
                };
                let path = Path {
                    from_mac: self.plan.mac,
                    from: ip.destination,
                    to_mac: packet.from,
                    to: ip.source,
                };
                Some(echo_reply_frame(path, &echo))
            }
            _ => None,
        }
    }
}

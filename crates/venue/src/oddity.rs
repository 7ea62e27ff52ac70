//! What is odd about some hosts: the traps of real networks.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{ArpOp, Mac, Moment};
use wire::checksum::checksum;
use wire::{Arp, announce, arp};

use crate::host::{Host, Outbox};

/// How often a querier asks (RFC 2236 section 8.2).
const QUERY: Duration = Duration::from_secs(125);
/// The bytes of an IPv4 header without options.
const HEADER: usize = 20;

/// What a host does that looks like a fault, or like none.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
#[expect(clippy::struct_excessive_bools, reason = "independent oddities of a host")]
pub struct Oddities {
    /// The hardware address of a second port in the same network. Both ports answer ARP for all its
    /// addresses and take its packets; it sends by the first (Linux, `arp_ignore` 0).
    pub second_port: Option<Mac>,
    /// It sleeps: its network card answers ARP, and nothing else of it answers.
    pub sleeps: bool,
    /// Sleeping computers that it answers ARP for, probes included: where each is, and its hardware,
    /// at whose first word it steps back. It says of itself that it does so.
    pub answers_for: Vec<(Ipv4Addr, Mac)>,
    /// The time to live that its packets begin with; 64 without a word.
    pub ttl: Option<u8>,
    /// Its port is kept apart from other ports of the switch that are.
    pub isolated: bool,
    /// It asks who listens to multicast groups.
    pub queries: bool,
    /// It answers only echo requests with no more data than this, in bytes.
    pub echo_most: Option<usize>,
    /// It takes its address without a word: who does not ask for it hears nothing of it.
    pub quiet_start: bool,
    /// It asks for a lease four times, and then no more until it is restarted.
    pub gives_up: bool,
}

impl Host {
    /// Whether a frame to `to` is for one of its ports.
    pub(crate) fn is_to_us(&self, to: Mac) -> bool {
        to == self.plan.mac || Some(to) == self.plan.odd.second_port
    }

    /// Whether it answers for one that sleeps at `address`.
    pub(crate) fn answers_for(&self, address: Ipv4Addr) -> bool {
        self.plan.odd.answers_for.iter().any(|(a, _)| *a == address)
    }

    /// Answers for one that sleeps, or steps back before its owner.
    pub(crate) fn answer_for_sleeper(&mut self, asked: &Arp, out: &mut Outbox) {
        let woken = |owner: Mac| asked.sender_mac == owner;
        self.plan.odd.answers_for.retain(|(_, owner)| !woken(*owner));
        if asked.op == ArpOp::Request && asked.sender_mac.is_host() && self.answers_for(asked.target_ip) {
            let to = (asked.sender_mac, asked.sender_ip);
            out.now(arp::reply_frame(self.plan.mac, asked.target_ip, to.0, to.1));
        }
    }

    /// Replies to a request for an address of its own that came to `to`.
    pub(crate) fn reply(&self, asked: &Arp, to: Mac, out: &mut Outbox) {
        let ports = [Some(self.plan.mac), self.plan.odd.second_port];
        for port in ports.into_iter().flatten() {
            if to.is_group() || to == port {
                out.now(arp::reply_frame(
                    port,
                    asked.target_ip,
                    asked.sender_mac,
                    asked.sender_ip,
                ));
            }
        }
    }

    /// Its packets begin with a time to live of its own.
    pub(crate) fn mark(&self, packet: &mut [u8]) {
        if let (Some(ttl), Some(header)) = (self.plan.odd.ttl, packet.get_mut(..HEADER)) {
            header[8] = ttl;
            header[10..12].fill(0);
            let sum = checksum(header);
            header[10..12].copy_from_slice(&sum.to_be_bytes());
        }
    }

    /// When it asks next who listens.
    pub(crate) fn query_due(&self) -> Option<Moment> {
        self.query_at.filter(|_| self.settled_addresses && self.carrier)
    }

    /// Asks who listens, if it is time.
    pub(crate) fn query(&mut self, now: Moment, out: &mut Outbox) {
        if self.query_due().is_some_and(|at| at <= now)
            && let Some(own) = self.held.first()
        {
            self.query_at = Some(now + QUERY);
            out.now(announce::group_query(self.plan.mac, own.addr()));
        }
    }
}

//! What some hosts do beside answering for themselves.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{ArpOp, Moment};
use wire::{Arp, arp};

use crate::builder::Habit;
use crate::chance::Chance;
use crate::host::{Host, Outbox};

/// A proxy's answer comes up to so late (measured on a Linux kernel: 0 to 0.8 s).
const PROXY_LATE: Duration = Duration::from_millis(800);
/// How often a panel asks again for a channel that does not answer.
const CALL_AGAIN: Duration = Duration::from_secs(2);

/// When each address of [`Habit::Calls`] is asked for next.
#[derive(Debug, Default)]
pub(crate) struct Calls(Vec<(Ipv4Addr, Moment)>);

impl Calls {
    pub(crate) fn new(habit: &Habit) -> Self {
        match habit {
            Habit::Calls(addresses) => Self(addresses.iter().map(|a| (*a, Moment::ZERO)).collect()),
            _ => Self::default(),
        }
    }

    pub(crate) fn due(&self) -> Option<Moment> {
        self.0.iter().map(|(_, next)| *next).min()
    }
}

impl Host {
    /// Answers for an address that it does not hold, as proxy ARP does (RFC 1027): never a probe,
    /// never an announcement.
    pub(crate) fn answer_as_proxy(&self, arp: &Arp, chance: &mut Chance, out: &mut Outbox) {
        let asks =
            arp.op == ArpOp::Request && !arp.sender_ip.is_unspecified() && arp.sender_ip != arp.target_ip;
        if asks && self.plan.habit == Habit::ProxyArp {
            let late = chance.within(PROXY_LATE);
            let reply = arp::reply_frame(self.plan.mac, arp.target_ip, arp.sender_mac, arp.sender_ip);
            out.later(late, reply);
        }
    }

    /// Answers for everybody, with hardware of its own or of others.
    pub(crate) fn claim_all(&self, asked: &Arp, out: &mut Outbox) {
        if let Habit::ClaimsAll(macs) = &self.plan.habit
            && asked.op == ArpOp::Request
            && asked.sender_mac.is_host()
            && asked.sender_ip != asked.target_ip
        {
            for mac in macs {
                out.now(arp::reply_frame(
                    *mac,
                    asked.target_ip,
                    asked.sender_mac,
                    asked.sender_ip,
                ));
            }
        }
    }

    /// Asks for the addresses that it wants to talk to and does not find.
    pub(crate) fn tick_calls(&mut self, now: Moment, chance: &mut Chance, out: &mut Outbox) {
        let from = self.held.first().copied().filter(|_| self.settled_addresses);
        for (address, next) in &mut self.calls.0 {
            if *next > now {
                continue;
            }
            *next = now + CALL_AGAIN + chance.within(Duration::from_millis(200));
            let Some(from) = from.filter(|f| f.contains(&*address)) else {
                continue;
            };
            if self.neighbours.get(*address, now).is_none() {
                out.now(arp::request_frame(
                    self.plan.mac,
                    from.addr(),
                    *address,
                    vocab::Mac::BROADCAST,
                ));
            }
        }
    }
}

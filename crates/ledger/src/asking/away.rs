//! Hosts on foreign subnets: what may be borrowed to speak to them, and when strangers there are
//! asked.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{AddressRange, Ipv4Net, Moment};

use crate::asking::lanes::Key;
use crate::hosts::claim::HostId;
use crate::ledger::Ledger;

/// Strangers on foreign subnets whose ports a survey asks, the first that it hears: each takes up
/// to 20 s where nothing answers, one connection after the other.
const MAX_STRANGERS: usize = 64;
/// How long a survey goes on for their answers once its passes are over.
const PATIENCE: Duration = Duration::from_secs(20);
/// Borrowed addresses remembered.
const MAX_LENT: usize = 1_024;

impl Ledger {
    /// Whether `address` is one at which a host can be spoken to from a borrowed address only. In
    /// the rig's own subnet none is borrowed: it is full of addresses that are somebody's.
    pub(crate) fn is_away(&self, address: Ipv4Addr) -> bool {
        self.sees_frames() && !self.near(address) && !self.in_subnet(address)
    }

    /// What may be borrowed to speak to `address`: its /24 without all that is known to be, or to
    /// become, somebody's. What was heard on the wire is left out by the scanner besides.
    pub(crate) fn lendable(&self, address: Ipv4Addr) -> Vec<AddressRange> {
        let [a, b, c, _] = address.octets();
        let at = |d: u8| Ipv4Addr::new(a, b, c, d);
        // 169.254.0.x and 169.254.255.x are nobody's to take (RFC 3927 section 2.1).
        let reserved = address.is_link_local() && matches!(c, 0 | 255);
        let Some(whole) = AddressRange::new(at(1), at(254)).filter(|_| !reserved) else {
            return Vec::new();
        };
        let mut spared: Vec<AddressRange> = self.nets().chain(self.spared()).collect();
        spared.retain(|r| r.overlaps(whole));
        spared.extend(AddressRange::new(address, address));
        without(whole, spared)
    }

    /// What may be borrowed to speak to `address` in this computer's own subnet or the rig's, because
    /// the user asked for it: where two hold the address, for the system's sockets cannot choose
    /// between them, or where this computer is off the rig's subnet. Nothing elsewhere.
    pub(crate) fn lendable_near(&self, address: Ipv4Addr) -> Vec<AddressRange> {
        let own = self.station.iter().flat_map(|s| &s.addresses).copied();
        let nets = own.chain(self.subnet());
        let Some(net) = nets
            .filter(|net| net.contains(&address))
            .max_by_key(Ipv4Net::prefix_len)
        else {
            return Vec::new();
        };
        let [a, b, c, _] = address.octets();
        // Its edges are nobody's.
        let (network, broadcast) = (u32::from(net.network()), u32::from(net.broadcast()));
        let first = u32::from(Ipv4Addr::new(a, b, c, 1)).max(network.saturating_add(1));
        let last = u32::from(Ipv4Addr::new(a, b, c, 254)).min(broadcast.saturating_sub(1));
        let Some(whole) = AddressRange::new(first.into(), last.into()) else {
            return Vec::new();
        };
        let mut spared: Vec<AddressRange> = self.spared().filter(|r| r.overlaps(whole)).collect();
        spared.extend(AddressRange::new(address, address));
        without(whole, spared)
    }

    /// The subnets of the rig and of this computer.
    fn nets(&self) -> impl Iterator<Item = AddressRange> {
        let rig = self.settings.rig.as_ref();
        let networks = rig.into_iter().flat_map(rig::Rig::networks);
        let nets = networks.map(|n| n.subnet).chain(self.settings.subnet);
        let own = self.station.iter().flat_map(|s| {
            let others = s.others.iter().flat_map(|o| &o.addresses);
            s.addresses.iter().chain(others).map(Ipv4Net::trunc)
        });
        nets.chain(own).map(AddressRange::from)
    }

    /// All single addresses and ranges that the rig file, this computer and the trade keep for somebody.
    fn spared(&self) -> impl Iterator<Item = AddressRange> {
        let one = |a: Ipv4Addr| AddressRange::new(a, a);
        let rig = self.settings.rig.as_ref();
        let networks = || rig.into_iter().flat_map(rig::Rig::networks);
        let own = self.station.iter().flat_map(|s| {
            let others = s.others.iter().flat_map(|o| &o.addresses);
            s.addresses.iter().chain(others).map(Ipv4Net::addr)
        });
        let single = rig
            .into_iter()
            .flat_map(|r| r.devices.iter().filter_map(rig::Device::fixed_address))
            .chain(networks().filter_map(|n| n.gateway))
            .chain(self.settings.gateway);
        let plan = rig.map(|r| &r.plan);
        let ranges = plan
            .into_iter()
            .flat_map(|plan| plan.reserved.iter().chain(plan.blocks.values()))
            .chain(networks().flat_map(|n| &n.leases));
        single
            .chain(own)
            .filter_map(one)
            .chain(ranges.chain(&self.settings.factory).copied())
    }

    /// An address is borrowed: who asks for it calls nobody.
    pub(crate) fn lent(&mut self, address: Ipv4Addr) {
        if self.lent.len() < MAX_LENT {
            self.lent.insert(address);
        }
    }

    /// A stranger was heard on a foreign subnet in a survey. It is asked once the search is over,
    /// whose pace it would else take.
    pub(crate) fn survey_away(&mut self, id: HostId, address: Ipv4Addr) {
        if self.foreigners.len() < MAX_STRANGERS {
            self.foreigners.push((id, address));
        }
    }

    /// Has the ports of strangers on foreign subnets asked, if it is time.
    pub(crate) fn ask_away(&mut self, now: Moment) {
        if self.is_searching() || self.blind().is_some() {
            return;
        }
        while let Some(&(id, address)) = self.foreigners.get(self.foreigners_asked) {
            self.foreigners_asked += 1;
            self.usual_ports(id, address, now);
        }
    }

    /// Whether the control ports of a host on a foreign subnet, or in an enrolment of any host, are
    /// still to tell, and it is not too late for that: `since` is when the passes were over.
    pub fn awaits_ports(&self, now: Moment, since: Moment) -> bool {
        let strangers = self
            .foreigners
            .iter()
            .filter_map(|(id, address)| Some((*address, *id, self.hosts.get(*id)?.ports.keys())))
            .flat_map(|(address, id, ports)| ports.map(move |p| Key::Port(address, id.mac(), *p)));
        let devices = self.tracks.iter().filter_map(|t| Some((t, t.port_lanes?)));
        let listed = devices
            .filter(|(_, (address, _))| self.is_away(*address))
            .flat_map(|(t, (address, id))| {
                t.ports.iter().map(move |p| Key::Port(address, id.mac(), p.which))
            });
        let open = |key: Key| self.lanes.busy(key) || self.lanes.due_at(key).is_some();
        let mut away = strangers.chain(listed);
        now < since + PATIENCE && self.blind().is_none() && (away.any(open) || self.open_strangers())
    }
}

/// What is left of `whole`.
fn without(whole: AddressRange, mut spared: Vec<AddressRange>) -> Vec<AddressRange> {
    spared.sort_unstable();
    let mut left = Vec::new();
    let mut next = Some(u32::from(whole.first()));
    for range in spared {
        let Some(first) = next else { break };
        if let Some(last) = u32::from(range.first()).checked_sub(1) {
            let last = last.min(u32::from(whole.last()));
            left.extend(AddressRange::new(first.into(), last.into()));
        }
        next = u32::from(range.last()).checked_add(1).map(|n| n.max(first));
    }
    left.extend(next.and_then(|first| AddressRange::new(first.into(), whole.last())));
    left
}

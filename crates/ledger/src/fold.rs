//! Taking in facts: each goes to the records it concerns, and marks what is to be judged and
//! planned again.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{
    AddressSource, ArpForm, ArpOp, ArpSeen, ControlPort, ControlState, Fact, Mac, Moment, Text, Wake,
};

use crate::asking::lanes::Key;
use crate::hosts::claim::{Claim, HostId, Life};
use crate::judging::track::PortState;
use crate::ledger::Ledger;
use crate::view::{Opening, Proof, Sign};

/// Oddities kept of each sort.
const MAX_ODD: usize = 64;
impl Ledger {
    pub(crate) fn take_in(&mut self, at: Moment, fact: &Fact) {
        self.port_hears(at, fact);
        self.start_hears(at, fact);
        match fact {
            Fact::Sent { address, what } => self.sent(at, *address, *what),
            Fact::Silent { address, what, sent } => self.silent(at, *address, *what, *sent),
            Fact::Arp(seen) => self.arp(at, seen),
            Fact::Echo {
                address,
                mac,
                asked,
                ttl,
                rtt,
            } => {
                if let (Some(asked), Some(from)) = (*asked, *mac) {
                    self.kin_replied(at, *address, asked, from);
                }
                self.echo(at, *address, *mac, *rtt);
                if let Some(from) = mac.filter(|from| Some(*from) == *asked) {
                    self.echo_sign(from, *address, *ttl);
                    self.answered_alone(at - *rtt, from, *address, *ttl);
                }
            }
            Fact::Trial { address, trial, what } => self.tried(at, *address, *trial, *what),
            Fact::SleepProxy { mac, address } => self.sleep_proxy(at, *mac, *address),
            Fact::GroupQuery { mac } => self.queried(at, *mac),
            Fact::Neighbour { address, mac, rtt } => self.neighbour(at, *address, *mac, *rtt),
            Fact::Control {
                address,
                mac,
                port,
                state,
                detail,
                asked,
            } => {
                self.control(at, (*address, *mac, *port), *state, detail.as_ref(), *asked);
            }
            Fact::NoWay { address } => self.no_way(at, *address),
            Fact::Told { address, mac, what } => self.told(at, *address, *mac, what),
            Fact::ControlNotAsked { address, port } => self.control_not_asked(at, *address, *port),
            Fact::Borrowed { address } => self.lent(*address),
            Fact::Wakes { mac, how } => self.wakes(at, *mac, how),
            Fact::DhcpAsked { again } => self.servers_asked(at, *again),
            Fact::DhcpOffer(offer) => self.server_offers(at, offer),
            Fact::DhcpOver { sent } => self.servers_over(at, *sent),
            Fact::Named { mac, address, names } => self.named(at, *mac, *address, names),
            Fact::Ipv6 { mac, address, source } => self.heard_six(at, *mac, *address, *source),
            Fact::Address { mac, address, source } => self.told_address(at, *mac, *address, *source),
            Fact::DhcpClient { mac, class, id } => self.dhcp_client(at, *mac, class.as_ref(), id.as_ref()),
            Fact::Mask { mac, address, mask } => self.told_mask(at, *mac, *address, *mask),
            Fact::Serves { mac, ports, video } => self.serves(at, *mac, ports, *video),
            Fact::Plugged(plugged) => self.plugged_is(at, plugged),
            Fact::PassAsked { id, asked, total } => {
                let far = |s: &mut crate::asking::search::Search| s.went_on(*id, *asked, *total);
                if self.passes.asked(*id, *asked, *total) || self.search.as_mut().is_some_and(far) {
                    self.revision += 1;
                }
            }
            Fact::PassDone { id } => {
                if self.passes.over(*id, at) {
                    self.revision += 1;
                    self.touched.extend(0..self.tracks.len());
                    self.retell_clashes(None);
                    self.replan.extend(self.targets.keys());
                    self.plan_leases(at);
                } else if self.search.as_mut().is_some_and(|s| s.piece_over(*id)) {
                    self.revision += 1;
                }
            }
            Fact::Station(station) => self.station_is(at, station),
            Fact::Gap(gap) => self.gap(at, *gap),
            Fact::WatchOnly(on) => self.watch_only_is(at, *on),
            Fact::ListenOnly(on) => self.listen_only_is(at, *on),
            Fact::Dropped { total } => {
                self.soft |= self.dropped != *total;
                self.dropped = *total;
            }
            Fact::Returned { total } => self.came_back(at, *total),
            Fact::Malformed { total } => {
                self.soft |= self.malformed != *total;
                self.malformed = *total;
            }
        }
    }

    fn arp(&mut self, at: Moment, seen: &ArpSeen) {
        if self.is_our_hardware(seen.frame_source) {
            return;
        }
        if let Some((form, _)) = seen.answers
            && !self.is_our_hardware(seen.sender)
        {
            self.answered(at, seen.address, form);
        }
        if seen.frame_source != seen.sender {
            let known = self.odd.contains_key(&seen.frame_source);
            if self.odd.len() < MAX_ODD && seen.frame_source.is_host() && !known {
                self.odd.insert(seen.frame_source, (seen.sender, seen.address));
                self.wire_dirty = true;
            }
            return;
        }
        if self.is_our_hardware(seen.sender) {
            return;
        }
        if let Some(tag) = seen.vlan
            && seen.answers.is_none()
        {
            if self.tags.len() < MAX_ODD && !self.tags.contains_key(&tag) {
                self.tags.insert(tag, at);
                self.wire_dirty = true;
            }
            return;
        }
        if !seen.sender.is_host() {
            return;
        }
        let id = HostId::Mac(seen.sender);
        if seen.address.is_unspecified() {
            if seen.op == ArpOp::Request {
                self.starts(at, seen.sender, Some(seen.target), Sign::Probes);
                self.probes(at, seen.sender, seen.target);
            }
            return;
        }
        if seen.answers.is_none() && !seen.address.is_loopback() {
            if seen.target == seen.address {
                self.starts(at, seen.sender, Some(seen.address), Sign::Announces);
            } else if !self.stands(id, Some(seen.address)) {
                self.starts(at, seen.sender, Some(seen.address), Sign::Spoke);
            }
        }
        let proof = match seen.answers {
            Some((ArpForm::Broadcast, _)) => Proof::Real,
            Some((ArpForm::Unicast(to), _)) if to == seen.sender => Proof::Unicast,
            // What went to another shows nothing of this one alone.
            Some((ArpForm::Unicast(_), _)) => Proof::Real,
            Some((ArpForm::Nobody, _)) => Proof::Nobody,
            None if seen.target == seen.address => Proof::Announced,
            None if seen.op == ArpOp::Request => Proof::Asked,
            None => Proof::Real,
        };
        self.claimed(at, id, seen.address, proof, seen.answers.map(|(_, rtt)| rtt));
        if seen.op == ArpOp::Request && seen.target != seen.address {
            self.calls(at, seen.sender, seen.address, seen.target);
            self.note_call(seen.sender, seen.target);
        }
    }

    /// A host asks, in nobody's name, whether anybody holds `target`: it is about to take it, or
    /// it looks around as we do.
    fn probes(&mut self, at: Moment, mac: Mac, target: Ipv4Addr) {
        let id = HostId::Mac(mac);
        if self.hosts.hear(id, at).news {
            self.revision += 1;
        }
        if !self
            .hosts
            .get(id)
            .is_some_and(|h| h.claims.iter().any(Claim::alive))
        {
            self.told_address(at, mac, target, AddressSource::ArpProbe);
        }
        if let Some(&i) = self.by_mac.get(&mac) {
            self.tracks[i].last_heard = Some(at);
            // One that stands at its address and asks for others' is looking around, not starting.
            let own = self.tracks[i].device.fixed_address() == Some(target)
                || target.is_link_local()
                || self.hosts.get(id).is_some_and(|h| h.claim(target).is_some());
            if own || self.tracks[i].evidence.here.is_none() {
                self.wake(i, at);
            }
        } else if let Some(&i) = self.by_address.get(&target)
            && self.tracks[i].device.macs.is_empty()
        {
            let elsewhere = |c: &Claim| c.life == Life::Alive && c.address != target;
            if !self.hosts.get(id).is_some_and(|h| h.claims.iter().any(elsewhere)) {
                self.wake(i, at);
            }
        }
    }

    fn wakes(&mut self, at: Moment, mac: Mac, how: &Wake) {
        if !mac.is_host() || self.is_our_hardware(mac) {
            return;
        }
        let wanted = match how {
            Wake::DhcpDiscover => None,
            Wake::DhcpRequest { wanted } => *wanted,
        };
        self.starts(at, mac, wanted, Sign::Dhcp);
        if self.hosts.hear(HostId::Mac(mac), at).news {
            self.revision += 1;
        }
        if let Some(host) = self.hosts.get_mut(HostId::Mac(mac)) {
            host.asks_dhcp = true;
        }
        if let Some(&i) = self.by_mac.get(&mac) {
            self.tracks[i].last_heard = Some(at);
            // A request alone may be a lease that is renewed.
            if matches!(how, Wake::DhcpDiscover) {
                self.tracks[i].starts.sought = Some(at);
                self.wake(i, at);
            }
        }
    }

    fn wake(&mut self, i: usize, at: Moment) {
        let before = self.tracks[i].woke;
        if self.tracks[i].wake(at) && !self.still_seeks(i, before, at) {
            self.start_begins(i, at, Opening::FirstFrame);
        }
        self.touched.insert(i);
        let track = &self.tracks[i];
        self.replan.extend(track.device.fixed_address());
        self.replan.extend(track.floating.iter());
    }

    fn echo(&mut self, at: Moment, address: Ipv4Addr, mac: Option<Mac>, rtt: Duration) {
        if self.routed() {
            self.way_found();
            self.answered(at, address, ArpForm::Broadcast);
        }
        self.lanes.close(Key::Echo(address), at);
        self.replan.insert(address);
        let id = match mac {
            Some(mac) if !mac.is_host() || self.is_our_hardware(mac) => return,
            Some(mac) => HostId::Mac(mac),
            None => {
                let mut alive = self.hosts.holders(address).filter(|(_, c)| c.alive());
                match (alive.next(), alive.next()) {
                    (Some((id, _)), None) => id,
                    (None, _) => HostId::Only(address),
                    // Which of them it was cannot be told.
                    (Some(_), Some(_)) => return,
                }
            }
        };
        let proof = if mac.is_some() {
            Proof::Echo
        } else {
            Proof::Reached
        };
        self.claimed(at, id, address, proof, None);
        if let Some(claim) = self.hosts.get_mut(id).and_then(|h| h.claim_mut(address)) {
            claim.rtt = Some(rtt);
        }
        if let Some(i) = self.device_at(address)
            && self.tracks[i].who == Some(id)
        {
            self.wire_dirty |= self.tracks[i].echoes.back().is_some_and(|e| e.0.is_none());
            self.tracks[i].echo(Some(rtt));
        }
        if let Some(i) = self.device_at(address)
            && (self.is_own(i, id) || self.tracks[i].who == Some(id))
        {
            self.start_echo(i, at);
        }
    }

    fn neighbour(&mut self, at: Moment, address: Ipv4Addr, mac: Mac, rtt: Option<Duration>) {
        if !mac.is_host() || self.is_our_hardware(mac) {
            return;
        }
        self.answered(at, address, ArpForm::Broadcast);
        self.claimed(at, HostId::Mac(mac), address, Proof::Kernel, rtt);
    }

    fn control(
        &mut self,
        at: Moment,
        (address, mac, told): (Ipv4Addr, Option<Mac>, ControlPort),
        state: ControlState,
        detail: Option<&Text>,
        asked: Moment,
    ) {
        let port = self.asked_as(address, mac, told);
        // Meanwhile the host said that it is elsewhere.
        let moved = state != ControlState::Answered && self.real_port(address, mac, port) != told;
        self.close_port(at, address, mac, port);
        if let Some(i) = self.device_at(address) {
            let who = mac.map(HostId::Mac).or(self.tracks[i].who);
            let claim = who.and_then(|id| self.hosts.get(id)?.claim(address));
            let since = claim.filter(|c| c.misses.any()).map_or(asked, |_| at);
            let away = state == ControlState::Silent && claim.is_some_and(|c| c.lapsed_since(asked));
            let track = &mut self.tracks[i];
            let bound = mac.is_none_or(|m| track.who.and_then(HostId::mac).is_none_or(|w| w == m));
            let routed = self
                .settings
                .rig
                .as_ref()
                .is_some_and(|r| r.network.reach == rig::Reach::Routed);
            let told = if routed || track.evidence.here.is_some_and(|(_, a)| a == address) {
                Some(PortState::Told(state))
            } else if track.port_lanes.is_some_and(|(a, _)| a == address) {
                Some(PortState::Away(state))
            } else {
                None
            };
            if bound
                && let Some(told) = told
                && asked >= track.reset
                && let Some(p) = track.ports.iter_mut().find(|p| p.which == port)
            {
                let again = away || !routed && p.doubts(state);
                if !again {
                    p.tells(told, asked, since);
                    p.detail = detail.cloned();
                }
                p.wanted = moved || again;
                self.revision += 1;
                if p.state == PortState::Told(ControlState::Answered) {
                    self.start_port(i, port, at);
                }
                if routed {
                    self.port_told(at, i, address, state);
                }
            }
            self.touched.insert(i);
        } else {
            let holder = self
                .hosts
                .holders(address)
                .map(|(id, _)| id)
                .find(|id| mac.is_none_or(|m| id.mac() == Some(m)));
            if let Some(host) = holder.and_then(|id| self.hosts.get_mut(id))
                && let Some(told) = host.ports.get_mut(&port)
            {
                *told = Some(state);
                match detail {
                    Some(said) => host.said.insert(port, said.clone()),
                    None => host.said.remove(&port),
                };
                self.revision += 1;
                self.look_who(at);
            }
        }
    }

    fn control_not_asked(&mut self, at: Moment, address: Ipv4Addr, port: ControlPort) {
        let port = self.asked_as(address, None, port);
        self.close_port(at, address, None, port);
        if let Some(i) = self.device_at(address) {
            let here = self.tracks[i].evidence.here.is_some_and(|(_, a)| a == address);
            if let Some(p) = self.tracks[i].ports.iter_mut().find(|p| p.which == port) {
                if p.state == PortState::Waiting && here {
                    p.state = PortState::NoWay;
                    self.revision += 1;
                }
                p.wanted = false;
            }
            self.touched.insert(i);
        }
    }

    fn close_port(&mut self, at: Moment, address: Ipv4Addr, mac: Option<Mac>, port: ControlPort) {
        self.lanes.close(Key::Port(address, mac, port), at);
        self.lanes.close(Key::Port(address, None, port), at);
        if mac.is_none() {
            let macs: Vec<Mac> = self
                .hosts
                .holders(address)
                .filter_map(|(id, _)| id.mac())
                .collect();
            for mac in macs {
                self.lanes.close(Key::Port(address, Some(mac), port), at);
            }
        }
    }
}

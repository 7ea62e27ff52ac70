//! Beginning to learn, and having to stop: the link comes and goes, the user asks for silence.

use std::collections::BTreeSet;
use std::net::Ipv4Addr;

use vocab::{AddressRange, LinkState, Moment, Station};

use crate::asking::lanes::Key;
use crate::asking::passes::host_range;
use crate::asking::target::{Kind, Target};
use crate::ledger::{Ledger, Timer};
use crate::open::AGAIN;
use crate::port::OwnPort;
use crate::servers::Servers;

/// The widest prefix that a pass goes through: 65,534 addresses.
const WIDEST: u8 = 16;

impl Ledger {
    pub(crate) fn station_is(&mut self, at: Moment, station: &Station) {
        let before = self.blind();
        let old = self.station.replace(station.clone());
        let wire = |s: &Station| (s.mac, s.index, s.mode);
        if old.as_ref().is_some_and(|o| wire(o) != wire(station)) {
            self.servers = Servers::default();
        }
        if station.state != LinkState::Up || old.as_ref().is_some_and(|o| wire(o) != wire(station)) {
            self.unplug();
        }
        let late_six = station.link_local.is_some() && old.as_ref().is_some_and(|o| o.link_local.is_none());
        let carried = |s: &Station| s.state == LinkState::Up;
        let fresh = old
            .as_ref()
            .is_none_or(|o| !carried(o) || wire(o) != wire(station));
        if fresh {
            self.port = if self.routed() {
                OwnPort::to_routers(at)
            } else {
                OwnPort::new(at)
            };
        }
        if let Some(old) = &old {
            self.note_other_name(at, old);
        }
        let stayed = |o: &&Station| carried(o) && carried(station) && before.is_none();
        if let Some(old) = old.as_ref().filter(stayed) {
            self.note_other_station(at, old);
        }
        let same = old.is_some_and(|o| {
            (o.mac, o.index, o.mode, &o.addresses)
                == (station.mac, station.index, station.mode, &station.addresses)
        });
        self.sight_changed(at, before.is_some(), same);
        if same && late_six && self.blind().is_none() && self.sees_frames() {
            self.call_by_six(at);
        }
    }

    pub(crate) fn listen_only_is(&mut self, at: Moment, on: bool) {
        let before = self.blind();
        self.listen_only = on;
        self.sight_changed(at, before.is_some(), true);
    }

    fn sight_changed(&mut self, at: Moment, was_blind: bool, same: bool) {
        match (was_blind, self.blind().is_some()) {
            (_, true) => {
                self.stop();
                self.break_starts(at);
                self.servers = Servers::default();
            }
            (true, false) => self.learn(at),
            (false, false) if !same => self.learn(at),
            (false, false) => {}
        }
        self.wire_dirty = true;
        self.touched.extend(0..self.tracks.len());
        self.revision += 1;
    }

    /// Nothing is asked any more, and what was under way is forgotten.
    fn stop(&mut self) {
        let asked = self.targets.values().filter_map(|t| t.asked).max();
        let last = self.lanes.latest().max(asked).max(self.spared);
        self.spared = last.filter(|_| self.watch_only);
        self.lanes.clear();
        self.confirming.clear();
        self.calls.clear();
        self.contests.clear();
        self.timers.clear();
        self.time_plug();
        self.passes.reset();
        if let Some(search) = &mut self.search {
            search.put_back();
        }
        self.targets.clear();
        for track in &mut self.tracks {
            track.floating.clear();
        }
    }

    /// Begins anew: what was heard before says nothing about now, but is kept.
    pub(crate) fn learn(&mut self, at: Moment) {
        self.stop();
        self.epoch = at;
        self.hosts.stale();
        self.break_starts(at);
        for track in &mut self.tracks {
            track.found = None;
            track.appeared = None;
            track.woke = None;
            track.keep_ports = true;
        }
        self.no_way = None;
        if self.routed() {
            // There they are asked beside the echo, not when it found somebody.
            self.tracks.iter_mut().for_each(|track| track.reset_ports(at));
        }
        let mut targets: Vec<(Ipv4Addr, Kind)> = Vec::new();
        targets.extend(self.gateway().map(|a| (a, Kind::Gateway)));
        targets.extend(self.by_address.iter().map(|(a, i)| (*a, Kind::Rig(*i))));
        if let Some(station) = &self.station {
            targets.extend(station.addresses.iter().map(|n| (n.addr(), Kind::Own)));
        }
        // The later kind takes the place of an earlier one.
        for (address, kind) in targets {
            self.targets.insert(Target::new(address, kind, at));
        }
        let pinned: BTreeSet<Ipv4Addr> = self.targets.keys().copied().collect();
        self.replan.extend(pinned.iter());
        self.hosts.pin(pinned);
        self.ask_around(at);
        if self.watch_only {
            self.ask_leases_where_they_were(at);
        }
        self.wait_for_port(at);
        self.time_querier();
        self.timers.set(Timer::Again, Some(at + AGAIN));
    }

    /// Asks who is there, beside the devices of the rig: hosts, DHCP servers, names.
    pub(crate) fn ask_around(&mut self, at: Moment) {
        self.start_passes(at);
        self.begin_servers(at);
        if self.sees_frames() {
            for address in self.sought.clone() {
                self.lanes.want(Key::Nobody(address), Some(at));
            }
        }
        self.call_roll(at);
    }

    /// What a pass over the whole subnet goes through; nothing where that would be too much, or
    /// goes through a router, where only who is listed is asked.
    pub(crate) fn pass_range(&self) -> Option<AddressRange> {
        self.subnet()
            .filter(|n| n.prefix_len() >= WIDEST && !self.routed())
            .and_then(host_range)
    }

    /// A pass over the whole subnet, whatever is gone through already, unless such a one is about to begin.
    pub(crate) fn start_passes(&mut self, at: Moment) {
        if !self.watch_only
            && let Some(range) = self.pass_range()
            && !self.passes.begins(range)
        {
            let id = self.passes.add(range, at);
            self.lanes.want(Key::Pass(id), Some(at));
        }
        self.passes.begin();
    }
}

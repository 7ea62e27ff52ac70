//! Watching only: what is asked when the user wants no more than one question a second to each device.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{Mac, Moment};

use crate::asking::beat::step_from;
use crate::asking::lanes::Key;
use crate::asking::target::{Kind, Target};
use crate::hosts::claim::{Claim, HostId};
use crate::ledger::Ledger;

/// Between two questions to one device.
const EVERY: Duration = Duration::from_secs(1);
/// How often one of them goes to everybody, so that a second holder shows who says nothing by itself, and how
/// many such are sent a second in all.
const WIDE: Duration = Duration::from_secs(4);
const WIDE_PER_SECOND: f64 = 30.0;

impl Ledger {
    /// The user wants no more than watching, or all again. How each device stands stays as it is.
    pub(crate) fn watch_only_is(&mut self, at: Moment, on: bool) {
        if self.watch_only == on {
            return;
        }
        self.watch_only = on;
        self.confirming.clear();
        self.revision += 1;
        self.ready_dirty = true;
        if self.blind().is_some() {
            return;
        }
        if on {
            self.lanes.clear();
            self.passes.reset();
            self.passes.begin();
            if let Some(search) = &mut self.search {
                search.put_back();
            }
        } else {
            // What was learned meanwhile was learned from the devices alone.
            self.passes.reset();
            self.ask_around(at);
        }
        self.replan.extend(self.targets.keys());
        self.touched.extend(0..self.tracks.len());
    }

    /// No pass looks for devices by DHCP: each is asked for where it was last.
    pub(crate) fn ask_leases_where_they_were(&mut self, at: Moment) {
        for i in 0..self.tracks.len() {
            let last = self
                .own_claims(i)
                .filter(|(_, c)| self.in_subnet(c.address) && !c.proxied())
                .max_by_key(|(_, c)| c.last)
                .map(|(_, c)| c.address);
            if let Some(address) = last.filter(|_| self.tracks[i].device.fixed_address().is_none()) {
                self.float(i, address, at);
            }
        }
    }

    /// Whether a lane's questions may go while only watching.
    pub(crate) fn may_ask(&self, key: Key) -> bool {
        match key {
            _ if !self.watch_only => true,
            Key::Broadcast(address) | Key::Unicast(address, _) => self.is_devices(address),
            // Which of several are owners, and whether they are one unit, only these tell.
            Key::Nobody(address) | Key::EchoTo(address, _) => {
                self.contests.open.contains_key(&address) && self.is_devices(address)
            }
            _ => false,
        }
    }

    /// Whether a device of the rig is, or should be, at `address`.
    fn is_devices(&self, address: Ipv4Addr) -> bool {
        let kind = self.targets.get(&address).map(|t| t.kind);
        matches!(kind, Some(Kind::Rig(_) | Kind::Floating(_)))
    }

    /// Plans the one question a second to the device that is, or should be, at `address`. Where it is elsewhere
    /// than it should be, or in several places, they take turns. Several who hold the address are several devices.
    pub(crate) fn plan_sparing(&mut self, address: Ipv4Addr, now: Moment) {
        self.plan_contest(address, now);
        let Some(Kind::Rig(i) | Kind::Floating(i)) = self.targets.get(&address).map(|t| t.kind) else {
            return;
        };
        let its = |t: &&Target| t.kind == Kind::Rig(i) || t.kind == Kind::Floating(i);
        let places: Vec<Ipv4Addr> = self.targets.values().filter(its).map(|t| t.address).collect();
        let keys: Vec<Key> = places.iter().flat_map(|a| self.keys_about(*a)).collect();
        if keys.iter().any(|key| self.lanes.busy(*key)) {
            return;
        }
        let asked = |a: Ipv4Addr| {
            let sent = self.keys_about(a).filter_map(|key| self.lanes.used_at(key)).max();
            sent.max(self.targets.get(&a).and_then(|t| t.asked))
        };
        let turn = places
            .iter()
            .copied()
            .min_by_key(|a| (asked(*a), *a))
            .unwrap_or(address);
        let last = places.iter().filter_map(|a| asked(*a)).max().max(self.spared);
        let start = self.targets.get(&turn).map_or(now, |t| t.start);
        let from = last
            .map_or(now, |sent| step_from(sent + EVERY))
            .max(start)
            .max(now);
        let wanted = self.targets.get(&turn).map(|t| self.next_sparing(t, from));
        let wanted = wanted.unwrap_or_default();
        for key in keys.into_iter().filter(|key| !wanted.contains(key)) {
            self.lanes.want(key, None);
        }
        for key in wanted {
            self.lanes.want(key, Some(from));
        }
    }

    /// What is asked next about the address of `target`, while only watching: one question to all, or one to
    /// each of those who hold it.
    fn next_sparing(&self, target: &Target, at: Moment) -> Vec<Key> {
        let address = target.address;
        let sent = |key| self.lanes.sent_at(key);
        let to_all = sent(Key::Broadcast(address)).max(sent(Key::Nobody(address)));
        let all = to_all.max(target.asked);
        let broadcast = vec![Key::Broadcast(address)];
        let own = |id: HostId, c: &Claim| self.accepts(target.kind, id, c);
        let mut claims: Vec<(HostId, &Claim)> = self
            .hosts
            .holders(address)
            .filter(|(id, c)| own(*id, c))
            .collect();
        claims.sort_by_key(|(id, c)| (c.since, *id));
        let rivals = self.rivals(address);
        let missed = claims.iter().map(|(_, c)| c).chain(rivals.iter().map(|(_, c)| c));
        let sure = !missed.into_iter().any(|c| c.misses.any());
        let passed = target.rounds >= target.goal;
        if !sure || !passed || !self.sees_frames() {
            return broadcast;
        }
        let n = self.targets.len() as f64;
        let wide = WIDE.max(Duration::from_secs_f64(n / WIDE_PER_SECOND));
        if let Some(contest) = self.contests.open.get(&address).filter(|_| !rivals.is_empty()) {
            // A probe has to be answered by all who own it, and who stays silent may have lost it.
            let probed = self.lanes.sent_at(Key::Nobody(address));
            if self.probe_due(address).is_some() && probed.is_none_or(|at| at < contest.began()) {
                return vec![Key::Nobody(address)];
            }
            let open = rivals.iter().filter_map(|(mac, c)| {
                let told = self.contests.of(address, *mac)?;
                let alone = !self.lives(c, contest.began());
                let echo = self.near(address) && told.wanted();
                match (echo, alone) {
                    (true, _) => Some(Key::EchoTo(address, *mac)),
                    (false, true) => Some(Key::Unicast(address, *mac)),
                    (false, false) => None,
                }
            });
            let open: Vec<Key> = open.collect();
            if !open.is_empty() && !contest.closed {
                return open;
            }
        }
        if all.is_none_or(|last| at >= last + wide) {
            return broadcast;
        }
        let several = rivals.iter().map(|(mac, _)| *mac);
        let first = claims.first().and_then(|(id, _)| id.mac());
        let mut macs: Vec<Mac> = several.collect();
        if macs.is_empty() {
            macs.extend(first);
        }
        if macs.is_empty() {
            return broadcast;
        }
        macs.into_iter().map(|mac| Key::Unicast(address, mac)).collect()
    }

    fn keys_about(&self, address: Ipv4Addr) -> impl Iterator<Item = Key> {
        let narrow = self
            .lanes
            .about(address)
            .flat_map(move |mac| [Key::Unicast(address, mac), Key::EchoTo(address, mac)]);
        narrow.chain([Key::Broadcast(address), Key::Nobody(address)])
    }
}

//! Watching only: what is asked when the user wants no more than one question a second to each device.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{Mac, Moment};

use crate::asking::beat::step_from;
use crate::asking::lanes::Key;
use crate::asking::target::{Kind, Target};
use crate::hosts::claim::HostId;
use crate::ledger::Ledger;

/// Between two questions to one device.
const EVERY: Duration = Duration::from_secs(1);

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
            self.kin.clear();
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
            _ => false,
        }
    }

    /// Whether a device of the rig is, or should be, at `address`.
    fn is_devices(&self, address: Ipv4Addr) -> bool {
        let kind = self.targets.get(&address).map(|t| t.kind);
        matches!(kind, Some(Kind::Rig(_) | Kind::Floating(_)))
    }

    /// Plans the one question a second to the device that is, or should be, at `address`. Where it is elsewhere
    /// than it should be, or in several places, they take turns.
    pub(crate) fn plan_sparing(&mut self, address: Ipv4Addr, now: Moment) {
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
            let sent = self.keys_about(a).filter_map(|key| self.lanes.sent_at(key)).max();
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
        let wanted = self.sparing_key(turn);
        for key in keys.into_iter().filter(|key| *key != wanted) {
            self.lanes.want(key, None);
        }
        self.lanes.want(wanted, Some(from));
    }

    /// Whom to ask about `address`: its holder, or all while that one wavers or nobody holds it.
    fn sparing_key(&self, address: Ipv4Addr) -> Key {
        let Some(target) = self.targets.get(&address) else {
            return Key::Broadcast(address);
        };
        let own = |id: HostId, c: &crate::hosts::claim::Claim| self.accepts(target.kind, id, c);
        let mut claims: Vec<_> = self
            .hosts
            .holders(address)
            .filter(|(id, c)| own(*id, c))
            .collect();
        claims.sort_by_key(|(id, c)| (c.since, *id));
        let sure = !claims.iter().any(|(_, c)| c.misses.any());
        let passed = target.rounds >= target.goal;
        let narrow: Option<Mac> = claims
            .first()
            .filter(|_| sure && passed && self.sees_frames())
            .and_then(|(id, _)| id.mac());
        narrow.map_or(Key::Broadcast(address), |mac| Key::Unicast(address, mac))
    }

    fn keys_about(&self, address: Ipv4Addr) -> impl Iterator<Item = Key> {
        let narrow = self
            .lanes
            .unicasts(address)
            .map(move |mac| Key::Unicast(address, mac));
        narrow.chain([Key::Broadcast(address)])
    }
}

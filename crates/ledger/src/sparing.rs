//! Watching only: what is asked when the user wants no more than one question a second to each device.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{Mac, Moment};

use crate::asking::beat::step_from;
use crate::asking::lanes::Key;
use crate::asking::target::Kind;
use crate::hosts::claim::HostId;
use crate::ledger::Ledger;

/// Between two questions to one device.
const EVERY: Duration = Duration::from_secs(1);

impl Ledger {
    /// The user wants no more than watching, or all again. How each device stands stays as it is.
    pub(crate) fn watch_only_is(&mut self, on: bool) {
        if self.watch_only == on {
            return;
        }
        self.watch_only = on;
        self.revision += 1;
        self.ready_dirty = true;
        if self.blind().is_some() {
            return;
        }
        if on {
            self.lanes.clear();
            self.confirming.clear();
            self.kin.clear();
            self.passes.reset();
            self.passes.begin();
            if let Some(search) = &mut self.search {
                search.put_back();
            }
        }
        self.replan.extend(self.targets.keys());
        self.touched.extend(0..self.tracks.len());
    }

    /// Whether a lane's questions may go while only watching.
    pub(crate) fn may_ask(&self, key: Key) -> bool {
        !self.watch_only || matches!(key, Key::Broadcast(_) | Key::Unicast(..))
    }

    /// Plans the one question a second about `address`: to its holder, or to all while that one wavers or
    /// nobody holds it.
    pub(crate) fn plan_sparing(&mut self, address: Ipv4Addr, now: Moment) {
        let target = self.targets.get(&address);
        let Some(target) = target.filter(|t| matches!(t.kind, Kind::Rig(_) | Kind::Floating(_))) else {
            return;
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
        let macs: Vec<Mac> = self.lanes.unicasts(address).collect();
        let keys = || {
            macs.iter()
                .map(|mac| Key::Unicast(address, *mac))
                .chain([Key::Broadcast(address)])
        };
        if keys().any(|key| self.lanes.busy(key)) {
            return;
        }
        let sent = keys()
            .filter_map(|key| self.lanes.sent_at(key))
            .max()
            .max(target.asked);
        let from = sent
            .map_or(now, |sent| step_from(sent + EVERY))
            .max(target.start)
            .max(now);
        let wanted = narrow.map_or(Key::Broadcast(address), |mac| Key::Unicast(address, mac));
        for key in keys().filter(|key| *key != wanted).collect::<Vec<_>>() {
            self.lanes.want(key, None);
        }
        self.lanes.want(wanted, Some(from));
    }
}

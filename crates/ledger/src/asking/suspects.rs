//! Strangers that are shown as somebody are asked now and then whether they are still there: no
//! other question goes to an address that nobody lists, and a guess must not outlive its stranger.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{Mac, Moment};

use crate::asking::lanes::Key;
use crate::hosts::claim::{HostId, Verdict};
use crate::ledger::Ledger;

/// How often each is asked at most, and after an unanswered question.
const EVERY: Duration = Duration::from_secs(10);
const AGAIN: Duration = Duration::from_secs(1);
/// At most one of them is asked in this time, however many there are.
const EACH: Duration = Duration::from_millis(500);

impl Ledger {
    /// Plans the questions to those at `address`, which is nobody's on the list, that are shown as
    /// somebody. They go to each alone.
    pub(crate) fn plan_suspects(&mut self, address: Ipv4Addr, now: Moment) {
        let shown = || self.tracks.iter().filter_map(|t| t.likely.as_ref());
        let here: Vec<Mac> = shown()
            .filter(|l| l.address == Some(address))
            .map(|l| l.mac)
            .collect();
        let every = EVERY.max(EACH * u32::try_from(shown().count()).unwrap_or(u32::MAX));
        let asks = self.sees_frames() && self.watches();
        let old: Vec<Key> = self
            .lanes
            .unicasts(address)
            .filter(|mac| !asks || !here.contains(mac))
            .filter(|mac| self.contests.of(address, *mac).is_none())
            .map(|mac| Key::Unicast(address, mac))
            .filter(|key| !self.lanes.busy(*key))
            .collect();
        for key in old {
            self.lanes.remove(key);
        }
        for mac in here.into_iter().filter(|_| asks) {
            if self.contests.of(address, mac).is_some() {
                continue;
            }
            let claim = self.hosts.get(HostId::Mac(mac)).and_then(|h| h.claim(address));
            let Some(claim) = claim.filter(|c| c.alive()) else {
                continue;
            };
            let key = Key::Unicast(address, mac);
            let closed = self.lanes.closed_at(key);
            let at = if claim.misses.any() {
                closed.map_or(now, |at| at + AGAIN)
            } else {
                closed.max(Some(claim.last)).unwrap_or(now) + every
            };
            self.lanes.want(key, Some(at.max(now)));
        }
    }

    /// A question to `mac` alone at `address`, which is nobody's on the list, stayed unanswered.
    pub(crate) fn suspect_silent(&mut self, at: Moment, address: Ipv4Addr, mac: Mac, sent: Moment) {
        let bar = self.bar(None);
        let claim = self
            .hosts
            .get_mut(HostId::Mac(mac))
            .and_then(|h| h.claim_mut(address));
        // None is asked by broadcast as well, so three of these have to do.
        if claim.is_some_and(|c| c.miss(sent, at, true, bar) == Verdict::Gone) {
            self.revision += 1;
            self.wire_dirty = true;
            self.look_who(at);
        }
    }
}

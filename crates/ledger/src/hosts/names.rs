//! What hosts call themselves, and when everybody is asked for it. A name never decides anything.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{Mac, Moment, Name, RollCall};

use crate::asking::lanes::Key;
use crate::hosts::Host;
use crate::hosts::claim::{Claim, HostId};
use crate::ledger::{Ledger, Timer};
use crate::{Sign, Standing};

/// How often everybody is asked again while somebody is missing or has no name.
const AGAIN: Duration = Duration::from_mins(1);
/// An address that a host spoke from and does not answer at is asked for again after so long.
const CONFIRM_AGAIN: Duration = Duration::from_secs(30);

impl Ledger {
    /// A host was heard in its own words, perhaps from `address`. That is no claim to the address:
    /// routers and proxies pass on what others say. It is a reason to ask for it.
    pub(crate) fn named(&mut self, at: Moment, mac: Mac, address: Option<Ipv4Addr>, names: &[Name]) {
        let id = HostId::Mac(mac);
        if !mac.is_host() || self.me() == Some(id) || address.is_some_and(|a| self.is_ours(a)) {
            return;
        }
        if address.is_some_and(|a| self.speaks_for_another(id, a)) {
            return;
        }
        if !self.stands(id, None) {
            self.starts(at, mac, address, Sign::Spoke);
        }
        let mut news = self.hosts.hear(id, at).news;
        self.name_sign(mac, address, names);
        for name in names {
            news |= self.hosts.name(id, name);
        }
        if news {
            self.revision += 1;
            self.retell_clashes(Some(mac));
            self.look_who(at);
        }
        self.soft = true;
        if let Some(&i) = self.by_mac.get(&mac) {
            self.tracks[i].last_heard = Some(at);
        }
        if let Some(address) = address {
            self.spoke_from(at, id, address);
        }
    }

    /// Whether other hardware holds the address, and this does not.
    pub(crate) fn speaks_for_another(&self, id: HostId, address: Ipv4Addr) -> bool {
        let (mut own, mut other) = (false, false);
        for (holder, claim) in self.hosts.holders(address) {
            let alive = claim.alive() && holder.mac().is_some();
            own |= alive && holder == id;
            other |= alive && holder != id;
        }
        other && !own
    }

    fn spoke_from(&mut self, at: Moment, id: HostId, address: Ipv4Addr) {
        let asked = self.targets.contains_key(&address) || self.passes.covers(address);
        let Some(host) = self.hosts.get_mut(id) else {
            return;
        };
        let held = host.claim(address).is_some_and(Claim::alive);
        let due = host
            .spoke
            .is_none_or(|(from, when)| from != address || at.since(when) >= CONFIRM_AGAIN);
        if held || !due {
            return;
        }
        self.revision += u64::from(host.spoke.is_none_or(|(from, _)| from != address));
        // What a pass comes by is asked by it, or the next time that it speaks.
        host.spoke = Some((address, if asked { at - CONFIRM_AGAIN } else { at }));
        if !asked {
            self.confirm(address, at);
        }
    }

    /// Asks everybody for their names now, and again while somebody is missing or has none.
    pub(crate) fn call_roll(&mut self, at: Moment) {
        if !self.sees_frames() {
            return;
        }
        self.want_rolls(
            at,
            &[
                RollCall::Nodes,
                RollCall::DnsSd,
                RollCall::WsDiscovery,
                RollCall::Enquiry,
            ],
        );
        if self.watches() {
            self.timers.set(Timer::Roll, Some(at + AGAIN));
        }
    }

    /// There is an address to ask from over IPv6 only now.
    pub(crate) fn call_by_six(&mut self, at: Moment) {
        self.want_rolls(at, &[RollCall::Nodes, RollCall::DnsSd]);
    }

    fn want_rolls(&mut self, at: Moment, all: &[RollCall]) {
        let quiet = self.settings.purpose.leaves_no_neighbour();
        // These are answered to everybody, the others to this computer alone.
        let fits = |which: &RollCall| !quiet || matches!(which, RollCall::DnsSd | RollCall::Enquiry);
        for which in all.iter().copied().filter(fits) {
            self.lanes.want(Key::Roll(which), Some(at));
        }
    }

    /// The minute is over.
    pub(crate) fn roll_due(&mut self, at: Moment) {
        let me = self.me();
        let nameless = |h: &Host| {
            h.names.is_empty()
                && Some(h.id) != me
                && h.id.mac().is_some_and(|m| !self.by_mac.contains_key(&m))
        };
        let wanted =
            self.tracks.iter().any(|t| t.standing == Standing::Missing) || self.hosts.iter().any(nameless);
        // What was heard over IPv6 may be too long ago by now.
        let told = |i: &usize| self.tracks[*i].evidence.six.is_some();
        self.touched.extend((0..self.tracks.len()).filter(told));
        if wanted {
            self.call_roll(at);
        } else {
            self.timers.set(Timer::Roll, Some(at + AGAIN));
        }
    }
}

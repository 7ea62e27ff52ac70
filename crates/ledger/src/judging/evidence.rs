//! Gathering what speaks for and against a device, out of the records.

use std::net::Ipv4Addr;

use vocab::Moment;

use crate::asking::rounds::DOUBT;
use crate::hosts::claim::{Claim, HostId, Life};
use crate::judging::judge::Evidence;
use crate::ledger::Ledger;

impl Ledger {
    /// The evidence on device `i` at `now`.
    pub(crate) fn evidence(&self, i: usize, now: Moment) -> Evidence {
        if self.blind().is_some() {
            return Evidence {
                blind: true,
                ..Evidence::default()
            };
        }
        let track = &self.tracks[i];
        let mut e = Evidence {
            deaf: self.port.deaf(),
            ports: track.ports_say(None),
            failing: track.failing(None),
            grace: track.grace_end().is_some_and(|end| now < end),
            six: self.six_of(i, now),
            starting: track.boot_end().is_some_and(|end| now < end),
            ..Evidence::default()
        };
        match track.device.fixed_address() {
            Some(address) if self.routed() => self.afar(i, address, &mut e),
            Some(address) => self.at_fixed(i, address, &mut e),
            None => self.by_dhcp(i, now, &mut e),
        }
        if self.wavers(i, &e) {
            if !track.evidence.blind {
                return track.evidence.clone();
            }
            e.unanswered = false;
        }
        let heard = self.last_here(&e);
        e.unheard = track.ports.iter().any(|p| p.fell_silent_after(heard));
        if e.unheard {
            e.ports = track.ports_say(heard);
            e.failing = track.failing(heard);
        }
        self.hold_clash(i, &mut e);
        if self.watch_only && e.ports == crate::judging::judge::Ports::Waiting {
            // They are not asked, so that nothing is to be awaited of them.
            e.ports = crate::judging::judge::Ports::Fine;
        }
        if self.is_me(i) {
            // Our own control ports cannot be asked over the wire.
            e.ports = crate::judging::judge::Ports::Fine;
        }
        e
    }

    /// Whether device `i` is this computer: its hardware is ours, or, without any in the file,
    /// its address.
    pub(crate) fn is_me(&self, i: usize) -> bool {
        let device = &self.tracks[i].device;
        self.station.as_ref().is_some_and(|s| {
            device.macs.contains(&s.mac)
                || (device.macs.is_empty() && device.fixed_address().is_some_and(|a| self.is_ours(a)))
        })
    }

    fn at_fixed(&self, i: usize, address: Ipv4Addr, e: &mut Evidence) {
        let listed = !self.tracks[i].device.macs.is_empty();
        let me = self.me().filter(|_| self.is_ours(address));
        let mut mine = false;
        let mut gone = false;
        let mut since = None;
        for (id, claim) in self.hosts.holders(address) {
            let own = if listed {
                self.is_own(i, id)
            } else {
                claim.is_owner() && !claim.resumed() || !self.sees_frames()
            };
            match claim.life {
                Life::Alive if own => {
                    mine = true;
                    // Without hardware in the file it is whoever stands there the longest.
                    if e.here.is_none() || !listed && since.is_some_and(|first| claim.since < first) {
                        e.here = Some((id, address));
                        since = Some(claim.since);
                    }
                }
                Life::Alive => {
                    if claim.lent {
                        e.lent = e.lent.or(Some(id));
                    } else if claim.is_owner() && !claim.seems_left() && !claim.resumed() {
                        e.other = e.other.or(Some(id));
                    }
                    e.pending |= claim.pending();
                }
                Life::Gone => gone |= own,
                Life::Stale => {}
            }
        }
        if let Some(me) = me {
            if self.is_me(i) {
                mine = true;
                e.here = Some((me, address));
            } else {
                e.other = Some(me);
            }
        }
        let asked = self.targets.get(&address).is_some_and(|t| t.unanswered);
        // Who holds our own address, and where we are, needs no asking.
        e.unanswered = !mine && (gone || asked || me.is_some() || self.is_me(i));
        self.beside(i, address, e);
        (e.clash, e.began) = self.clash(Some(i), address);
        if !mine {
            e.swapped = self.swapped(i, address);
        }
    }

    /// The device that has changed places with device `i`, expected at `address`.
    fn swapped(&self, i: usize, address: Ipv4Addr) -> Option<usize> {
        let holds = |j: usize, at: Ipv4Addr| self.own_claims(j).any(|(_, c)| c.alive() && c.address == at);
        self.own_claims(i)
            .filter(|(_, c)| c.alive() && !c.proxied())
            .filter_map(|(_, c)| self.by_address.get(&c.address).copied())
            .find(|j| *j != i && holds(*j, address))
    }

    fn by_dhcp(&self, i: usize, now: Moment, e: &mut Evidence) {
        let track = &self.tracks[i];
        let before = track.evidence.here.map(|(_, a)| a);
        let mut gone = false;
        let mut best: Option<(bool, Moment, HostId, Ipv4Addr)> = None;
        for (id, claim) in self.own_claims(i) {
            if !self.in_subnet(claim.address) || claim.proxied() {
                continue;
            }
            gone |= claim.life == Life::Gone;
            let candidate = (before == Some(claim.address), claim.since, id, claim.address);
            if claim.alive() && best.is_none_or(|b| b < candidate) {
                best = Some(candidate);
            }
        }
        e.here = best.map(|(_, _, id, address)| (id, address));
        if let Some((me, address)) = self.my_address(i, |a| self.in_subnet(a)) {
            e.here = Some((me, address));
        }
        let rounds = if track.device.macs.is_empty() { 1 } else { 2 };
        // The next pass takes nothing back of what the last ones told.
        let last = &track.evidence;
        let stays = last.unanswered && last.here.is_none();
        let gone = gone || (self.passes.lease_rounds >= rounds && (stays || self.leases_vouched(now)));
        e.unanswered = e.here.is_none() && (gone || self.is_me(i));
        match e.here {
            Some((_, address)) => {
                (e.clash, e.began) = self.clash(Some(i), address);
                self.beside(i, address, e);
            }
            None => self.beside(i, Ipv4Addr::UNSPECIFIED, e),
        }
    }

    /// Whether our own port vouches for what the last pass for devices by DHCP did not find.
    fn leases_vouched(&self, now: Moment) -> bool {
        self.port.vouches(self.passes.lease_over, now)
    }

    /// When to look at device `i` again, if it is one by DHCP and would be missing but that our own port
    /// is in doubt.
    pub(crate) fn doubt_end(&self, i: usize, e: &Evidence, now: Moment) -> Option<Moment> {
        let sought = self.tracks[i].device.fixed_address().is_none() && e.here.is_none() && !e.unanswered;
        (sought && self.passes.lease_rounds > 0 && !self.leases_vouched(now))
            .then(|| self.port.vouches_at_last().min(now + DOUBT))
    }

    /// Where else the hardware of device `i` is.
    fn beside(&self, i: usize, expected: Ipv4Addr, e: &mut Evidence) {
        let dhcp = self.tracks[i].device.fixed_address().is_none();
        let mut latest = [Moment::ZERO; 2];
        for (id, claim) in self.own_claims(i) {
            if !claim.alive() || claim.address == expected || claim.proxied() || claim.seems_left() {
                continue;
            }
            let near = self.in_subnet(claim.address);
            if !near && self.fell_silent(id) {
                continue;
            }
            let (place, slot) = if near {
                (0, &mut e.elsewhere)
            } else {
                (1, &mut e.foreign)
            };
            if slot.is_none() || claim.since > latest[place] {
                *slot = Some((id, claim.address));
                latest[place] = claim.since;
            }
        }
        if self.is_me(i) {
            e.elsewhere = self
                .my_address(i, |a| a != expected && self.in_subnet(a))
                .filter(|_| !dhcp);
            e.foreign = self.my_address(i, |a| !self.in_subnet(a));
        }
    }

    /// Whether nothing was heard of a host since it left the first of those questions unanswered that took it off an
    /// address in the subnet. What it holds on other subnets may be asked for every 10 s only, and says nothing of now.
    fn fell_silent(&self, id: HostId) -> bool {
        let silent = |last: Moment| {
            move |c: &Claim| c.life == Life::Gone && self.in_subnet(c.address) && c.misses.began() > last
        };
        self.hosts
            .get(id)
            .is_some_and(|h| h.claims.iter().any(silent(h.last)))
    }

    /// Whether device `i` would newly be said to be elsewhere, or another unit at its address, by the word of one who
    /// left the latest questions there unanswered: that one is about to be gone, too, or one answer was lost.
    fn wavers(&self, i: usize, e: &Evidence) -> bool {
        if self.parts_in_silence(i, e) {
            return true;
        }
        if !e.unanswered || e.starting || e.here.is_some() || !e.clash.is_empty() {
            return false;
        }
        let by = |e: &Evidence| {
            let other = || e.other.zip(self.tracks[i].device.fixed_address());
            e.elsewhere.or_else(|| other().filter(|_| e.foreign.is_none()))
        };
        let last = &self.tracks[i].evidence;
        let told = last.unanswered && last.here.is_none() && by(last) == by(e);
        let claim = by(e).and_then(|(id, a)| self.hosts.get(id)?.claim(a));
        !told && claim.is_some_and(|c| c.misses.any())
    }

    /// Whether a clash at the address of device `i` would be over by the silence of the other, while the device itself left
    /// the latest questions unanswered: it may have left, too.
    fn parts_in_silence(&self, i: usize, e: &Evidence) -> bool {
        let last = &self.tracks[i].evidence;
        let claim = || e.here.and_then(|(id, a)| self.hosts.get(id)?.claim(a));
        let over = !last.clash.is_empty() && e.clash.is_empty() && e.here == last.here;
        over && claim().is_some_and(|c| c.misses.any())
    }

    /// When the device was last heard where it is, if that tells of the silence of its ports.
    fn last_here(&self, e: &Evidence) -> Option<Moment> {
        let (id, address) = e.here.filter(|_| self.sees_frames())?;
        Some(self.hosts.get(id)?.claim(address)?.last)
    }

    /// While it is asked who holds an address together with whom, since one more came, those who did are not said to
    /// have parted.
    fn hold_clash(&self, i: usize, e: &mut Evidence) {
        let track = &self.tracks[i];
        let last = &track.evidence;
        let address = track.device.fixed_address().or(e.here.map(|(_, a)| a));
        let open = || {
            let contest = address.and_then(|a| self.contests.open.get(&a));
            contest.is_some_and(|c| !c.closed)
        };
        let same = last.here.is_none() || e.here.is_none() || last.here == e.here;
        if e.clash.is_empty() && !last.clash.is_empty() && same && open() {
            e.clash.clone_from(&last.clash);
            e.began = last.began;
        }
    }

    fn my_address(&self, i: usize, fits: impl Fn(Ipv4Addr) -> bool) -> Option<(HostId, Ipv4Addr)> {
        let station = self.station.as_ref().filter(|_| self.is_me(i))?;
        let address = station
            .addresses
            .iter()
            .map(vocab::Ipv4Net::addr)
            .find(|a| fits(*a))?;
        Some((HostId::Mac(station.mac), address))
    }

    /// All claims of the hardware that the file lists for device `i`.
    pub(crate) fn own_claims(&self, i: usize) -> impl Iterator<Item = (HostId, &Claim)> {
        self.tracks[i]
            .device
            .macs
            .iter()
            .filter_map(|m| self.hosts.get(HostId::Mac(*m)))
            .flat_map(|h| h.claims.iter().map(|c| (h.id, c)))
    }

    /// Those who hold `address` at the same time, in order of first claim, and since when two do; empty unless
    /// there are two. The hardware of one device, or of one unit with two ports, counts as one, a virtual
    /// router's shared hardware not at all.
    pub(crate) fn clash(&self, device: Option<usize>, address: Ipv4Addr) -> (Vec<HostId>, Option<Moment>) {
        if !self.sees_frames() {
            return (Vec::new(), None);
        }
        let own = |id: HostId| device.is_some_and(|i| self.is_own(i, id));
        let mut held: Vec<(HostId, &Claim, bool)> = self
            .hosts
            .holders(address)
            .map(|(id, c)| (id, c, own(id)))
            .filter(|(id, c, own)| c.alive() && !id.is_virtual_router() && (*own || self.owns(*id, c)))
            .collect();
        let me = self.me().filter(|_| self.is_ours(address));
        if held.len() + usize::from(me.is_some()) < 2 {
            return (Vec::new(), None);
        }
        held.sort_by_key(|(id, c, _)| (c.first, *id));
        let beside_me = |(a, c, a_own): &(HostId, &Claim, bool)| {
            let other = me.is_some_and(|m| m != *a && !(*a_own && own(m)));
            (other && self.lives(c, c.began())).then_some(c.began())
        };
        let since = |one: &(HostId, &Claim, bool)| {
            let (a, ca, a_own) = one;
            let rivals = held
                .iter()
                .filter(|(b, _, b_own)| a != b && !(*a_own && *b_own) && self.are_two(address, *a, *b));
            rivals
                .filter_map(|(_, cb, _)| self.live_beside(ca, cb))
                .chain(beside_me(one))
                .min()
        };
        let found: Vec<(HostId, Moment)> = held.iter().filter_map(|h| Some((h.0, since(h)?))).collect();
        let began = found.iter().map(|(_, at)| *at).min();
        let mut all: Vec<HostId> = found.into_iter().map(|(id, _)| id).collect();
        if !all.is_empty() {
            all.extend(me);
        }
        (all, began)
    }
}

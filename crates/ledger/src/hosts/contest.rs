//! Several who hold one address: each is asked alone, by ARP and by an echo, and who lives there beside whom
//! is said only of those that answered by themselves.
//!
//! A frame alone makes no clash: it may be stale, forged, or the last word of a unit that was replaced. Two
//! clash if each was asked by a question to it alone that left after both had been heard, and answered it
//! itself (RFC 1122 section 2.3.2.1 has hosts ask so whether a neighbour is still there). Who answers
//! nothing that goes to it alone has to answer three questions to everybody instead.

use std::collections::BTreeMap;
use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{Mac, Moment};

use crate::asking::lanes::Key;
use crate::hosts::claim::{Claim, HostId};
use crate::hosts::double::is_start;
use crate::hosts::kin::Told;
use crate::ledger::{Ledger, Timer};

/// From when two are heard to when they are asked: a host that gives way to the other's word does so at once
/// (RFC 5227 section 2.4).
const SETTLE: Duration = Duration::from_millis(100);
/// How soon an unanswered question follows another.
pub(crate) const RETRY: Duration = Duration::from_millis(300);
/// So long answers are waited for that tell who they are.
const HOLD: Duration = Duration::from_secs(2);
/// The same while only watching, where all that is asked is a second apart.
const HOLD_SPARING: Duration = Duration::from_secs(5);
/// So much longer the echoes are waited for that tell two ports from two units: at a slow pace, or while only
/// watching, they have to wait for their turn.
const TURN: Duration = Duration::from_secs(30);
/// How often those who hold an address of no device are asked again.
const AGAIN: Duration = Duration::from_secs(10);
/// Contests for addresses that are no device's; the rig's own always have one.
const MAX_CONTESTS: usize = 64;
/// Claimants of one address that are asked.
const MAX_ASKED: usize = 4;

/// Several who hold one address.
#[derive(Debug)]
pub(crate) struct Contest {
    /// What came of the echoes to each.
    pub(crate) told: BTreeMap<Mac, Told>,
    /// When the latest of them began to hold it.
    began: Moment,
    /// How long more is waited for.
    until: Moment,
    /// Nothing more is waited for.
    pub(crate) closed: bool,
    /// The latest probe for the address was lost: not even an owner answered it.
    pub(crate) probe_lost: bool,
}

impl Contest {
    /// When the latest of them began to hold it.
    pub(crate) const fn began(&self) -> Moment {
        self.began
    }

    /// From when on they are asked.
    fn start(&self) -> Moment {
        self.began + SETTLE
    }
}

/// All contests.
#[derive(Debug, Default)]
pub(crate) struct Contests {
    pub(crate) open: BTreeMap<Ipv4Addr, Contest>,
}

impl Contests {
    /// Forgets all.
    pub(crate) fn clear(&mut self) {
        self.open.clear();
    }

    pub(crate) fn of(&self, address: Ipv4Addr, mac: Mac) -> Option<&Told> {
        self.open.get(&address)?.told.get(&mac)
    }
}

impl Ledger {
    /// Those who hold `address`, are not one by the file's word, and may be asked: the file's own first, then
    /// those who came first. Empty unless there are two, this computer counted.
    pub(crate) fn rivals(&self, address: Ipv4Addr) -> Vec<(Mac, &Claim)> {
        if !self.sees_frames() || self.blind().is_some() {
            return Vec::new();
        }
        let device = self.device_at(address);
        let own = |id: HostId| device.is_some_and(|i| self.is_own(i, id));
        let mut all: Vec<(HostId, &Claim)> = self
            .hosts
            .holders(address)
            .filter(|(id, c)| c.alive() && !id.is_virtual_router() && !c.no_owner())
            .filter(|(id, c)| own(*id) || !c.hollow())
            .collect();
        let ours = self.is_ours(address);
        if all.is_empty() || !ours && (all.len() < 2 || all.iter().all(|(id, _)| own(*id))) {
            return Vec::new();
        }
        all.sort_by_key(|(id, c)| (!own(*id), c.since, *id));
        all.into_iter()
            .filter_map(|(id, c)| Some((id.mac()?, c)))
            .take(MAX_ASKED)
            .collect()
    }

    /// Since when two have held the address at the same time, if it is shown that both live there.
    pub(crate) fn live_beside(&self, a: &Claim, b: &Claim) -> Option<Moment> {
        let began = a.began().max(b.began());
        (self.lives(a, began) && self.lives(b, began)).then_some(began)
    }

    /// An echo request about `address` that went to `mac` alone and left at `question` was answered by itself,
    /// with so many hops left.
    pub(crate) fn answered_alone(&mut self, question: Moment, mac: Mac, address: Ipv4Addr, ttl: Option<u8>) {
        let host = self.hosts.get_mut(HostId::Mac(mac));
        if let Some(claim) = host.and_then(|h| h.claim_mut(address)) {
            claim.answers_alone(question);
            // One that passes on for another takes a hop off (RFC 1812 section 5.3.1).
            claim.stood |= ttl.is_some_and(is_start);
        }
    }

    /// Whether a claimant was asked after `began`, and answered by itself.
    pub(crate) fn lives(&self, claim: &Claim, began: Moment) -> bool {
        let start = began + SETTLE;
        let given_up = || self.contests.open.get(&claim.address).is_some_and(|c| c.closed);
        claim.lives_since(start) || given_up() && claim.answers_all_since(start)
    }

    /// When one of several who hold `address` is to be asked alone, while their answers are awaited.
    pub(crate) fn alone_due(&self, address: Ipv4Addr, mac: Mac, claim: &Claim) -> Option<Moment> {
        let contest = self.contests.open.get(&address).filter(|c| !c.closed)?;
        let start = contest.start();
        let closed = self.lanes.closed_at(Key::Unicast(address, mac));
        let next = closed.filter(|at| *at >= start).map_or(start, |at| at + RETRY);
        (!claim.lives_since(start)).then_some(next)
    }

    /// Whether somebody lives at `address` who owns it, by the file's word or by what was heard.
    pub(crate) fn has_owner(&self, address: Ipv4Addr) -> bool {
        // What the hardware of a device holds elsewhere it may hold as a proxy.
        let device = self.by_address.get(&address);
        let listed = |id: HostId| device.is_some_and(|i| self.is_own(*i, id));
        let mut holders = self.hosts.holders(address);
        holders.any(|(id, c)| c.alive() && (c.is_sure() || listed(id)))
    }

    /// A probe for `address` is over. True if it was lost, so that it says nothing of those who did not answer.
    pub(crate) fn probe_over(&mut self, address: Ipv4Addr, answered: bool) -> bool {
        let lost = !answered && self.has_owner(address);
        if let Some(contest) = self.contests.open.get_mut(&address) {
            contest.probe_lost = lost;
        }
        lost
    }

    /// Whether one of several is to be taken for an owner: it has shown that it is, or the probe that should
    /// have told was lost, and nothing speaks for a proxy.
    pub(crate) fn owns(&self, id: HostId, claim: &Claim) -> bool {
        let lost = || {
            let contest = self.contests.open.get(&claim.address);
            let proxy = self.hosts.get(id).is_none_or(|h| h.proxy);
            let given_up = contest.is_some_and(|c| c.closed && c.probe_lost);
            given_up && !proxy && !claim.lent && claim.probes_missed == 0 && self.has_owner(claim.address)
        };
        // While probes are still to tell, one that may have given the address up is none.
        let open = || self.contests.open.get(&claim.address).is_some_and(|c| !c.closed);
        let in_doubt = claim.resumed() || claim.doubted.is_some() && open();
        claim.is_owner() && !in_doubt || lost()
    }

    /// When a probe is to tell again which of several who hold `address` own it, while that is awaited. It
    /// goes to an address where somebody answers, so that it need not wait for long.
    pub(crate) fn probe_due(&self, address: Ipv4Addr) -> Option<Moment> {
        let contest = self.contests.open.get(&address).filter(|c| !c.closed)?;
        let device = self.device_at(address);
        let listed = |mac: Mac| device.is_some_and(|i| self.is_own(i, HostId::Mac(mac)));
        let open = |(mac, c): &(Mac, &Claim)| !c.is_sure() && !listed(*mac);
        let last = self.lanes.closed_at(Key::Nobody(address));
        let next = last.map_or(contest.began, |at| at + RETRY);
        (self.rivals(address).iter().any(open) && self.has_owner(address)).then_some(next)
    }

    /// Plans what tells who the several are that hold `address`.
    pub(crate) fn plan_contest(&mut self, address: Ipv4Addr, now: Moment) {
        let rivals = self.rivals(address);
        let macs: Vec<Mac> = rivals.iter().map(|(mac, _)| *mac).collect();
        let began = rivals.iter().map(|(_, c)| c.began()).max().unwrap_or_default();
        self.drop_rivals(address, &macs);
        if macs.is_empty() {
            return;
        }
        let hold = self.hold();
        let fresh = !self.contests.open.contains_key(&address);
        if fresh && !self.targets.contains_key(&address) && self.contests.open.len() >= MAX_CONTESTS {
            return;
        }
        let contest = self.contests.open.entry(address).or_insert_with(|| Contest {
            told: BTreeMap::new(),
            began,
            until: now + hold,
            closed: false,
            probe_lost: false,
        });
        contest.told.retain(|m, _| macs.contains(m));
        let joins = macs.iter().any(|m| !contest.told.contains_key(m));
        if joins || began > contest.began {
            contest.began = began;
            contest.until = now + hold;
            contest.closed = false;
        }
        for mac in &macs {
            contest.told.entry(*mac).or_default();
        }
        if !contest.closed {
            let end = Some(contest.until).filter(|until| *until > now);
            let look = now + RETRY;
            self.timers.set(
                Timer::Contest(address),
                Some(end.map_or(look, |end| end.min(look))),
            );
        }
        if self.watch_only {
            return;
        }
        self.plan_kin(address, &macs, now);
        if !self.targets.contains_key(&address) {
            self.ask_unlisted(address, &macs, now);
        }
    }

    /// One of several announces `address` while it is open who lives there: it may have been away meanwhile, so that
    /// each is to be asked anew.
    pub(crate) fn announces_again(&mut self, id: HostId, address: Ipv4Addr, at: Moment) {
        let decided = || !self.clash(self.device_at(address), address).0.is_empty();
        if !self.contests.open.contains_key(&address) || decided() {
            return;
        }
        let host = self.hosts.get_mut(id);
        if let Some(claim) = host.and_then(|h| h.claim_mut(address))
            // Nobody puts that off for ever by going on about it.
            && claim.again.is_none_or(|last| at >= last + HOLD)
        {
            claim.again = Some(at);
            self.plan_contest(address, at);
        }
    }

    /// How long answers are waited for that tell who they are.
    const fn hold(&self) -> Duration {
        if self.watch_only { HOLD_SPARING } else { HOLD }
    }

    /// Who does not hold `address` any more, or alone, is not asked for it as one of several.
    fn drop_rivals(&mut self, address: Ipv4Addr, macs: &[Mac]) {
        let Some(contest) = self.contests.open.get(&address) else {
            return;
        };
        let gone: Vec<Mac> = contest
            .told
            .keys()
            .copied()
            .filter(|m| !macs.contains(m))
            .collect();
        for mac in gone {
            self.lanes.remove(Key::EchoTo(address, mac));
            let claim = self.hosts.get(HostId::Mac(mac)).and_then(|h| h.claim(address));
            let asked = Key::Unicast(address, mac);
            if !claim.is_some_and(Claim::alive) && !self.lanes.busy(asked) {
                self.lanes.remove(asked);
            }
        }
        if macs.is_empty() {
            self.contests.open.remove(&address);
            self.timers.set(Timer::Contest(address), None);
            self.wire_dirty = true;
        }
    }

    /// No watch asks for an address that is no device's: its holders are asked here.
    fn ask_unlisted(&mut self, address: Ipv4Addr, macs: &[Mac], now: Moment) {
        let due = |mac: Mac| {
            let claim = self.hosts.get(HostId::Mac(mac))?.claim(address)?;
            let closed = self.lanes.closed_at(Key::Unicast(address, mac));
            let usual = || (closed.max(Some(claim.last)).unwrap_or(now) + AGAIN).max(now);
            let soon = if claim.misses.any() {
                closed.map(|at| at + RETRY)
            } else {
                self.alone_due(address, mac, claim)
            };
            soon.or_else(|| self.watches().then(usual))
        };
        let all: Vec<(Mac, Option<Moment>)> = macs.iter().map(|m| (*m, due(*m))).collect();
        for (mac, at) in all {
            self.lanes
                .want(Key::Unicast(address, mac), at.map(|at| at.max(now)));
        }
        if self.near(address)
            && let Some(at) = self.probe_due(address)
        {
            self.confirm_by(Key::Nobody(address), at.max(now));
        }
    }

    /// Who the several are that hold `address` is looked at again.
    pub(crate) fn contest_due(&mut self, address: Ipv4Addr, now: Moment) {
        let echoes = self.asks_kin(address);
        // Probes at an address where one answers take a second each.
        let doubted = self.probe_due(address).is_some()
            && self.rivals(address).iter().any(|(_, c)| c.doubted.is_some());
        let Some(contest) = self.contests.open.get_mut(&address) else {
            return;
        };
        let echoes = echoes && contest.told.values().copied().any(Told::wanted);
        let waits = (echoes || doubted) && now < contest.until + TURN;
        if now >= contest.until && !contest.closed && !waits {
            contest.closed = true;
            self.contest_changed(address);
        }
        self.replan.insert(address);
    }

    /// What is said of those who hold `address` is to be judged again.
    pub(crate) fn contest_changed(&mut self, address: Ipv4Addr) {
        self.touch(address);
        self.wire_dirty = true;
        self.ready_dirty = true;
    }
}

//! When to ask what: for every address that matters, when each kind of question is next due.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{ArpForm, Ask, Budget, Mac, Moment, Rank};

use crate::Standing;
use crate::asking::beat::{in_step, place};
use crate::asking::lanes::Key;
use crate::asking::target::{Kind, Target};
use crate::hosts::claim::{Claim, HostId};
use crate::judging::track::Track;
use crate::ledger::Ledger;

/// How often a device's hardware is asked on its own.
const UNICAST: Duration = Duration::from_secs(1);
/// How often at most each rig address is asked for by broadcast, and how many such are sent a
/// second in all.
const BROADCAST: Duration = Duration::from_secs(2);
const BROADCASTS_PER_SECOND: f64 = 30.0;
/// The same for the addresses that nobody holds, so that who comes back without a word is seen within
/// 1.2 s. Both together stay within the 50 a second of the contract.
const GONE: Duration = Duration::from_secs(1);
const GONE_PER_SECOND: f64 = 20.0;
/// How often present devices are sent an echo.
const ECHO: Duration = Duration::from_secs(5);
/// After an unanswered question the next follows so soon.
const QUICK: Duration = Duration::from_millis(100);
/// How often factory and last-known foreign addresses are asked while a device is missing.
const SEARCH: Duration = Duration::from_secs(30);
/// At least so long between two 0.0.0.0 probes for one address (the contract of asking).
const NOBODY: Duration = Duration::from_secs(10);
/// How often our own address is probed for another holder.
const OWN: Duration = Duration::from_secs(30);
/// 0.0.0.0 probes that a claimant is sent before it is taken as no owner for good.
const NOBODY_TRIES: u8 = 3;
/// Claimants of one address that are asked on their own.
const MAX_ASKED: usize = 4;
/// Frames a second that watching one device costs at its usual intervals.
const WATCH_COST: f64 = 1.7;

impl Ledger {
    /// The question that a lane stands for.
    pub(crate) fn ask(&self, key: Key) -> Option<Ask> {
        let arp = |address, form| {
            let target = self.targets.get(&address);
            let rank = if target.is_some() { Rank::Rig } else { Rank::Heard };
            let passing = target.is_none_or(|t| t.rounds < t.goal);
            let narrow = matches!(form, ArpForm::Unicast(_));
            let budget = if passing && !narrow {
                Budget::Pass
            } else {
                Budget::Watch
            };
            Ask::Arp {
                address,
                form,
                rank,
                budget,
            }
        };
        Some(match key {
            Key::Broadcast(address) if self.routed() => Ask::Echo {
                address,
                mac: None,
                rank: Rank::Rig,
            },
            Key::Broadcast(a) => arp(a, ArpForm::Broadcast),
            Key::Nobody(a) => arp(a, ArpForm::Nobody),
            Key::Unicast(a, mac) => arp(a, ArpForm::Unicast(mac)),
            Key::Echo(address) => {
                let mac = self.holder(address).and_then(HostId::mac);
                Ask::Echo {
                    address,
                    mac,
                    rank: Rank::Rig,
                }
            }
            Key::EchoTo(address, mac) => Ask::Echo {
                address,
                mac: Some(mac),
                rank: if self.targets.contains_key(&address) {
                    Rank::Rig
                } else {
                    Rank::Heard
                },
            },
            Key::Port(address, mac, port) => {
                let port = self.real_port(address, mac, port);
                match mac.filter(|_| self.is_away(address)) {
                    Some(mac) => Ask::ControlAway {
                        address,
                        mac,
                        port,
                        ranges: self.lendable(address),
                    },
                    None => Ask::Control { address, mac, port },
                }
            }
            Key::Dhcp => Ask::Dhcp {
                by_hand: self.servers_by_hand(),
            },
            Key::Roll(which) => Ask::RollCall(which),
            Key::Pass(id) => {
                let own = self.passes.get(id).map(|p| p.range);
                let far = || self.search.as_ref().and_then(|s| s.range(id));
                let range = own.or_else(far)?;
                // These are asked for by themselves.
                let alone = |t: &&Target| t.kind == Kind::Own || self.broadcasts(t.kind, t.address);
                let asked = self.targets.values().filter(alone).map(|t| &t.address);
                // Beyond the subnet these have been asked for already.
                let sought = self.sought.iter().filter(|_| own.is_none());
                let except = asked
                    .chain(sought)
                    .copied()
                    .filter(|a| range.contains(*a))
                    .collect();
                Ask::Pass { id, range, except }
            }
        })
    }

    /// Who stands at `address` in the verdict on it.
    fn holder(&self, address: Ipv4Addr) -> Option<HostId> {
        let i = self.device_at(address)?;
        self.tracks[i]
            .evidence
            .here
            .filter(|(_, a)| *a == address)
            .map(|(id, _)| id)
    }

    /// How much longer than usual the watch's intervals are, so that the passes and the watch
    /// together stay within the pace.
    pub(crate) fn stretch(&self, usual: Duration) -> Duration {
        let pace = self
            .settings
            .rig
            .as_ref()
            .and_then(|r| r.network.pace.per_second());
        let Some(pace) = pace else { return usual };
        let share = if self.passes.idle() { 0.9 } else { 0.5 };
        let load = self.targets.len() as f64 * WATCH_COST;
        usual.mul_f64((load / (f64::from(pace) * share)).max(1.0))
    }

    /// Whatever the lane asks is planned again.
    pub(crate) fn replan_key(&mut self, key: Key) {
        match key {
            Key::Broadcast(a) | Key::Nobody(a) | Key::Unicast(a, _) | Key::Echo(a) | Key::EchoTo(a, _) => {
                self.replan.insert(a);
            }
            Key::Port(a, _, _) => self.touched.extend(self.device_at(a)),
            Key::Dhcp | Key::Pass(_) | Key::Roll(_) => {}
        }
    }

    /// Plans the questions about `address`.
    pub(crate) fn plan(&mut self, address: Ipv4Addr, now: Moment) {
        if self.watch_only {
            self.plan_sparing(address, now);
            return;
        }
        // No deed reaches behind a router.
        if self.routed() && self.settings.purpose.leaves_no_neighbour() {
            return;
        }
        self.plan_contest(address, now);
        let searched = self.plan_search(address, now);
        let Some(target) = self.targets.get(&address) else {
            if self.sought.contains(&address) {
                self.lanes.want(Key::Nobody(address), searched);
            }
            self.plan_suspects(address, now);
            return;
        };
        let claims: Vec<(HostId, &Claim)> = self.hosts.holders(address).filter(|(_, c)| c.alive()).collect();
        let broadcast = self.broadcast_due(target, &claims, now);
        let nobody = self.nobody_due(target, &claims, now).or(searched);
        let unicast = self.unicast_due(target, &claims, now);
        let echo = self.echo_due(target, now);
        self.lanes.want(Key::Broadcast(address), broadcast);
        self.lanes.want(Key::Nobody(address), nobody);
        self.lanes.want(Key::Echo(address), echo);
        let old: Vec<Key> = self
            .lanes
            .unicasts(address)
            .filter(|old| unicast.iter().all(|(mac, _)| mac != old))
            .map(|old| Key::Unicast(address, old))
            .filter(|key| !self.lanes.busy(*key))
            .collect();
        for key in old {
            self.lanes.remove(key);
        }
        for (mac, at) in unicast {
            self.lanes.want(Key::Unicast(address, mac), Some(at));
        }
    }

    fn broadcast_due(&self, target: &Target, claims: &[(HostId, &Claim)], now: Moment) -> Option<Moment> {
        if !self.broadcasts(target.kind, target.address) {
            return None;
        }
        let key = Key::Broadcast(target.address);
        let last = self.lanes.closed_at(key).max(target.asked);
        let Some(last) = last else {
            return Some(target.start);
        };
        let own = |id: HostId, c: &Claim| self.accepts(target.kind, id, c);
        let held = claims.iter().any(|(id, c)| own(*id, c));
        // That one of several left is to be told soon, too.
        let several = self.contests.open.contains_key(&target.address);
        let wavering = claims
            .iter()
            .any(|(id, c)| c.misses.any() && (several || own(*id, c)));
        if held && !wavering && target.rounds < target.goal {
            // Without a listed MAC the second question is the probe that tells an owner.
            return if self.probe_next(target, claims) {
                None
            } else {
                Some(last.max(target.start))
            };
        }
        let open = self.contests.open.get(&target.address).is_some_and(|c| !c.closed);
        let unsure = wavering || (!held && !target.unanswered) || open && self.unsettled(target);
        if unsure {
            return Some(last + QUICK);
        }
        if target.rounds < target.goal {
            return Some((last + QUICK).max(target.start));
        }
        if !self.watches() {
            return None;
        }
        let usual = if target.unanswered {
            let gone = self.targets.unanswered() as f64;
            GONE.max(Duration::from_secs_f64(gone / GONE_PER_SECOND))
        } else {
            let n = self.targets.len() as f64;
            BROADCAST.max(Duration::from_secs_f64(n / BROADCASTS_PER_SECOND))
        };
        let every = self.stretch(if self.routed() { ECHO } else { usual });
        // A pass asks for all of them in a row; the watch has the whole interval for it.
        let wait = if target.rounds == target.goal {
            place(target.address, every)
        } else {
            every
        };
        // The silence is told some time after the question, and is no part of the interval.
        let from = target.asked.filter(|_| target.unanswered).unwrap_or(last);
        Some(in_step(from + wait).max(now))
    }

    /// Whether the next broadcast question is to be a 0.0.0.0 probe. Whoever proved by one to be an owner before a
    /// gap in our sight needs none.
    fn probe_next(&self, target: &Target, claims: &[(HostId, &Claim)]) -> bool {
        self.nameless(target)
            && claims.iter().any(|(_, c)| !c.answers_nobody())
            && self.sees_frames()
            && self.near(target.address)
            && self.lanes.sent_at(Key::Nobody(target.address)).is_none()
    }

    /// Whether it is the address of a device without a listed MAC.
    fn nameless(&self, target: &Target) -> bool {
        matches!(target.kind, Kind::Rig(i) if self.tracks[i].device.macs.is_empty())
    }

    /// Whether two hold an address, and it is not clear yet whether at the same time.
    fn unsettled(&self, target: &Target) -> bool {
        self.claimants(target.address) > 1
            && self
                .clash(self.device_at(target.address), target.address)
                .0
                .is_empty()
    }

    /// How many hold `address` who are, or may yet prove to be, its owners. The hardware of one
    /// device, or of one unit with two ports, counts as one, a virtual router's shared hardware not at all.
    pub(crate) fn claimants(&self, address: Ipv4Addr) -> usize {
        let ours = usize::from(self.is_ours(address));
        if self.hosts.holders(address).nth(1).is_none() {
            // Nearly always: who it is decides nothing then.
            let holds = |(id, c): (HostId, &Claim)| self.may_own(address, id, c);
            return usize::from(self.hosts.holders(address).any(holds)) + ours;
        }
        let device = self.device_at(address);
        let is_own = |id: HostId| device.is_some_and(|i| self.is_own(i, id));
        let mut counted: Vec<HostId> = Vec::new();
        for (id, claim) in self.hosts.holders(address) {
            let known = || {
                let same = |o: &HostId| (is_own(id) && is_own(*o)) || self.are_one(address, id, *o);
                counted.iter().any(same)
            };
            if self.may_own(address, id, claim) && !known() {
                counted.push(id);
            }
        }
        counted.len() + ours
    }

    /// Whether `id` holds `address` by this claim, and is its owner or may yet prove to be.
    fn may_own(&self, address: Ipv4Addr, id: HostId, claim: &Claim) -> bool {
        let own = || self.device_at(address).is_some_and(|i| self.is_own(i, id));
        let may = !claim.no_owner() && !claim.hollow() && !id.is_virtual_router();
        claim.alive() && (may || own())
    }

    fn nobody_due(&self, target: &Target, claims: &[(HostId, &Claim)], now: Moment) -> Option<Moment> {
        if !self.sees_frames() {
            return None;
        }
        if let Some(at) = self.probe_due(target.address) {
            return Some(at.max(now));
        }
        let last = self.lanes.closed_at(Key::Nobody(target.address));
        if target.kind == Kind::Own {
            // Who says that he holds it, and has not shown it, is told by a probe: all such by one.
            let claimed = claims.iter().any(|(_, c)| c.question.is_none() && !c.hollow());
            return match last {
                None => Some(target.start),
                Some(last) if claimed => Some((last + NOBODY).max(now)),
                Some(last) if self.watches() => Some(last + OWN),
                Some(_) => None,
            };
        }
        if !self.near(target.address) {
            return None;
        }
        let nameless = self.nameless(target);
        let open = |id: HostId, c: &Claim| {
            let trusted = match target.kind {
                Kind::Rig(i) => self.is_own(i, id),
                Kind::Gateway => claims.len() < 2,
                Kind::Floating(_) | Kind::Own => false,
            };
            let told = c.doubted.is_none() && if nameless { c.answers_nobody() } else { c.proven() };
            !trusted && !told && (nameless || c.nobody_missed < NOBODY_TRIES)
        };
        let mut open = claims
            .iter()
            .filter(|(id, c)| open(*id, c))
            .map(|(_, c)| c.nobody_missed);
        let wait = if open.next()? < NOBODY_TRIES {
            NOBODY
        } else {
            SEARCH
        };
        Some(last.map_or(now, |l| (l + wait).max(now)))
    }

    fn unicast_due(&self, target: &Target, claims: &[(HostId, &Claim)], now: Moment) -> Vec<(Mac, Moment)> {
        let passing = target.rounds < target.goal && self.broadcasts(target.kind, target.address);
        // Several who hold one address are asked at once, each alone.
        let several = self.contests.open.get(&target.address).is_some_and(|c| !c.closed);
        if !self.sees_frames() || !several && (passing || !self.watches()) {
            return Vec::new();
        }
        let device = self.device_at(target.address);
        let own = |id: HostId| device.is_some_and(|i| self.is_own(i, id));
        let mut whom: Vec<(HostId, &Claim)> = claims
            .iter()
            .filter(|(id, c)| own(*id) || !c.no_owner() && !c.hollow())
            // In nobody's name only one question is free in 10 s: at an address of ours it is the probe to all.
            .filter(|(_, c)| target.kind != Kind::Own || c.question.is_some())
            .copied()
            .collect();
        // The file's own first, then those who came first.
        whom.sort_by_key(|(id, c)| (!own(*id), c.since, *id));
        whom.iter()
            .take(MAX_ASKED)
            .filter_map(|(id, c)| {
                let mac = id.mac()?;
                let closed = self.lanes.closed_at(Key::Unicast(target.address, mac));
                let at = if let Some(soon) = self.alone_due(target.address, mac, c) {
                    soon
                } else if c.misses.any() {
                    closed.map_or(now, |l| l + QUICK)
                } else {
                    in_step(closed.max(Some(c.last)).unwrap_or(now) + self.stretch(UNICAST))
                };
                Some((mac, at.max(now)))
            })
            .collect()
    }

    fn echo_due(&self, target: &Target, now: Moment) -> Option<Moment> {
        let stands = self
            .holder(target.address)
            .is_some_and(|id| Some(id) != self.me());
        if self.routed()
            || self.settings.purpose.leaves_no_neighbour()
            || !stands
            || !self.watches()
            || !self.near(target.address)
            || target.rounds < target.goal
        {
            return None;
        }
        let key = Key::Echo(target.address);
        let every = self.stretch(ECHO);
        let at = if let Some(soon) = self.start_wants_echo(target.address) {
            soon
        } else if let Some(last) = self.lanes.closed_at(key) {
            in_step(last + every)
        } else {
            let first = || in_step(now + place(target.address, every));
            self.lanes.due_at(key).unwrap_or_else(first)
        };
        Some(at.max(now))
    }

    /// When `address` is to be asked for in the search for a missing device.
    fn plan_search(&self, address: Ipv4Addr, now: Moment) -> Option<Moment> {
        if !self.sees_frames() {
            return None;
        }
        let key = Key::Nobody(address);
        let last = self.lanes.closed_at(key);
        // The first question of the pass is planned where learning begins, and asked where nothing is
        // watched, too.
        if last.is_none() && self.lanes.has(key) {
            return Some(now);
        }
        if !self.watches() {
            return None;
        }
        let missing = |t: &Track| t.standing == Standing::Missing;
        let wanted = match self.targets.get(&address).map(|t| t.kind) {
            Some(Kind::Floating(i)) => missing(&self.tracks[i]) && !self.near(address),
            Some(_) => false,
            None => {
                self.sought.contains(&address)
                    && self
                        .tracks
                        .iter()
                        .any(|t| missing(t) && !t.device.macs.is_empty())
            }
        };
        wanted.then(|| last.map_or(now, |l| (l + SEARCH).max(now)))
    }
}

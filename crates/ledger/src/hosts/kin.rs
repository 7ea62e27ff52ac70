//! Two hardware addresses that answer for one address: two units, or two ports of one?
//!
//! A Linux kernel with two ports in one network answers for each of its addresses at both (`arp_ignore`
//! 0, its ip-sysctl), which by ARP alone looks as a clash does. An echo request tells: it is addressed to
//! one of the two, and where the other sends the reply, one system stands behind both. Two units each
//! answer for themselves. Where neither answers echoes, it counts that both hold the very same addresses,
//! two at least.

use std::collections::{BTreeMap, BTreeSet};
use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{Mac, Moment};

use crate::asking::lanes::Key;
use crate::find::made;
use crate::hosts::claim::{Claim, HostId};
use crate::judging::words::place;
use crate::ledger::{Ledger, Timer};
use crate::{Finding, FindingKind, Severity};

/// So long nothing is made of two claims whose echoes are awaited.
const HOLD: Duration = Duration::from_millis(3_500);
/// Echoes that may go unanswered before a host counts as one that answers none.
const TRIES: u8 = 3;
/// How often it is asked again.
const AGAIN: Duration = Duration::from_secs(10);
/// Addresses without a device that are tested at a time; the rig's own always are.
const MAX_TESTS: usize = 64;
/// Claimants of one address that are asked.
const MAX_ASKED: usize = 4;

/// What came of the echoes to one claimant.
#[derive(Debug, Clone, Copy, Default)]
struct Told {
    /// From which hardware the reply came, to the request addressed to this one.
    from: Option<Mac>,
    /// Requests in a row that stayed unanswered.
    vain: u8,
}

impl Told {
    const fn over(self) -> bool {
        self.from.is_some() || self.vain >= TRIES
    }
}

/// The echoes about one address.
#[derive(Debug, Default)]
struct Test {
    told: BTreeMap<Mac, Told>,
    /// Nothing more is waited for.
    closed: bool,
}

/// All tests.
#[derive(Debug, Default)]
pub(crate) struct Kin {
    tests: BTreeMap<Ipv4Addr, Test>,
}

/// How two claimants of an address are related.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Relation {
    /// One unit.
    One,
    /// Two units, or nothing speaks for one.
    Two,
    /// The answer is awaited.
    Open,
}

impl Kin {
    /// Forgets all.
    pub(crate) fn clear(&mut self) {
        self.tests.clear();
    }

    /// What the echoes say of `a` and `b`; `None` where they say nothing.
    fn echoes(&self, address: Ipv4Addr, a: Mac, b: Mac) -> Option<Relation> {
        let test = self.tests.get(&address)?;
        let told = |m: Mac| test.told.get(&m).copied().unwrap_or_default();
        let (of_a, of_b) = (told(a), told(b));
        match (of_a.from, of_b.from) {
            (Some(f), _) if f == b => Some(Relation::One),
            (_, Some(f)) if f == a => Some(Relation::One),
            (Some(_), Some(_)) => Some(Relation::Two),
            _ if test.closed || (of_a.over() && of_b.over()) => None,
            _ => Some(Relation::Open),
        }
    }
}

impl Ledger {
    fn relation(&self, address: Ipv4Addr, a: Mac, b: Mac) -> Relation {
        match self.kin.echoes(address, a, b) {
            Some(relation) => relation,
            None if self.same_addresses(a, b) => Relation::One,
            None => Relation::Two,
        }
    }

    /// Whether two claimants of `address` may be called two units.
    pub(crate) fn are_two(&self, address: Ipv4Addr, a: HostId, b: HostId) -> bool {
        match (a.mac(), b.mac()) {
            (Some(a), Some(b)) => self.relation(address, a, b) == Relation::Two,
            _ => true,
        }
    }

    /// Whether two claimants of `address` are known to be one unit.
    pub(crate) fn are_one(&self, address: Ipv4Addr, a: HostId, b: HostId) -> bool {
        match (a.mac(), b.mac()) {
            (Some(a), Some(b)) => self.relation(address, a, b) == Relation::One,
            _ => false,
        }
    }

    /// The addresses that hardware holds, those aside which many units have from the factory
    /// or give themselves.
    fn owned(&self, mac: Mac) -> BTreeSet<Ipv4Addr> {
        let claims = self
            .hosts
            .get(HostId::Mac(mac))
            .into_iter()
            .flat_map(|h| &h.claims);
        claims
            .filter(|c| c.alive() && !c.proxied())
            .map(|c| c.address)
            .filter(|a| self.near(*a) && !a.is_link_local() && !self.factory.contains(a))
            .collect()
    }

    /// Whether both hold the very same addresses, more than one, and the file does not know them as two.
    fn same_addresses(&self, a: Mac, b: Mac) -> bool {
        let listed = |m: Mac| self.by_mac.get(&m);
        let two_devices = listed(a).is_some() && listed(b).is_some() && listed(a) != listed(b);
        let of_a = self.owned(a);
        !two_devices && of_a.len() >= 2 && of_a == self.owned(b)
    }

    /// Those who hold `address` and may be asked by an echo each.
    fn testable(&self, address: Ipv4Addr) -> Vec<Mac> {
        let device = self.device_at(address);
        let own = |id: HostId| device.is_some_and(|i| self.is_own(i, id));
        let mut all: Vec<(HostId, &Claim)> = self
            .hosts
            .holders(address)
            .filter(|(id, c)| c.alive() && !c.proxied() && !id.is_virtual_router())
            .collect();
        // The hardware of one device is one, by the file's word.
        if all.len() < 2 || all.iter().all(|(id, _)| own(*id)) {
            return Vec::new();
        }
        all.sort_by_key(|(id, c)| (!own(*id), c.since, *id));
        all.iter()
            .filter_map(|(id, _)| id.mac())
            .take(MAX_ASKED)
            .collect()
    }

    /// Plans the echoes that tell whether those who hold `address` are one unit.
    pub(crate) fn plan_kin(&mut self, address: Ipv4Addr, now: Moment) {
        let possible =
            self.sees_frames() && self.blind().is_none() && self.near(address) && !self.is_ours(address);
        let macs = if possible {
            self.testable(address)
        } else {
            Vec::new()
        };
        let old: Vec<Mac> = self
            .kin
            .tests
            .get(&address)
            .map(|t| t.told.keys().copied().collect())
            .unwrap_or_default();
        for mac in old.iter().filter(|m| !macs.contains(m)) {
            self.lanes.remove(Key::EchoTo(address, *mac));
        }
        if macs.is_empty() {
            if self.kin.tests.remove(&address).is_some() {
                self.timers.set(Timer::Kin(address), None);
                self.wire_dirty = true;
            }
            return;
        }
        let matters = self.targets.contains_key(&address);
        let fresh = !self.kin.tests.contains_key(&address);
        if fresh && !matters && self.kin.tests.len() >= MAX_TESTS {
            return;
        }
        if fresh {
            self.timers.set(Timer::Kin(address), Some(now + HOLD));
        }
        let test = self.kin.tests.entry(address).or_default();
        test.told.retain(|m, _| macs.contains(m));
        if macs.iter().any(|m| !test.told.contains_key(m)) && !fresh {
            test.closed = false;
            self.timers.set(Timer::Kin(address), Some(now + HOLD));
        }
        let watches = self.watches() && matters;
        let test = self.kin.tests.entry(address).or_default();
        for mac in macs {
            let told = *test.told.entry(mac).or_default();
            let key = Key::EchoTo(address, mac);
            let last = self.lanes.closed_at(key);
            let at = match last {
                None => Some(now),
                Some(last) if told.over() => watches.then(|| (last + AGAIN).max(now)),
                Some(_) => Some(now),
            };
            self.lanes.want(key, at);
        }
    }

    /// An echo request about `address`, addressed to `asked`, was answered from `from`, or by nobody.
    pub(crate) fn kin_told(&mut self, at: Moment, address: Ipv4Addr, asked: Mac, from: Option<Mac>) {
        let key = Key::EchoTo(address, asked);
        let ours = self.lanes.close(key, at);
        let Some(told) = self
            .kin
            .tests
            .get_mut(&address)
            .and_then(|t| t.told.get_mut(&asked))
            .filter(|_| ours || from.is_some())
        else {
            return;
        };
        let before = *told;
        if from.is_some() {
            *told = Told { from, vain: 0 };
        } else {
            told.vain = told.vain.saturating_add(1);
            if told.vain >= TRIES {
                told.from = None;
            }
        }
        if (before.from, before.over()) != (told.from, told.over()) {
            self.kin_changed(address);
        }
        self.replan.insert(address);
    }

    /// The answers about `address` are not waited for any longer.
    pub(crate) fn kin_due(&mut self, address: Ipv4Addr) {
        if let Some(test) = self.kin.tests.get_mut(&address) {
            test.closed = true;
            self.kin_changed(address);
        }
    }

    fn kin_changed(&mut self, address: Ipv4Addr) {
        self.touch(address);
        self.wire_dirty = true;
        self.ready_dirty = true;
    }

    pub(crate) fn find_two_ports(&self, all: &mut Vec<Finding>) {
        let mut told: BTreeSet<(Mac, Mac)> = BTreeSet::new();
        for (address, test) in &self.kin.tests {
            let owner = |m: &Mac| {
                let claim = self.hosts.get(HostId::Mac(*m)).and_then(|h| h.claim(*address));
                claim.is_some_and(|c| c.alive() && (c.owned() || self.by_mac.contains_key(m)))
            };
            let macs: Vec<Mac> = test.told.keys().copied().filter(owner).collect();
            for (n, a) in macs.iter().enumerate() {
                for b in &macs[n + 1..] {
                    if self.relation(*address, *a, *b) == Relation::One && told.insert((*a, *b)) {
                        all.push(self.two_ports(*address, *a, *b));
                    }
                }
            }
        }
    }

    fn two_ports(&self, address: Ipv4Addr, a: Mac, b: Mac) -> Finding {
        let by_echo = self.kin.echoes(address, a, b) == Some(Relation::One);
        let why = if by_echo {
            "an echo sent to one came back from the other"
        } else {
            "both hold the very same addresses"
        };
        let device = self
            .by_mac
            .get(&a)
            .or_else(|| self.by_mac.get(&b))
            .copied()
            .or_else(|| self.device_at(address));
        let (who, advice) = match device {
            Some(i) => {
                let track = &self.tracks[i];
                let name = &track.device.name;
                let new = if track.device.macs.contains(&a) { b } else { a };
                let place = place(track);
                (
                    name.clone(),
                    format!(
                        "If both cables of {name}{place} are meant to be in, add {new} to its macs in the rig \
                         file; if not, unplug one of them."
                    ),
                )
            }
            None => (
                "One unit".to_owned(),
                format!("Look on the switch for {a} and {b}; if one cable is enough, unplug the other."),
            ),
        };
        Finding {
            devices: device
                .map(|i| self.tracks[i].device.name.clone())
                .into_iter()
                .collect(),
            macs: vec![a, b],
            ..made(
                FindingKind::TwoPorts,
                Severity::Note,
                format!(
                    "{who} has two ports in this network: {a} and {b} both answer for {address}, and {why}."
                ),
                advice,
            )
        }
    }
}

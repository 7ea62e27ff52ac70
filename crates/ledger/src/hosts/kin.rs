//! Two hardware addresses that answer for one address: two units, or two ports of one?
//!
//! A Linux kernel with two ports in one network answers for each of its addresses at both (`arp_ignore`
//! 0, its ip-sysctl), which by ARP alone looks as a clash does. An echo request tells: it is addressed to
//! one of the two, and where the other sends the reply, one system stands behind both. Two units each
//! answer for themselves. Where neither answers echoes, it counts that both hold the very same addresses,
//! two at least.

use std::collections::BTreeSet;
use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{Mac, Moment};

use crate::asking::lanes::Key;
use crate::find::made;
use crate::hosts::claim::HostId;
use crate::hosts::contest::{Contests, RETRY};
use crate::judging::words::place;
use crate::ledger::Ledger;
use crate::{Finding, FindingKind, Severity};

/// Echoes that may go unanswered before a host counts as one that answers none.
const TRIES: u8 = 4;
/// How often it is asked again.
const AGAIN: Duration = Duration::from_secs(10);

/// What came of the echoes to one claimant.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Told {
    /// From which hardware the reply came, to the request addressed to this one.
    from: Option<Mac>,
    /// Requests in a row that stayed unanswered.
    vain: u8,
}

impl Told {
    const fn over(self) -> bool {
        self.from.is_some() || self.vain >= TRIES
    }

    /// Whether an echo is still to tell something, if only one can be asked for.
    pub(crate) const fn wanted(self) -> bool {
        self.from.is_none() && self.vain == 0
    }
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

impl Contests {
    /// What the echoes say of `a` and `b`; `None` where they say nothing.
    fn echoes(&self, address: Ipv4Addr, a: Mac, b: Mac) -> Option<Relation> {
        let contest = self.open.get(&address)?;
        let told = |m: Mac| contest.told.get(&m).copied().unwrap_or_default();
        let (of_a, of_b) = (told(a), told(b));
        match (of_a.from, of_b.from) {
            (Some(f), _) if f == b => Some(Relation::One),
            (_, Some(f)) if f == a => Some(Relation::One),
            (Some(_), Some(_)) => Some(Relation::Two),
            _ if contest.closed || (of_a.over() && of_b.over()) => None,
            _ => Some(Relation::Open),
        }
    }
}

impl Ledger {
    fn relation(&self, address: Ipv4Addr, a: Mac, b: Mac) -> Relation {
        match self.contests.echoes(address, a, b) {
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

    /// Whether those who hold `address` are sent echoes that tell whether they are one unit.
    pub(crate) fn asks_kin(&self, address: Ipv4Addr) -> bool {
        self.near(address) && !self.is_ours(address) && !self.settings.purpose.leaves_no_neighbour()
    }

    /// Plans the echoes that tell whether those who hold `address` are one unit.
    pub(crate) fn plan_kin(&mut self, address: Ipv4Addr, macs: &[Mac], now: Moment) {
        if !self.asks_kin(address) {
            return;
        }
        let watches = self.watches() && self.targets.contains_key(&address);
        for mac in macs {
            let told = self.contests.of(address, *mac).copied().unwrap_or_default();
            let key = Key::EchoTo(address, *mac);
            // A reply is waited for longer than the next question is.
            if !told.over() && self.lanes.out_since(key).is_some_and(|sent| now >= sent + RETRY) {
                self.lanes.close(key, now);
            }
            let at = match self.lanes.closed_at(key) {
                None => Some(now),
                Some(last) if told.over() => watches.then(|| (last + AGAIN).max(now)),
                Some(_) => Some(now),
            };
            self.lanes.want(key, at);
        }
    }

    /// An echo request about `address`, addressed to `asked`, was answered, and from which hardware.
    pub(crate) fn kin_replied(&mut self, at: Moment, address: Ipv4Addr, asked: Mac, from: Mac) {
        self.lanes.close(Key::EchoTo(address, asked), at);
        let told = Told {
            from: Some(from),
            vain: 0,
        };
        self.kin_told(address, asked, |_| told);
    }

    /// An echo request about `address`, addressed to `asked`, that left at `sent` was answered by nobody.
    pub(crate) fn kin_silent(&mut self, at: Moment, address: Ipv4Addr, asked: Mac, sent: Moment) {
        let key = Key::EchoTo(address, asked);
        if self.lanes.sent_at(key).is_some_and(|last| last <= sent) {
            self.lanes.close(key, at);
        }
        self.kin_told(address, asked, |before| {
            let vain = before.vain.saturating_add(1);
            if vain >= TRIES {
                return Told {
                    vain,
                    ..Told::default()
                };
            }
            Told { vain, ..before }
        });
    }

    fn kin_told(&mut self, address: Ipv4Addr, asked: Mac, now: impl FnOnce(Told) -> Told) {
        let contest = self.contests.open.get_mut(&address);
        let Some(told) = contest.and_then(|c| c.told.get_mut(&asked)) else {
            return;
        };
        let before = *told;
        *told = now(before);
        let after = *told;
        if (before.from, before.over()) != (after.from, after.over()) {
            self.contest_changed(address);
        }
        self.replan.insert(address);
    }

    pub(crate) fn find_two_ports(&self, all: &mut Vec<Finding>) {
        let mut told: BTreeSet<(Mac, Mac)> = BTreeSet::new();
        for (address, contest) in &self.contests.open {
            let owner = |m: &Mac| {
                let claim = self.hosts.get(HostId::Mac(*m)).and_then(|h| h.claim(*address));
                claim.is_some_and(|c| c.alive() && (c.owned() || self.by_mac.contains_key(m)))
            };
            let macs: Vec<Mac> = contest.told.keys().copied().filter(owner).collect();
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
        let by_echo = self.contests.echoes(address, a, b) == Some(Relation::One);
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

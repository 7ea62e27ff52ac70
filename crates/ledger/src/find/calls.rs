//! Calls for nobody: a listed device that keeps asking for an address which no host holds. Something in
//! its settings still points there.

use std::collections::{BTreeMap, BTreeSet};
use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{Mac, Moment};

use crate::find::made;
use crate::hosts::claim::HostId;
use crate::ledger::{Ledger, Timer};
use crate::{Finding, FindingKind, Severity};

/// So many requests make a call, from the first of them to the last at least this long: a kernel that
/// looks for a host once sends three, a second apart (Linux, `mcast_solicit` in its ip-sysctl).
const REQUESTS: u32 = 3;
const SPAN: Duration = Duration::from_secs(2);
/// A call is over when it was not heard for so long.
const OVER: Duration = Duration::from_secs(30);
/// Questions of ours that nobody answered, before it is said that nothing has the address. One, in
/// nobody's name, where we have no address of our own.
const ASKED: u8 = 2;
/// Addresses kept of one caller. One that asks for more is looking around, and calls nobody.
const MAX_CALLED: usize = 8;
/// Callers kept: listed devices, of which a file may have more than ever call.
const MAX_CALLERS: usize = 64;

/// One device's requests for one address.
#[derive(Debug, Clone, Copy)]
struct Call {
    first: Moment,
    last: Moment,
    requests: u32,
}

impl Call {
    fn ripe(&self) -> bool {
        self.requests >= REQUESTS && self.last.since(self.first) >= SPAN
    }
}

/// What a listed device asks for.
#[derive(Debug, Default)]
struct Caller {
    calls: BTreeMap<Ipv4Addr, Call>,
    /// When it last asked for more addresses than are kept.
    roams: Option<Moment>,
}

/// Who calls whom.
#[derive(Debug, Default)]
pub(crate) struct Calls {
    callers: BTreeMap<usize, Caller>,
    /// How often we asked for a called address in vain since anybody was heard there.
    vain: BTreeMap<Ipv4Addr, u8>,
}

impl Calls {
    /// Forgets all.
    pub(crate) fn clear(&mut self) {
        *self = Self::default();
    }

    /// Device `i` asked for `address`. Returns whether it keeps asking, and whether that is news.
    fn hear(&mut self, i: usize, address: Ipv4Addr, at: Moment) -> (bool, bool) {
        if !self.callers.contains_key(&i) && self.callers.len() >= MAX_CALLERS {
            return (false, false);
        }
        let caller = self.callers.entry(i).or_default();
        if !caller.calls.contains_key(&address) && caller.calls.len() >= MAX_CALLED {
            let news = caller.roams.replace(at).is_none();
            return (false, news);
        }
        let new = Call {
            first: at,
            last: at,
            requests: 0,
        };
        let call = caller.calls.entry(address).or_insert(new);
        let before = call.ripe();
        call.last = call.last.max(at);
        call.requests = call.requests.saturating_add(1);
        (call.ripe(), call.ripe() != before)
    }

    /// Drops what was not heard for [`OVER`]; returns when the next will be that old.
    fn expire(&mut self, now: Moment) -> Option<Moment> {
        for caller in self.callers.values_mut() {
            caller.calls.retain(|_, c| now < c.last + OVER);
            caller.roams = caller.roams.filter(|r| now < *r + OVER);
        }
        self.callers
            .retain(|_, c| !c.calls.is_empty() || c.roams.is_some());
        let called: BTreeSet<Ipv4Addr> = self
            .callers
            .values()
            .flat_map(|c| c.calls.keys().copied())
            .collect();
        self.vain.retain(|a, _| called.contains(a));
        let ends = self
            .callers
            .values()
            .flat_map(|c| c.calls.values().map(|call| call.last).chain(c.roams));
        ends.min().map(|last| last + OVER)
    }

    /// Whether anybody calls `address`.
    fn called(&self, address: Ipv4Addr) -> bool {
        self.callers.values().any(|c| c.calls.contains_key(&address))
    }

    /// (device, address) of all who keep asking, in file order.
    fn ripe(&self) -> impl Iterator<Item = (usize, Ipv4Addr)> {
        self.callers
            .iter()
            .filter(|(_, c)| c.roams.is_none())
            .flat_map(|(i, c)| {
                c.calls
                    .iter()
                    .filter(|(_, call)| call.ripe())
                    .map(|(a, _)| (*i, *a))
            })
    }
}

impl Ledger {
    /// `mac` at `from` asks, in its own name, who holds `address`.
    pub(crate) fn calls(&mut self, at: Moment, mac: Mac, from: Ipv4Addr, address: Ipv4Addr) {
        let by_place = || {
            self.device_at(from)
                .filter(|i| self.tracks[*i].device.macs.is_empty())
        };
        let Some(i) = self.by_mac.get(&mac).copied().or_else(by_place) else {
            return;
        };
        if self.blind().is_some() || self.explained(address) {
            return;
        }
        if self.timers.get(Timer::Calls).is_none() {
            self.timers.set(Timer::Calls, Some(at + OVER));
        }
        let (ripe, news) = self.calls.hear(i, address, at);
        self.wire_dirty |= news;
        if ripe {
            self.ask_called(address, at);
        }
    }

    /// Whether another word is said of the address: it is the rig's (a device that is missing there says
    /// so itself), the gateway's, our own, or one that we borrowed to speak from.
    fn explained(&self, address: Ipv4Addr) -> bool {
        let nobody = address.is_unspecified() || address.is_broadcast() || address.is_multicast();
        nobody
            || self.by_address.contains_key(&address)
            || self.gateway() == Some(address)
            || self.is_ours(address)
            || self.lent.contains(&address)
    }

    /// When somebody was last heard to hold `address` who holds it still, as far as is known.
    fn held(&self, address: Ipv4Addr) -> Option<Moment> {
        let holders = self.hosts.holders(address);
        holders
            .filter(|(_, c)| c.alive() && !c.proxied())
            .map(|(_, c)| c.last)
            .max()
    }

    /// How many vain questions show that nobody is at `address`.
    fn enough(&self, address: Ipv4Addr) -> u8 {
        if self.near(address) { ASKED } else { 1 }
    }

    fn ask_called(&mut self, address: Ipv4Addr, at: Moment) {
        let vain = self.calls.vain.get(&address).copied().unwrap_or(0);
        let due = match self.held(address) {
            Some(last) => at.since(last) >= OVER,
            None => vain < self.enough(address),
        };
        if due {
            self.confirm(address, at);
        }
    }

    /// A question of ours to everybody about `address`, sent at `sent`, stayed without an answer.
    pub(crate) fn call_in_vain(&mut self, address: Ipv4Addr, sent: Moment, at: Moment) {
        if !self.calls.called(address) {
            return;
        }
        if !self.targets.contains_key(&address) {
            let bar = self.bar(None);
            // Nobody else counts what a stranger leaves unanswered.
            let ids: Vec<HostId> = self.hosts.holders(address).map(|(id, _)| id).collect();
            for id in ids {
                if let Some(claim) = self.hosts.get_mut(id).and_then(|h| h.claim_mut(address)) {
                    claim.miss(sent, at, true, bar);
                }
            }
        }
        let vain = self.calls.vain.entry(address).or_default();
        *vain = vain.saturating_add(1);
        self.wire_dirty = true;
        self.ask_called(address, at);
    }

    /// Somebody has a called address.
    pub(crate) fn call_answered(&mut self, address: Ipv4Addr) {
        if self.calls.called(address) {
            self.calls.vain.remove(&address);
            self.wire_dirty = true;
        }
    }

    pub(crate) fn find_calls(&mut self, now: Moment, all: &mut Vec<Finding>) {
        let next = self.calls.expire(now);
        self.timers.set(Timer::Calls, next);
        for (i, address) in self.calls.ripe() {
            let vain = self.calls.vain.get(&address).copied().unwrap_or(0);
            if vain < self.enough(address) || self.held(address).is_some() {
                continue;
            }
            let track = &self.tracks[i];
            let name = &track.device.name;
            let (what, whose) = if track.device.channels.is_empty() {
                ("Something in its settings", "settings")
            } else {
                ("One of its channels", "channels")
            };
            all.push(Finding {
                devices: vec![name.clone()],
                address: Some(address),
                macs: track.who.and_then(HostId::mac).into_iter().collect(),
                ..made(
                    FindingKind::CallsForNobody,
                    Severity::Risk,
                    format!("{name} keeps asking for {address}; nothing has it. {what} still points there."),
                    format!(
                        "Look through the {whose} of {name}{} for {address}, and put in the address of the \
                         device that is meant.",
                        crate::judging::words::place(track)
                    ),
                )
            });
        }
    }
}

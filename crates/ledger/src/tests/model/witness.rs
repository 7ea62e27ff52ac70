//! What the courses' own witness knows: what was sent, heard and not answered, from the facts alone. It judges
//! whether the ledger may say what it says; its rules are the contract's, and looser than the ledger's own.

use std::collections::{BTreeMap, BTreeSet};
use std::net::Ipv4Addr;
use std::time::Duration;

use rig::{Device, Rig};
use vocab::{
    ArpForm, Ask, ControlPort, ControlState, Fact, LinkState, Mac, Moment, Sighting, SilentTo, Station,
};

use super::stage::BOOT;
use crate::Standing;
use crate::asking::beat::STEP;

/// A question is over after this (the scripted scanner's patience).
const PATIENCE: Duration = Duration::from_millis(250);
/// When our own port was heard on this long ago, a silence counts without a witness (DEVELOPERS.md).
const LATE: Duration = Duration::from_secs(3);
/// The same where nothing ever came in.
const HELD: Duration = Duration::from_secs(50);

/// When something was first and last heard.
#[derive(Debug, Clone, Copy)]
struct Span {
    first: Moment,
    last: Moment,
}

#[derive(Debug, Default)]
pub(super) struct Witness {
    station: Option<Station>,
    silent: bool,
    pub(super) watch: bool,
    /// Since when what is seen is of one piece.
    epoch: Moment,
    /// Who said to hold what, since then.
    claims: BTreeMap<(Ipv4Addr, Mac), Span>,
    /// The same, since ever.
    ever: BTreeSet<(Ipv4Addr, Mac)>,
    /// Who answered a question in nobody's name about what.
    nobody: BTreeSet<(Ipv4Addr, Mac)>,
    /// Questions about an address, since then.
    sent: BTreeMap<Ipv4Addr, Vec<(Moment, ArpForm)>>,
    /// What was last told of a control port, since then.
    ports: BTreeMap<(Ipv4Addr, ControlPort), ControlState>,
    /// The first frame of others since then.
    opened: Option<Moment>,
    /// Frames of others since our link came up.
    heard: Option<Span>,
    up: Moment,
    passes: u32,
    discovers: Option<Moment>,
    /// The last sign of starting of some hardware.
    stirs: BTreeMap<Mac, Moment>,
    /// While only watching: when each device was last asked.
    asked: BTreeMap<String, Vec<(Option<Mac>, Moment)>>,
    now: Moment,
}

impl Witness {
    /// Whether nothing may be said.
    pub(super) fn blind(&self) -> bool {
        self.silent || self.station.as_ref().is_none_or(|s| s.state != LinkState::Up)
    }

    /// For how long all is seen that can be seen: since something came in.
    pub(super) fn sees_for(&self) -> Duration {
        let since = self.opened.filter(|_| !self.blind());
        since.map_or(Duration::ZERO, |at| self.now.since(at))
    }

    /// It is so late by now.
    pub(super) const fn is(&mut self, now: Moment) {
        self.now = now;
    }

    fn begins(&mut self, at: Moment) {
        self.epoch = at;
        self.opened = None;
        self.claims.clear();
        self.sent.clear();
        self.ports.clear();
        self.passes = 0;
    }

    pub(super) fn saw(&mut self, sighting: &Sighting) {
        let at = sighting.at;
        assert!(at >= self.now);
        self.now = at;
        match &sighting.fact {
            Fact::Station(new) => self.is_at(at, new),
            Fact::ListenOnly(on) => {
                if self.silent && !on {
                    self.begins(at);
                }
                self.silent = *on;
            }
            Fact::WatchOnly(on) => {
                self.watch = *on;
                self.asked.clear();
            }
            Fact::Gap(_) => self.begins(at),
            Fact::Sent {
                address,
                what: SilentTo::Arp(form),
            } => {
                assert!(!self.blind(), "sent while blind");
                self.sent.entry(*address).or_default().push((at, *form));
            }
            Fact::PassDone { .. } => self.passes += 1,
            Fact::DhcpAsked { .. } => {
                self.discovers.get_or_insert(at);
            }
            Fact::Control {
                address, port, state, ..
            } => {
                self.ports.insert((*address, *port), *state);
            }
            Fact::Arp(seen) => {
                self.comes_in(at);
                if seen.frame_source == seen.sender && seen.sender.is_host() {
                    if seen.answers.is_none() {
                        self.stirs.insert(seen.sender, at);
                    }
                    if !seen.address.is_unspecified() {
                        self.claim(at, seen.address, seen.sender);
                    }
                    if matches!(seen.answers, Some((ArpForm::Nobody, _))) {
                        self.nobody.insert((seen.address, seen.sender));
                    }
                }
            }
            Fact::Echo {
                address,
                mac: Some(mac),
                ..
            } => {
                self.comes_in(at);
                self.claim(at, *address, *mac);
            }
            Fact::Wakes { mac, .. } => {
                self.comes_in(at);
                self.stirs.insert(*mac, at);
            }
            Fact::DhcpOffer(_) => self.comes_in(at),
            _ => {}
        }
    }

    fn is_at(&mut self, at: Moment, new: &Station) {
        let was_up = self.station.as_ref().is_some_and(|s| s.state == LinkState::Up);
        let up = new.state == LinkState::Up;
        let same = self
            .station
            .as_ref()
            .is_some_and(|s| s.addresses == new.addresses && s.mac == new.mac);
        if up && !was_up {
            self.up = at;
            self.heard = None;
            self.discovers = None;
        }
        if up && (!was_up || !same) {
            self.begins(at);
        }
        self.station = Some(new.clone());
    }

    fn comes_in(&mut self, at: Moment) {
        self.opened.get_or_insert(at);
        let first = self.heard.map_or(at, |h| h.first);
        self.heard = Some(Span { first, last: at });
    }

    fn claim(&mut self, at: Moment, address: Ipv4Addr, mac: Mac) {
        self.ever.insert((address, mac));
        let span = self
            .claims
            .entry((address, mac))
            .or_insert(Span { first: at, last: at });
        span.last = at;
    }

    /// The ledger wants this asked.
    pub(super) fn wanted(&mut self, now: Moment, ask: &Ask, rig: &Rig) {
        assert!(!self.blind(), "{ask:?} wanted while blind");
        if !self.watch {
            return;
        }
        // Several who were heard at one address are several devices, and more is asked to tell who they are.
        let several = |a: &Ipv4Addr| self.ever.iter().filter(|(at, _)| at == a).count() > 1;
        let (address, to) = match ask {
            Ask::Arp { address, form, .. } => match form {
                ArpForm::Unicast(mac) => (address, Some(*mac)),
                ArpForm::Broadcast => (address, None),
                ArpForm::Nobody => {
                    assert!(several(address), "{ask:?} while only watching");
                    (address, None)
                }
            },
            Ask::Echo { address, mac, .. } if mac.is_some() && several(address) => (address, *mac),
            _ => panic!("{ask:?} while only watching"),
        };
        let several = several(address);
        let whose = rig.devices.iter().filter(|d| {
            d.fixed_address() == Some(*address)
                || !d.macs.is_empty()
                    && rig.devices.iter().all(|o| o.fixed_address() != Some(*address))
                    && d.macs.iter().any(|m| self.ever.contains(&(*address, *m)))
        });
        let whose: Vec<&Device> = whose.collect();
        assert!(!whose.is_empty(), "{ask:?} is about no device");
        // Where two were heard, it may be about either.
        if let [device] = whose[..] {
            let soon = |at: &Moment| now.since(*at) + STEP < Duration::from_secs(1);
            let name = &device.name;
            let last = self.asked.entry(name.clone()).or_default();
            last.retain(|(_, at)| soon(at));
            let other = |(m, _): &(Option<Mac>, Moment)| several && m.is_some() && to.is_some() && *m != to;
            assert!(
                last.iter().all(other),
                "{name}: {ask:?} at {now:?}, too soon after {last:?}"
            );
            last.push((to, now));
        }
    }

    /// When the hardware of a device last said to hold an address of this kind.
    fn own(&self, device: &Device, fits: impl Fn(Ipv4Addr) -> bool) -> Option<Span> {
        let own = |mac: &Mac| device.macs.is_empty() || device.macs.contains(mac);
        let claims = self.claims.iter().filter(|((a, m), _)| own(m) && fits(*a));
        claims.map(|(_, span)| *span).max_by_key(|s| s.last)
    }

    /// How many questions about `address` are over since `from`, and when the first of them left.
    fn questions(&self, address: Ipv4Addr, from: Moment) -> (usize, usize, Option<Moment>) {
        let all = self.sent.get(&address).map(Vec::as_slice).unwrap_or_default();
        let over = all
            .iter()
            .filter(|(at, _)| *at >= from && *at + PATIENCE <= self.now);
        let wide = over
            .clone()
            .filter(|(_, form)| !matches!(form, ArpForm::Unicast(_)))
            .count();
        (over.clone().count(), wide, over.map(|(at, _)| *at).next())
    }

    /// Whether our own port vouches for a silence since `from`.
    fn vouched(&self, from: Moment) -> bool {
        match self.heard {
            Some(span) => span.last >= from || self.now >= span.last + LATE,
            None => self.now >= self.up + HELD,
        }
    }

    /// Whether `address` was asked in vain: at least as often as mere loss of one in a hundred allows
    /// (docs/detector.md), or three times 10 s apart where it can only be asked in nobody's name.
    fn in_vain(&self, device: &Device, address: Ipv4Addr) -> Result<(), String> {
        let near = self
            .station
            .iter()
            .flat_map(|s| &s.addresses)
            .any(|n| n.contains(&address));
        let from = self.own(device, |a| a == address).map_or(self.epoch, |s| s.last);
        let (all, wide, first) = self.questions(address, from);
        let need = if near { 4 } else { 3 };
        let long = first.is_some_and(|f| self.now.since(f) >= Duration::from_secs(1));
        if all < need || wide == 0 || !long {
            return Err(format!(
                "{all} questions about {address} since {from:?}, {wide} of them to all"
            ));
        }
        if !self.vouched(from) {
            return Err(format!("nothing came in since {from:?}: {:?}", self.heard));
        }
        Ok(())
    }

    /// Whether the ledger may say that `device` stands so, which it did not say before.
    pub(super) fn may_say(&self, rig: &Rig, device: &Device, standing: Standing) -> Result<(), String> {
        if standing == Standing::Unknown {
            return Ok(());
        }
        if self.blind() {
            return Err("said while blind".to_owned());
        }
        let fixed = device.fixed_address();
        let inside = |a: Ipv4Addr| rig.network.subnet.contains(&a);
        let here = |a: Ipv4Addr| fixed.map_or_else(|| inside(a), |f| f == a);
        let seen = self.own(device, here);
        let heard = |what: bool, why: &str| if what { Ok(()) } else { Err(why.to_owned()) };
        match standing {
            Standing::Unknown => Ok(()),
            Standing::Present => heard(seen.is_some(), "it was not heard at its address"),
            Standing::NoControl => {
                let fails = |p: &ControlPort| {
                    let told = |a: Ipv4Addr| {
                        self.ports
                            .get(&(a, *p))
                            .is_some_and(|s| *s != ControlState::Answered)
                    };
                    self.claims.keys().map(|(a, _)| *a).filter(|a| here(*a)).any(told)
                };
                heard(seen.is_some(), "it was not heard at its address")?;
                heard(
                    device.control.iter().any(fails),
                    "no control port refused or kept silent",
                )
            }
            Standing::Starting => {
                let mine = |m: &&Mac| device.macs.contains(m) || device.macs.is_empty();
                let stirred = self
                    .stirs
                    .iter()
                    .filter(|(m, _)| mine(m))
                    .map(|(_, at)| *at)
                    .max();
                let fresh = stirred.is_some_and(|at| self.now.since(at) <= BOOT);
                let any = self.own(device, |_| true).is_some();
                heard(fresh || any, "nothing was heard of it")
            }
            Standing::Missing => {
                let by_dhcp = || {
                    let own = |(a, m): &&(Ipv4Addr, Mac)| here(*a) && device.macs.contains(m);
                    let mut at = self.claims.keys().filter(own).map(|(a, _)| *a);
                    let lost = at.any(|a| self.in_vain(device, a).is_ok());
                    let last = seen.map_or(self.epoch, |s| s.last);
                    let passed = self.passes > 0 && self.vouched(last);
                    heard(lost || passed, "no pass and no question was in vain")
                };
                fixed.map_or_else(by_dhcp, |address| self.in_vain(device, address))
            }
            Standing::Moved | Standing::WrongSubnet => {
                let near = standing == Standing::Moved;
                let away = self.own(device, |a| inside(a) == near && Some(a) != fixed);
                heard(
                    away.is_some() && !device.macs.is_empty(),
                    "its hardware was heard nowhere else",
                )?;
                match fixed {
                    Some(address) => heard(
                        self.questions(address, self.epoch).1 > 0,
                        "its address was not asked for",
                    ),
                    None => Ok(()),
                }
            }
            Standing::Replaced => {
                let other = |(a, m): &&(Ipv4Addr, Mac)| Some(*a) == fixed && !device.macs.contains(m);
                heard(!device.macs.is_empty(), "its hardware is not known")?;
                heard(
                    self.claims.keys().any(|k| other(&k)),
                    "no other hardware was heard at its address",
                )?;
                heard(
                    fixed.is_some_and(|a| self.questions(a, self.epoch).1 > 0),
                    "its address was not asked for",
                )
            }
            Standing::Conflict => {
                let at = |a: &Ipv4Addr| here(*a);
                let mut addresses: Vec<Ipv4Addr> = self.claims.keys().map(|(a, _)| *a).filter(at).collect();
                addresses.dedup();
                let parties = |address: Ipv4Addr| {
                    let (own, other): (Vec<Mac>, Vec<Mac>) = self
                        .claims
                        .keys()
                        .filter(|(a, _)| *a == address)
                        .map(|(_, m)| *m)
                        .partition(|m| device.macs.contains(m));
                    other.len() + usize::from(!own.is_empty())
                };
                heard(
                    addresses.into_iter().any(|a| parties(a) >= 2),
                    "only one was heard at its address",
                )
            }
        }
    }

    /// Whether its own hardware was heard at its own address at this very moment, so that it is not missing.
    pub(super) fn speaks_now(&self, device: &Device) -> bool {
        let at = |a| device.fixed_address() == Some(a);
        !device.macs.is_empty() && self.own(device, at).is_some_and(|s| s.last == self.now)
    }

    /// Whether the rig may be called ready.
    pub(super) fn may_be_ready(&self, rig: &Rig) -> Result<(), String> {
        if self.blind() {
            return Err("ready while blind".to_owned());
        }
        for device in &rig.devices {
            let Some(address) = device.fixed_address() else {
                let from = self.discovers.map_or(self.epoch, |at| at.max(self.epoch));
                if self.now < from + Duration::from_secs(5) {
                    return Err(format!(
                        "offers are to be waited for: {:?} {:?} {:?}",
                        self.discovers, self.epoch, self.now
                    ));
                }
                continue;
            };
            let twice = self.sent.get(&address).and_then(|all| {
                all.iter()
                    .filter(|(_, f)| !matches!(f, ArpForm::Unicast(_)))
                    .nth(1)
            });
            if twice.is_none_or(|(at, _)| self.now < *at + Duration::from_millis(250)) {
                return Err(format!(
                    "{address} was not asked for twice: {:?}",
                    self.sent.get(&address)
                ));
            }
            if device.macs.is_empty() && !self.nobody.iter().any(|(a, _)| *a == address) {
                return Err(format!("{} did not answer in nobody's name", device.name));
            }
        }
        Ok(())
    }
}

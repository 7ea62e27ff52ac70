//! A claim was heard: it goes into the records, and what it concerns is looked at again.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{Mac, Moment};

use crate::Proof;
use crate::asking::lanes::Key;
use crate::asking::target::{Kind, Target};
use crate::hosts::claim::HostId;
use crate::ledger::{Ledger, Timer};

/// Addresses beside the expected one that one device's hardware is asked for at.
const MAX_FLOATING: usize = 4;
/// Questions under way that only confirm what was heard.
const MAX_CONFIRMING: usize = 64;
/// What a claim makes of the findings that are no device's is looked at after this long, so that
/// a flood of claims costs little.
pub(crate) const CALM: Duration = Duration::from_millis(250);

impl Ledger {
    /// `id` was heard to hold `address`.
    pub(crate) fn claimed(
        &mut self,
        at: Moment,
        id: HostId,
        address: Ipv4Addr,
        proof: Proof,
        rtt: Option<Duration>,
    ) {
        let nonsense = address.is_unspecified()
            || address.is_multicast()
            || address.is_broadcast()
            || address.is_loopback();
        if nonsense {
            return;
        }
        let heard = self.hosts.claim(id, address, at, proof, rtt);
        if proof == Proof::Announced {
            let others = self.hosts.doubt_others(id, address, at, self.subnet());
            self.replan.extend(others);
        }
        let device = id.mac().and_then(|m| self.by_mac.get(&m)).copied();
        let contested = self.hosts.holders(address).nth(1).is_some();
        let target = self.targets.get(&address);
        let claim = self.hosts.get(id).and_then(|h| h.claim(address));
        let owner = claim.is_some_and(|c| !c.proxied());
        let asked_in_vain = target.is_none_or(|t| t.unanswered || t.misses.any());
        let news = heard.news || contested || !owner || asked_in_vain;
        let target = target.map(|t| t.kind);
        self.pulse(device, address, heard.lost, rtt);
        if let Some(i) = device {
            self.tracks[i].last_heard = Some(at);
            if self.tracks[i].evidence.unheard && heard.lost > 0 {
                self.tracks[i].forget_unheard();
            }
            // What still stands as it stood leads to no other verdict.
            if news || self.tracks[i].appeared.is_some() || self.tracks[i].evidence.unheard {
                self.touched.insert(i);
            }
            if owner {
                self.float(i, address, at);
            }
        }
        let expected = self.by_address.get(&address).copied();
        if let Some(i) = expected {
            if self.tracks[i].device.macs.is_empty() || id.mac().is_none() {
                self.tracks[i].last_heard = Some(at);
                if self.tracks[i].evidence.unheard && heard.lost > 0 {
                    self.tracks[i].forget_unheard();
                }
            }
            if news || self.tracks[i].appeared.is_some() || self.tracks[i].evidence.unheard {
                self.touched.insert(i);
            }
        }
        if let Some(kind) = target {
            let accepted = self
                .hosts
                .get(id)
                .and_then(|h| h.claim(address))
                .is_some_and(|c| self.accepts(kind, id, c));
            if accepted {
                self.targets.change(&address, |target| {
                    self.wire_dirty |= target.unanswered;
                    target.heard();
                });
            }
        }
        self.soft = true;
        if heard.news {
            self.revision += 1;
            self.ready_dirty = true;
            self.replan.insert(address);
            self.survey_ports(id, address);
            self.call_answered(address);
            if device.is_none() {
                self.look_who(at);
            }
            self.search_around(address);
            if target.is_none() && device.is_none() && matches!(proof, Proof::Asked | Proof::Announced) {
                self.confirm(address, at);
            }
        }
        if contested && heard.news {
            // Before anything is made of it.
            self.plan_contest(address, at);
        } else if contested && proof == Proof::Announced {
            self.announces_again(id, address, at);
        }
        if contested && target.is_none() && heard.news && self.sees_frames() && self.blind().is_none() {
            // Which of them are owners only a probe tells.
            self.confirm_by(Key::Nobody(address), at);
        }
        if contested && self.timers.get(Timer::Calm).is_none() {
            self.timers.set(Timer::Calm, Some(at + CALM));
        }
    }

    /// What came of questions about a device: `lost` of them, and one answered after `rtt`.
    fn pulse(&mut self, device: Option<usize>, address: Ipv4Addr, lost: u8, rtt: Option<Duration>) {
        let nameless = |i: &usize| self.tracks[*i].device.macs.is_empty();
        let whose = device.or_else(|| self.by_address.get(&address).copied().filter(nameless));
        let Some(i) = whose else { return };
        for _ in 0..lost {
            self.tracks[i].pulse.loss.lost();
            self.wire_loss.lost();
        }
        if let Some(rtt) = rtt {
            self.tracks[i].pulse.answered(rtt);
            self.wire_loss.answered();
        }
    }

    /// One question to confirm what was only overheard.
    pub(crate) fn confirm(&mut self, address: Ipv4Addr, at: Moment) {
        if self.blind().is_some() || self.passes.covers(address) {
            return;
        }
        if self.near(address) {
            self.confirm_by(Key::Broadcast(address), at);
        } else if self.sees_frames() {
            self.confirm_by(Key::Nobody(address), at);
        }
    }

    pub(crate) fn confirm_by(&mut self, key: Key, at: Moment) {
        if self.confirming.len() < MAX_CONFIRMING && self.confirming.insert(key) {
            self.lanes.want(key, Some(at));
        }
    }

    /// Hardware of device `i` holds `address`: where that is not the expected one, it is asked for
    /// there as well.
    pub(crate) fn float(&mut self, i: usize, address: Ipv4Addr, at: Moment) {
        if self.targets.contains_key(&address) || self.blind().is_some() {
            return;
        }
        let track = &mut self.tracks[i];
        if track.floating.len() >= MAX_FLOATING {
            let old = track.floating.iter().copied().min_by_key(|a| {
                let of = |m: &Mac| self.hosts.get(HostId::Mac(*m)).and_then(|h| h.claim(*a));
                track
                    .device
                    .macs
                    .iter()
                    .filter_map(of)
                    .map(|c| (c.alive(), c.last))
                    .max()
            });
            if let Some(old) = old {
                track.floating.retain(|a| *a != old);
                self.drop_target(old);
            }
        }
        self.tracks[i].floating.push(address);
        self.targets.insert(Target::new(address, Kind::Floating(i), at));
        self.replan.insert(address);
    }

    pub(crate) fn drop_target(&mut self, address: Ipv4Addr) {
        self.targets.remove(&address);
        self.timers.set(Timer::Round(address), None);
        self.timers.set(Timer::Doubt(address), None);
        self.replan.insert(address);
        let macs: Vec<Mac> = self.lanes.unicasts(address).collect();
        for mac in macs {
            self.lanes.remove(Key::Unicast(address, mac));
        }
        for key in [Key::Broadcast(address), Key::Nobody(address), Key::Echo(address)] {
            self.lanes.remove(key);
        }
    }
}

//! Taking a rig file that was changed while the head count goes on: what was heard stays known.

use std::collections::BTreeMap;
use std::net::Ipv4Addr;

use rig::{Reach, Rig};
use vocab::{Mac, Moment};

use crate::asking::lanes::Key;
use crate::asking::target::{Kind, Target};
use crate::hosts::claim::HostId;
use crate::judging::track::Track;
use crate::ledger::{Ledger, Timer};
use crate::shelf::Shelf;

/// Addresses of other networks' devices that are asked for, at most.
const MAX_NEXT_DOOR: usize = 256;

/// The counted devices of a rig, and by what they are known.
pub(crate) struct Listed {
    /// In file order.
    pub(crate) tracks: Vec<Track>,
    pub(crate) by_mac: Shelf<Mac, usize>,
    pub(crate) by_address: Shelf<Ipv4Addr, usize>,
}

impl Listed {
    /// The devices of `rig`, of which nothing is known at `now`.
    pub(crate) fn of(rig: Option<&Rig>, now: Moment) -> Self {
        let devices = rig.into_iter().flat_map(rig::Rig::counted);
        let channels = channels(rig);
        let tracks: Vec<Track> = devices
            .map(|d| {
                let its = channels.get(d.name.as_str()).cloned();
                Track::new(d.clone(), its.unwrap_or_default(), now)
            })
            .collect();
        let devices = || tracks.iter().map(|track| &track.device).enumerate();
        let by_mac = devices().flat_map(|(i, d)| d.macs.iter().map(move |m| (*m, i)));
        let by_address = devices().filter_map(|(i, d)| Some((d.fixed_address()?, i)));
        Self {
            by_mac: by_mac.collect(),
            by_address: by_address.collect(),
            tracks,
        }
    }
}

/// The channels that point at each device by its name: panel and number, in the order of the file.
fn channels(rig: Option<&Rig>) -> BTreeMap<&str, Vec<(String, u32)>> {
    let mut all: BTreeMap<&str, Vec<(String, u32)>> = BTreeMap::new();
    for panel in rig.into_iter().flat_map(|rig| &rig.devices) {
        for (number, channel) in &panel.channels {
            let of = all.entry(&channel.device).or_default();
            of.push((panel.name.clone(), *number));
        }
    }
    all
}

/// Where devices of the rig's other networks should be, as far as those are asked over a wire.
pub(crate) fn next_door(rig: Option<&Rig>) -> impl Iterator<Item = Ipv4Addr> {
    rig.into_iter()
        .flat_map(|rig| rig.others.iter().map(move |other| (rig, other)))
        .filter(|(_, other)| other.reach == Reach::Wire)
        .flat_map(|(rig, other)| rig.devices.iter().filter(move |d| d.network == other.name))
        .filter_map(rig::Device::fixed_address)
        .take(MAX_NEXT_DOOR)
}

impl Ledger {
    /// Goes on with a rig file that was changed. Devices that read as before stand as before; what
    /// was heard is judged anew for the others. The pace stays what it is. Where the network itself
    /// was changed, all is asked again.
    pub fn take_rig(&mut self, mut rig: Rig, now: Moment) {
        let mut same = false;
        if let Some(old) = &self.settings.rig {
            rig.network.pace = old.network.pace;
            same = old.network == rig.network;
        }
        let listed = Listed::of(Some(&rig), now);
        self.sought = self
            .factory
            .iter()
            .copied()
            .chain(next_door(Some(&rig)))
            .collect();
        self.settings.rig = Some(rig);
        self.by_mac = listed.by_mac;
        self.by_address = listed.by_address;
        let old = std::mem::replace(&mut self.tracks, listed.tracks);
        let names: Vec<String> = old.iter().map(|t| t.device.name.clone()).collect();
        let kept = self.keep_tracks(old);
        let place = |i: usize| names.get(i).and_then(|name| kept.get(name)).copied();
        self.outages.renumber(place);
        self.hosts.list(self.by_mac.keys().copied().collect());
        self.calls.clear();
        if self.blind().is_none() {
            if same {
                self.keep_targets(&names, &kept, now);
            } else {
                self.learn(now);
            }
        }
        self.touched = (0..self.tracks.len()).collect();
        self.replan.extend(self.targets.keys());
        self.wire_dirty = true;
        self.ready_dirty = true;
        self.revision += 1;
        self.look_who(now);
        if self.blind().is_none() {
            // Hardware that is listed only now was never looked for.
            self.plan_leases(now);
        }
        self.settle(now);
    }

    /// Puts what is remembered of unchanged devices in its new place; returns those places by name.
    fn keep_tracks(&mut self, old: Vec<Track>) -> BTreeMap<String, usize> {
        let mut kept = BTreeMap::new();
        let places = self.tracks.iter().enumerate().rev();
        let places: BTreeMap<String, usize> = places.map(|(at, t)| (t.device.name.clone(), at)).collect();
        for (i, was) in old.into_iter().enumerate() {
            self.timers.set(Timer::Device(i), None);
            let place = places.get(&was.device.name).copied();
            let new = place.and_then(|at| self.tracks.get_mut(at));
            match (place, new) {
                (Some(at), Some(new)) if new.device == was.device => {
                    kept.insert(was.device.name.clone(), at);
                    let channels = std::mem::take(&mut new.channels);
                    *new = Track { channels, ..was };
                }
                (_, new) => {
                    if let Some((address, id)) = was.port_lanes {
                        for port in &was.ports {
                            self.lanes.remove(Key::Port(address, id.mac(), port.which));
                        }
                    }
                    if let Some(new) = new {
                        // What was put on record of it need not be said twice.
                        new.said = was.said;
                        new.starts.usual = was.starts.usual;
                    }
                }
            }
        }
        kept
    }

    /// Gives the addresses that matter their new reasons, and takes in those that matter now.
    fn keep_targets(&mut self, names: &[String], kept: &BTreeMap<String, usize>, now: Moment) {
        for mut target in self.targets.take_all() {
            let address = target.address;
            let kind = match target.kind {
                Kind::Own => Some(Kind::Own),
                Kind::Gateway => Some(Kind::Gateway).filter(|_| self.gateway() == Some(address)),
                Kind::Rig(_) => self.by_address.get(&address).map(|i| Kind::Rig(*i)),
                Kind::Floating(i) => names
                    .get(i)
                    .and_then(|name| kept.get(name))
                    .filter(|_| !self.by_address.contains_key(&address))
                    .map(|j| Kind::Floating(*j)),
            };
            match kind {
                Some(kind) => {
                    target.kind = kind;
                    self.targets.insert(target);
                }
                None => self.drop_target(address),
            }
        }
        for (address, i) in self.by_address.iter() {
            if !self.targets.contains_key(address) {
                self.targets.insert(Target::new(*address, Kind::Rig(*i), now));
            }
        }
        self.hosts.pin(self.targets.keys().copied().collect());
        // Hardware that is listed only now may have been heard long ago.
        let heard: Vec<(usize, Ipv4Addr)> = self
            .by_mac
            .iter()
            .filter_map(|(mac, i)| Some((*i, self.hosts.get(HostId::Mac(*mac))?)))
            .flat_map(|(i, host)| host.claims.iter().map(move |c| (i, c)))
            .filter(|(_, c)| c.alive() && !c.proxied())
            .map(|(i, c)| (i, c.address))
            .collect();
        for (i, address) in heard {
            self.float(i, address, now);
        }
    }
}

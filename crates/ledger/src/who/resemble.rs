//! Which stranger is which missing device: who is weighed, who is asked for more, and what is told.

use std::collections::{BTreeMap, BTreeSet};
use std::net::Ipv4Addr;
use std::time::Duration;

use rig::AskWhen;
use vocab::{ControlPort, Mac, Moment, Text};

use crate::asking::lanes::Key;
use crate::hosts::Host;
use crate::hosts::claim::HostId;
use crate::judging::track::Track;
use crate::ledger::{Ledger, Timer};
use crate::who::assign::assign;
use crate::who::likeness::{Likeness, Stranger, TELL, Wanted, weigh};
use crate::{Likely, Standing};

/// So long after news all is weighed anew, so that many news cost little.
const SOON: Duration = Duration::from_millis(500);
/// Missing devices that are weighed, the first of the file.
const MAX_MISSING: usize = 64;
/// Strangers that are weighed, those that were heard first.
const MAX_STRANGERS: usize = 512;
/// Strangers among whom one assignment is sought.
const MAX_LIKELY: usize = 128;
/// Strangers whose ports are asked, and how many ports of each.
const MAX_ASKED: usize = 16;
const MAX_PORTS: usize = 4;
/// Who is heard within this time of a device's last word may be what became of it: long enough for
/// a unit to be swapped or reset and to start.
const AFTER: Duration = Duration::from_mins(10);

impl Ledger {
    /// Something is new that may tell who is who.
    pub(crate) fn look_who(&mut self, at: Moment) {
        let busy = |t: &Track| t.likely.is_some() || missing(t);
        if self.tracks.iter().any(busy) && self.timers.get(Timer::Who).is_none() {
            self.timers.set(Timer::Who, Some(at + SOON));
        }
    }

    /// Weighs every stranger against every missing device, asks where more can be known, and keeps
    /// the one best assignment.
    pub(crate) fn match_up(&mut self, now: Moment) {
        let missing: Vec<usize> = (0..self.tracks.len())
            .filter(|i| missing(&self.tracks[*i]))
            .take(MAX_MISSING)
            .collect();
        let strangers = if missing.is_empty() {
            Vec::new()
        } else {
            self.strangers()
        };
        self.ask_strangers(&missing, &strangers, now);
        let wanted: Vec<Wanted> = missing.iter().map(|i| self.wanted(*i)).collect();
        let mut rows: Vec<(HostId, Vec<Likeness>)> = strangers
            .iter()
            .filter_map(|id| {
                let host = self.hosts.get(*id)?;
                let traits = self.stranger(host);
                let all: Vec<Likeness> = missing
                    .iter()
                    .zip(&wanted)
                    .map(|(i, w)| weigh(w, &traits, self.appeared(*i, host)))
                    .collect();
                all.iter().any(|l| l.points >= TELL).then_some((*id, all))
            })
            .collect();
        rows.sort_by_key(|(id, all)| (std::cmp::Reverse(all.iter().map(|l| l.points).max()), *id));
        rows.truncate(MAX_LIKELY);
        let points: Vec<Vec<u32>> = (0..missing.len())
            .map(|d| rows.iter().map(|(_, all)| told(all[d].points)).collect())
            .collect();
        let mut found = BTreeMap::new();
        for (d, row) in assign(&points).into_iter().enumerate() {
            if let Some((id, all)) = row.and_then(|r| rows.get(r))
                && let Some(likely) = self.likely(*id, &all[d])
            {
                found.insert(missing[d], likely);
            }
        }
        self.tell_who(found);
    }

    /// Keeps what was found, and has the devices judged again of which something else is told now.
    fn tell_who(&mut self, mut found: BTreeMap<usize, Likely>) {
        for (i, track) in self.tracks.iter_mut().enumerate() {
            let likely = found.remove(&i);
            if likely != track.likely {
                // Of whom it is known where it may be, a common outage does not tell.
                self.wire_dirty |= likely.is_some() != track.likely.is_some();
                let places = [&likely, &track.likely].map(|l| l.as_ref().and_then(|l| l.address));
                self.replan.extend(places.into_iter().flatten());
                track.likely = likely;
                track.retell = true;
                self.touched.insert(i);
            }
        }
    }

    fn likely(&self, id: HostId, likeness: &Likeness) -> Option<Likely> {
        Some(Likely {
            mac: id.mac()?,
            address: self.hosts.get(id).and_then(place),
            score: f64::from(likeness.points) / 100.0,
            because: likeness.because.clone(),
        })
    }

    /// Who is on the wire and no device accounts for, those first that were heard first.
    fn strangers(&self) -> Vec<HostId> {
        let taken: BTreeSet<HostId> = self.tracks.iter().filter_map(|t| t.who).collect();
        let mut all: Vec<&Host> = self
            .hosts
            .iter()
            .filter(|h| {
                let mac = h.id.mac();
                mac.is_some_and(|m| !self.by_mac.contains_key(&m))
                    && Some(h.id) != self.me()
                    && !taken.contains(&h.id)
                    && !h.proxy
                    && !h.id.is_virtual_router()
                    && living(h).next().is_some()
                    && living(h).all(|a| !self.spoken_for(a))
            })
            .collect();
        all.sort_by_key(|h| (h.first, h.id));
        all.iter().take(MAX_STRANGERS).map(|h| h.id).collect()
    }

    /// Whether who holds `address` is told of otherwise.
    fn spoken_for(&self, address: Ipv4Addr) -> bool {
        self.by_address.contains_key(&address) || self.gateway() == Some(address) || self.is_ours(address)
    }

    fn wanted(&self, i: usize) -> Wanted {
        let device = &self.tracks[i].device;
        let makers = |macs: &[Mac]| -> Vec<Text> {
            macs.iter()
                .filter_map(|m| self.settings.vendors.maker(*m))
                .collect()
        };
        let same_role = self
            .tracks
            .iter()
            .filter(|t| t.device.role == device.role && t.device.name != device.name);
        Wanted {
            name: device.name.clone(),
            role: Some(device.role),
            control: device.control.clone(),
            makers: makers(&device.macs),
            role_makers: same_role.flat_map(|t| makers(&t.device.macs)).collect(),
        }
    }

    fn stranger(&self, host: &Host) -> Stranger {
        let inside = living(host).any(|a| self.in_subnet(a));
        Stranger {
            maker: host.id.mac().and_then(|m| self.settings.vendors.maker(m)),
            names: host
                .names
                .iter()
                .filter(|n| n.source.is_who())
                .map(|n| n.text.clone())
                .collect(),
            control: host
                .ports
                .iter()
                .filter_map(|(port, state)| state.map(|s| (*port, s)))
                .collect(),
            announced: host.serves.iter().copied().collect(),
            video: host.video,
            foreign: living(host).next().filter(|_| !inside),
            factory: living(host).find(|a| self.factory.contains(a)),
        }
    }

    /// Whether `host` was first heard soon after device `i` was last heard.
    fn appeared(&self, i: usize, host: &Host) -> bool {
        self.tracks[i]
            .last_heard
            .is_some_and(|last| host.first > last && host.first.since(last) <= AFTER)
    }

    /// Asks the ports that missing devices should have of strangers that could be one: hardware of a
    /// maker that the rig has, at a factory or foreign address, or that announces pictures or sound
    /// (the contract of asking). Each is asked once.
    fn ask_strangers(&mut self, missing: &[usize], strangers: &[HostId], now: Moment) {
        let purpose = self.settings.purpose;
        if self.blind().is_some() || purpose.surveys() || purpose.leaves_no_neighbour() {
            return;
        }
        let ports: BTreeSet<ControlPort> = missing
            .iter()
            .map(|i| &self.tracks[*i].device)
            .filter(|d| d.ask != AskWhen::Never)
            .flat_map(|d| d.control.iter().copied())
            .collect();
        if ports.is_empty() {
            return;
        }
        let ours: BTreeSet<Text> = self
            .by_mac
            .keys()
            .filter_map(|m| self.settings.vendors.maker(*m))
            .collect();
        let mut asked = 0;
        for id in strangers {
            let Some(host) = self.hosts.get(*id) else { continue };
            let made_alike = || {
                let maker = id.mac().and_then(|m| self.settings.vendors.maker(m));
                maker.is_some_and(|m| ours.contains(&m))
            };
            let could_be = host.video || living(host).any(|a| self.factory.contains(&a)) || made_alike();
            let free = |a: &Ipv4Addr| self.device_at(*a).is_none();
            let near = living(host).find(|a| self.near(*a) && free(a));
            let away = living(host).find(|a| self.is_away(*a) && free(a));
            let could_be = could_be || away.is_some();
            let (true, Some(address)) = (could_be, near.or(away)) else {
                continue;
            };
            asked += 1;
            if asked > MAX_ASKED {
                return;
            }
            for port in ports.iter().take(MAX_PORTS) {
                let key = Key::Port(address, id.mac(), *port);
                let told = host_told(self.hosts.get(*id), *port);
                if !told && !self.lanes.has(key) {
                    if let Some(host) = self.hosts.get_mut(*id) {
                        host.ports.entry(*port).or_insert(None);
                    }
                    self.lanes.want(key, Some(now));
                }
            }
        }
    }
}

fn missing(track: &Track) -> bool {
    track.standing == Standing::Missing
}

/// Only what may be told counts in the assignment.
const fn told(points: u32) -> u32 {
    if points >= TELL { points } else { 0 }
}

fn host_told(host: Option<&Host>, port: ControlPort) -> bool {
    host.is_some_and(|h| h.ports.get(&port).is_some_and(Option::is_some))
}

/// The addresses that `host` holds now.
fn living(host: &Host) -> impl Iterator<Item = Ipv4Addr> {
    host.claims
        .iter()
        .filter(|c| c.alive() && !c.proxied())
        .map(|c| c.address)
}

/// Where `host` is.
fn place(host: &Host) -> Option<Ipv4Addr> {
    living(host).next()
}

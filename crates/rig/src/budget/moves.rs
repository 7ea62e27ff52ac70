//! What to move where a switch has too little power, a port is too weak or an uplink too full.
//!
//! For each switch a smallest set of devices that must leave it, or its port, so that all fits; and for
//! each of them another port of the file that can take it, if there is one. Switches are gone through
//! from the lowest up, because what leaves a switch below may relieve those above.

use std::collections::{BTreeSet, HashMap};

use super::SwitchBudget;
use super::classes::milli;
use super::cover::fewest;
use super::ports::{PortTrouble, PortUse};
use super::power::PowerSums;
use super::streams::receives;
use super::wires::{Wires, powered};
use crate::{Device, Power, Rig, Switch, SwitchPort};

/// What to move off a switch.
#[derive(Debug, Clone, PartialEq)]
pub struct Moves {
    /// The devices.
    pub list: Vec<Move>,
    /// No smaller set is enough.
    pub smallest: bool,
}

/// A device to move.
#[derive(Debug, Clone, PartialEq)]
pub struct Move {
    /// Its name.
    pub device: String,
    /// Where it is plugged in.
    pub from: SwitchPort,
    /// A port of the file that is free and can take it; `None` if there is none.
    pub to: Option<SwitchPort>,
    /// What is set aside for it, in watts.
    pub watts: Option<f64>,
    /// What it streams, in Mb/s.
    pub mbps: Option<f64>,
}

/// Who must leave a switch, and how.
struct Leaving<'r> {
    device: &'r Device,
    /// Another port of the same switch would do.
    may_stay: bool,
    /// Something else is on its port too, which stays taken.
    shares: bool,
}

/// What is still free in the rig while devices are moved about.
struct Room<'r> {
    switches: &'r [Switch],
    places: HashMap<&'r str, usize>,
    /// The switches above each, itself first; empty in a ring.
    chains: Vec<Vec<usize>>,
    tops: Vec<Option<&'r str>>,
    free: Vec<BTreeSet<u32>>,
    /// In milliwatts; below zero where a switch is over.
    reserve: Vec<Option<i64>>,
    /// In kb/s: the streams from below each switch, and of each tree.
    up: Vec<u64>,
    all: HashMap<&'r str, u64>,
    /// How many receivers are below each.
    receivers: Vec<usize>,
}

/// The moves for each switch, in the order of the file.
pub(super) fn all<'r>(rig: &'r Rig, wires: &Wires<'r>, sums: &[SwitchBudget]) -> Vec<Option<Moves>> {
    let mut room = Room::of(rig, wires, sums);
    let mut order: Vec<usize> = (0..sums.len()).collect();
    order.sort_by_key(|i| (std::cmp::Reverse(room.chains[*i].len()), *i));
    let mut moves: Vec<Option<Moves>> = vec![None; sums.len()];
    for i in order {
        let (leaving, smallest) = leaving(i, wires, &sums[i], &room);
        let list: Vec<Move> = leaving.iter().filter_map(|l| room.take(i, l)).collect();
        if !list.is_empty() {
            moves[i] = Some(Moves { list, smallest });
        }
    }
    moves
}

/// Whether a port can never serve what is plugged into it.
fn misplaced(used: &PortUse) -> bool {
    used.troubles
        .iter()
        .any(|t| !matches!(t, PortTrouble::Shared { .. }))
}

/// The smallest set of devices that must leave switch `i` or their port, and whether it is proven so.
fn leaving<'r>(
    i: usize,
    wires: &Wires<'r>,
    sums: &SwitchBudget,
    room: &Room<'r>,
) -> (Vec<Leaving<'r>>, bool) {
    let name = &sums.name;
    let watts_over = sums.power.as_ref().and_then(PowerSums::over).map_or(0, milli);
    let mbps_over = room.up_over(i);
    let misplaced: BTreeSet<&str> = sums
        .uses
        .iter()
        .filter(|u| misplaced(u))
        .map(|u| u.name.as_str())
        .collect();
    let shares = |t: &PortTrouble| matches!(t, PortTrouble::Shared { .. });
    let shared = sums.uses.iter().filter(|u| u.troubles.iter().any(shares));
    let below = wires.below(name);
    let here = |d: &Device| d.port.as_ref().is_some_and(|p| p.switch == *name);
    let must = |d: &Device| {
        let takes_all = room.down_over(i) > 0 && receives(d.role);
        takes_all || (here(d) && misplaced.contains(d.name.as_str()))
    };
    // Only what is plugged into this very switch takes of its power.
    let brings = |d: &Device| {
        let (watts, mbps) = asks(d);
        (if here(d) { watts } else { 0 }, mbps)
    };
    let (first, mut rest): (Vec<&Device>, Vec<&Device>) = below.into_iter().partition(|d| must(d));
    let mut need = (watts_over, mbps_over);
    for device in &first {
        let (watts, mbps) = brings(device);
        need = (need.0.saturating_sub(watts), need.1.saturating_sub(mbps));
    }
    // Among equals: what the show needs least, then the port that is likely to be dropped first.
    rest.sort_by_key(|d| {
        let port = d.port.as_ref().map_or(0, |p| p.port);
        (std::cmp::Reverse(d.need as u8), !here(d), std::cmp::Reverse(port))
    });
    let things: Vec<(u64, u64)> = rest.iter().map(|d| brings(d)).collect();
    let cover = fewest(&things, need);
    let may_stay = watts_over == 0 && room.down_over(i) == 0;
    let shared: BTreeSet<&str> = shared.map(|u| u.name.as_str()).collect();
    let leaves = |device: &'r Device, may_stay| Leaving {
        device,
        may_stay,
        shares: shared.contains(device.name.as_str()),
    };
    let first = first.into_iter().map(|device| leaves(device, may_stay));
    let chosen = cover.chosen.into_iter().map(|place| leaves(rest[place], false));
    (first.chain(chosen).collect(), cover.smallest)
}

impl<'r> Room<'r> {
    fn of(rig: &'r Rig, wires: &Wires<'r>, sums: &[SwitchBudget]) -> Self {
        let places: HashMap<&str, usize> = rig
            .switches
            .iter()
            .enumerate()
            .map(|(i, s)| (s.name.as_str(), i))
            .collect();
        let chain = |switch: &'r Switch| {
            let chain = wires.chain(&switch.name).unwrap_or_default();
            chain
                .iter()
                .filter_map(|name| places.get(name).copied())
                .collect()
        };
        let mut room = Self {
            switches: &rig.switches,
            chains: rig.switches.iter().map(chain).collect(),
            tops: rig.switches.iter().map(|s| wires.top(&s.name)).collect(),
            free: sums.iter().map(|s| s.free.iter().copied().collect()).collect(),
            reserve: Vec::new(),
            up: vec![0; sums.len()],
            all: HashMap::new(),
            receivers: vec![0; sums.len()],
            places,
        };
        let left = |s: &SwitchBudget| {
            let power = s.power.as_ref()?;
            let (budget, asked) = (milli(power.budget?), milli(power.set_aside));
            Some(i64::try_from(budget).ok()? - i64::try_from(asked).ok()?)
        };
        room.reserve = sums.iter().map(left).collect();
        for (i, switch) in rig.switches.iter().enumerate() {
            let below = wires.below(&switch.name);
            room.up[i] = below.iter().filter_map(|d| d.stream_mbps).map(milli).sum();
            room.receivers[i] = below.iter().filter(|d| receives(d.role)).count();
            if let Some(top) = room.tops[i] {
                let all = || {
                    wires
                        .below(top)
                        .iter()
                        .filter_map(|d| d.stream_mbps)
                        .map(milli)
                        .sum()
                };
                room.all.entry(top).or_insert_with(all);
            }
        }
        room
    }

    fn capacity(&self, i: usize) -> Option<u64> {
        self.switches[i].uplink_mbps.map(milli)
    }

    fn up_over(&self, i: usize) -> u64 {
        let ring = self.tops[i].is_none();
        let capacity = self.capacity(i).filter(|_| !ring);
        capacity.map_or(0, |capacity| self.up[i].saturating_sub(capacity))
    }

    fn down_over(&self, i: usize) -> u64 {
        let Some((capacity, top)) = self.capacity(i).zip(self.tops[i]) else {
            return 0;
        };
        if self.receivers[i] == 0 {
            return 0;
        }
        let all = self.all.get(top).copied().unwrap_or(0);
        all.saturating_sub(self.up[i]).saturating_sub(capacity)
    }

    /// Takes a device off its switch, which is `i` or hangs on it, to a port that can have it.
    fn take(&mut self, i: usize, leaving: &Leaving<'r>) -> Option<Move> {
        let device = leaving.device;
        let from = device.port.as_ref()?;
        let at = *self.places.get(from.switch.as_str())?;
        // What is below the uplink that is too full does not help it.
        let streams = self.up_over(i) > 0 || self.down_over(i) > 0;
        let may = |j: &usize| (*j != at || leaving.may_stay) && !(streams && self.chains[*j].contains(&i));
        let mut places: Vec<usize> = (0..self.switches.len()).filter(may).collect();
        // Its own switch first; then the same tree, where nobody need look whether all is reached.
        places.sort_by_key(|j| (*j != at, self.tops[*j] != self.tops[at], *j));
        self.leave(at, device);
        let to = places
            .into_iter()
            .find_map(|j| Some((j, self.port_for(j, at, device)?)));
        if let Some((j, port)) = to {
            self.come(j, port, device);
        }
        if self.switches[at].ports.is_some_and(|last| from.port <= last) && !leaving.shares {
            self.free[at].insert(from.port);
        }
        Some(Move {
            device: device.name.clone(),
            from: from.clone(),
            to: to.map(|(j, port)| SwitchPort {
                switch: self.switches[j].name.clone(),
                port,
            }),
            watts: powered(device).map(Power::at_port),
            mbps: device.stream_mbps,
        })
    }

    /// A free port of switch `j` for a device that comes from switch `at`, if the port, the power and
    /// the uplinks on the way can take it: the weakest that will do.
    fn port_for(&self, j: usize, at: usize, device: &Device) -> Option<u32> {
        let (watts, mbps) = asks(device);
        for k in self.chains[j].iter().filter(|k| !self.chains[at].contains(k)) {
            let Some(capacity) = self.capacity(*k) else {
                continue;
            };
            let up = self.up[*k] + mbps;
            let all = self.tops[*k]
                .and_then(|top| self.all.get(top))
                .copied()
                .unwrap_or(0);
            let down = if self.receivers[*k] > 0 || receives(device.role) {
                all.saturating_sub(up)
            } else {
                0
            };
            if up > capacity || down > capacity {
                return None;
            }
        }
        let power = powered(device);
        let enough =
            self.reserve[j].is_some_and(|reserve| reserve >= i64::try_from(watts).unwrap_or(i64::MAX));
        if power.is_some_and(|p| p.beyond_all_classes() || !enough) {
            return None;
        }
        let serves = |port: u32| match power {
            None => true,
            Some(power) => self.switches[j]
                .poe_at(port)
                .is_some_and(|poe| poe.highest_class() >= power.class()),
        };
        let ports = self.free[j].iter().copied().filter(|port| serves(*port));
        ports.min_by_key(|port| (self.switches[j].poe_at(*port), *port))
    }

    fn leave(&mut self, at: usize, device: &Device) {
        let (watts, mbps) = asks(device);
        if let Some(reserve) = &mut self.reserve[at] {
            *reserve += i64::try_from(watts).unwrap_or(0);
        }
        for k in &self.chains[at] {
            self.up[*k] = self.up[*k].saturating_sub(mbps);
            self.receivers[*k] -= usize::from(receives(device.role));
        }
        if let Some(all) = self.tops[at].and_then(|top| self.all.get_mut(top)) {
            *all = all.saturating_sub(mbps);
        }
    }

    fn come(&mut self, j: usize, port: u32, device: &Device) {
        let (watts, mbps) = asks(device);
        self.free[j].remove(&port);
        if let Some(reserve) = &mut self.reserve[j] {
            *reserve -= i64::try_from(watts).unwrap_or(0);
        }
        for k in &self.chains[j] {
            self.up[*k] += mbps;
            self.receivers[*k] += usize::from(receives(device.role));
        }
        if let Some(all) = self.tops[j].and_then(|top| self.all.get_mut(top)) {
            *all += mbps;
        }
    }
}

/// What a device asks of a switch: milliwatts that are set aside, and kb/s.
fn asks(device: &Device) -> (u64, u64) {
    let watts = powered(device).map_or(0, |p| milli(p.at_port()));
    (watts, device.stream_mbps.map_or(0, milli))
}

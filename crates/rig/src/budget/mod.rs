//! What the rig file's switches are asked for: power, ports, cable lengths and streams.
//!
//! [`Rig::budget`] works it all out from the file; nothing here is measured. Power is summed twice,
//! because switches count either what a class sets aside or what is drawn. Streams are bounded: every
//! stream below an uplink is taken to go up through it, and every other one of the same tree of
//! switches to come down to a receiver below.

mod classes;
mod cover;
mod moves;
mod ports;
mod power;
mod streams;
mod wires;

use crate::{Rig, SwitchPort};

pub use moves::{Move, Moves};
pub use ports::{PortTrouble, PortUse, WeakPort};
pub use power::{OverBudget, PowerSums};
pub use streams::{Load, TIGHT, Uplink};

/// A cable from this length on leaves too little for patch cords, in metres: structured cabling counts
/// 90 m in the walls and 10 m of cords (from memory; the standards were not read).
pub const NO_CORDS_M: f64 = 90.0;

/// All that the switches and cables of a rig are asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Budget {
    /// One for each switch of the file, in its order.
    pub switches: Vec<SwitchBudget>,
    /// Cables that are too long, or nearly so, in file order.
    pub cables: Vec<Cable>,
    /// Names that stand in a `port` or an `uplink` of the file and are no switch of it, in order.
    pub unlisted: Vec<String>,
    /// Devices that draw power or send a stream and are plugged into no listed switch, so that no sum
    /// holds them, in file order.
    pub nowhere: Vec<String>,
}

/// One switch.
#[derive(Debug, Clone, PartialEq)]
pub struct SwitchBudget {
    /// Its name.
    pub name: String,
    /// How many powered ports it has.
    pub ports: Option<u32>,
    /// Those of them that nothing is plugged into, in order; empty where their number is not known.
    pub free: Vec<u32>,
    /// What is plugged into it, in the order of its ports.
    pub uses: Vec<PortUse>,
    /// Its power; `None` where nothing is powered and the file gives no budget.
    pub power: Option<PowerSums>,
    /// Its way up; `None` where the file knows of none.
    pub uplink: Option<Uplink>,
    /// What to move, where something does not fit.
    pub moves: Option<Moves>,
}

/// A cable that is too long, or nearly so.
#[derive(Debug, Clone, PartialEq)]
pub struct Cable {
    /// The device at its end.
    pub device: String,
    /// Where it comes from.
    pub port: Option<SwitchPort>,
    /// How long it is, in metres.
    pub metres: f64,
}

impl Cable {
    /// Whether it is longer than the 100 m that the standard allows, and not only nearly so.
    pub fn too_long(&self) -> bool {
        self.metres > classes::CHANNEL_M
    }
}

impl SwitchBudget {
    /// Its powered ports that something is plugged into.
    pub fn used(&self) -> usize {
        let mut used: Vec<u32> = self.uses.iter().map(|u| u.port).collect();
        used.retain(|port| self.ports.is_none_or(|ports| *port <= ports));
        used.sort_unstable();
        used.dedup();
        used.len()
    }

    /// Whether all fits.
    pub fn fits(&self) -> bool {
        self.uses.iter().all(|u| u.troubles.is_empty())
            && self.power.as_ref().is_none_or(|p| p.over().is_none())
            && self.uplink.as_ref().is_none_or(|u| u.load() != Load::Over)
    }
}

impl Budget {
    /// Whether all fits that the file lets us sum up.
    pub fn fits(&self) -> bool {
        self.switches.iter().all(SwitchBudget::fits) && !self.cables.iter().any(Cable::too_long)
    }
}

impl Rig {
    /// What its switches and cables are asked for.
    pub fn budget(&self) -> Budget {
        let wires = wires::Wires::of(self);
        let mut switches: Vec<SwitchBudget> = self
            .switches
            .iter()
            .map(|switch| {
                let uses = ports::uses(switch, &wires);
                SwitchBudget {
                    name: switch.name.clone(),
                    ports: switch.ports,
                    free: ports::free(switch, &uses),
                    power: power::sums(switch, &uses),
                    uplink: streams::uplink(switch, &wires),
                    uses,
                    moves: None,
                }
            })
            .collect();
        let moves = moves::all(self, &wires, &switches);
        for (switch, moves) in switches.iter_mut().zip(moves) {
            switch.moves = moves;
        }
        let long = |metres: f64| metres > NO_CORDS_M;
        let cables = self.devices.iter().filter_map(|device| {
            Some(Cable {
                device: device.name.clone(),
                port: device.port.clone(),
                metres: device.cable_m.filter(|m| long(*m))?,
            })
        });
        Budget {
            switches,
            cables: cables.collect(),
            unlisted: wires.unlisted(),
            nowhere: wires.nowhere(),
        }
    }
}

//! What is plugged into the ports of a switch, and whether a port suits it.

use super::wires::{ByPort, Wires, powered};
use crate::{Device, PoeType, Power, Rig, Switch, SwitchPort};

/// A device on a port that cannot give it what it needs.
#[derive(Debug, Clone, PartialEq)]
pub struct WeakPort {
    /// The port.
    pub port: SwitchPort,
    /// Its Type.
    pub poe: PoeType,
    /// The class of the device.
    pub class: u8,
}

/// A device or switch on a port.
#[derive(Debug, Clone, PartialEq)]
pub struct PortUse {
    /// The port's number, from 1.
    pub port: u32,
    /// The name of what is plugged in.
    pub name: String,
    /// What it draws over the cable; `None` for a supply of its own, and where the file says nothing.
    pub power: Option<Power>,
    /// The Type of the port, where the file says it.
    pub poe: Option<PoeType>,
    /// How long the cable is, in metres.
    pub cable_m: Option<f64>,
    /// What it streams, in Mb/s.
    pub mbps: Option<f64>,
    /// Why that cannot work.
    pub troubles: Vec<PortTrouble>,
}

impl PortUse {
    /// What the switch sets aside for it, in watts.
    pub fn set_aside(&self) -> Option<f64> {
        self.power.map(Power::at_port)
    }

    /// What it takes of the switch's power at the most, in watts.
    pub fn drawn(&self) -> Option<f64> {
        self.power.map(|p| p.drawn(self.cable_m))
    }
}

/// Why a device cannot be on its port.
#[derive(Debug, Clone, PartialEq)]
pub enum PortTrouble {
    /// The port's Type does not serve the device's class.
    TooWeak {
        /// The port's Type.
        poe: PoeType,
        /// The device's class.
        class: u8,
    },
    /// The device wants power, and the switch has no powered port of that number.
    Unpowered {
        /// The last powered port; 0 if it has none.
        last: u32,
    },
    /// The device wants more than a port of any Type gives.
    TooHungry {
        /// What it wants, in watts at the device.
        watts: f64,
    },
    /// Something else is plugged into the same port, by the file.
    Shared {
        /// What, in file order.
        with: Vec<String>,
    },
}

/// What is plugged into `switch`, in the order of its ports.
pub(super) fn uses(switch: &Switch, wires: &Wires<'_>) -> Vec<PortUse> {
    let mut on: ByPort<(&str, Option<&Device>)> = ByPort::new();
    for device in wires.on(&switch.name) {
        let port = device.port.as_ref().map_or(0, |p| p.port);
        on.entry(port).or_default().push((&device.name, Some(device)));
    }
    for below in wires.switches_on(&switch.name) {
        let port = below.uplink.as_ref().map_or(0, |p| p.port);
        on.entry(port).or_default().push((&below.name, None));
    }
    let mut uses = Vec::new();
    for (port, there) in &on {
        for (name, device) in there {
            let power = device.and_then(powered);
            let others = there
                .iter()
                .map(|(other, _)| *other)
                .filter(|other| other != name);
            let mut troubles: Vec<PortTrouble> =
                power.map_or_else(Vec::new, |power| unfit(switch, *port, power));
            if there.len() > 1 {
                let with = others.map(str::to_owned).collect();
                troubles.push(PortTrouble::Shared { with });
            }
            uses.push(PortUse {
                port: *port,
                name: (*name).to_owned(),
                power,
                poe: switch.poe_at(*port),
                cable_m: device.and_then(|d| d.cable_m),
                mbps: device.and_then(|d| d.stream_mbps),
                troubles,
            });
        }
    }
    uses
}

/// Why a port of that number cannot power it.
fn unfit(switch: &Switch, port: u32, power: Power) -> Vec<PortTrouble> {
    let mut troubles = Vec::new();
    let class = power.class();
    if power.beyond_all_classes() {
        let watts = power.at_device();
        troubles.push(PortTrouble::TooHungry { watts });
    }
    match (switch.ports, switch.poe_at(port)) {
        (Some(last), _) if port > last => troubles.push(PortTrouble::Unpowered { last }),
        (_, Some(poe)) if class > poe.highest_class() => troubles.push(PortTrouble::TooWeak { poe, class }),
        _ => {}
    }
    troubles
}

/// The powered ports that nothing is plugged into.
pub(super) fn free(switch: &Switch, uses: &[PortUse]) -> Vec<u32> {
    let used: std::collections::BTreeSet<u32> = uses.iter().map(|u| u.port).collect();
    let all = 1..=switch.ports.unwrap_or(0);
    all.filter(|port| !used.contains(port)).collect()
}

impl Rig {
    /// Whether `device` is plugged into a port that is too weak for it.
    pub fn weak_port(&self, device: &Device) -> Option<WeakPort> {
        let port = device.port.as_ref()?;
        let poe = self.switch(&port.switch)?.poe_at(port.port)?;
        let class = powered(device)?.class();
        (class > poe.highest_class()).then(|| WeakPort {
            port: port.clone(),
            poe,
            class,
        })
    }
}

//! Who is plugged in where, looked up once for all sums.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use crate::{Device, Power, Rig, Role, Switch};

/// The wiring of a rig.
pub(super) struct Wires<'r> {
    rig: &'r Rig,
    /// Devices by the switch they are plugged into, in file order; switches are not among them.
    devices: HashMap<&'r str, Vec<&'r Device>>,
    /// Switches by the switch they are plugged into.
    switches: HashMap<&'r str, Vec<&'r Switch>>,
    listed: HashMap<&'r str, &'r Switch>,
}

impl<'r> Wires<'r> {
    pub(super) fn of(rig: &'r Rig) -> Self {
        let mut devices: HashMap<&str, Vec<&Device>> = HashMap::new();
        for device in rig.devices.iter().filter(|d| d.role != Role::Switch) {
            if let Some(port) = &device.port {
                devices.entry(&port.switch).or_default().push(device);
            }
        }
        let mut switches: HashMap<&str, Vec<&Switch>> = HashMap::new();
        for switch in &rig.switches {
            if let Some(port) = &switch.uplink {
                switches.entry(&port.switch).or_default().push(switch);
            }
        }
        Self {
            rig,
            devices,
            switches,
            listed: rig.switches.iter().map(|s| (s.name.as_str(), s)).collect(),
        }
    }

    /// The devices on the switch of that name, in file order.
    pub(super) fn on(&self, switch: &str) -> &[&'r Device] {
        self.devices.get(switch).map_or(&[], Vec::as_slice)
    }

    /// The switches that are plugged into it, in file order.
    pub(super) fn switches_on(&self, switch: &str) -> &[&'r Switch] {
        self.switches.get(switch).map_or(&[], Vec::as_slice)
    }

    /// All devices that hang on it: its own, and those of the switches below.
    pub(super) fn below(&self, switch: &str) -> Vec<&'r Device> {
        let mut found = Vec::new();
        let mut seen = BTreeSet::new();
        let mut next = vec![switch];
        while let Some(name) = next.pop() {
            if seen.insert(name) {
                found.extend(self.on(name));
                next.extend(self.switches_on(name).iter().map(|s| s.name.as_str()));
            }
        }
        found
    }

    /// The switch and those above it, up to one that the file does not list; `None` where the
    /// uplinks close to a ring.
    pub(super) fn chain(&self, switch: &'r str) -> Option<Vec<&'r str>> {
        let mut chain = vec![switch];
        let mut seen = BTreeSet::from([switch]);
        let mut at = switch;
        while let Some(up) = self.listed.get(at).and_then(|s| s.uplink.as_ref()) {
            at = &up.switch;
            if !seen.insert(at) {
                return None;
            }
            chain.push(at);
        }
        Some(chain)
    }

    /// The topmost switch above this one.
    pub(super) fn top(&self, switch: &'r str) -> Option<&'r str> {
        self.chain(switch)?.pop()
    }

    /// Names that stand where a switch's should and are none of the file's.
    pub(super) fn unlisted(&self) -> Vec<String> {
        let named = self.devices.keys().chain(self.switches.keys());
        let unlisted: BTreeSet<&str> = named.copied().filter(|n| !self.listed.contains_key(n)).collect();
        unlisted.into_iter().map(str::to_owned).collect()
    }

    /// Devices that bring something to the sums, on no listed switch.
    pub(super) fn nowhere(&self) -> Vec<String> {
        let counts = |d: &&Device| powered(d).is_some() || d.stream_mbps.is_some_and(|s| s > 0.0);
        let placed = |d: &Device| {
            d.port
                .as_ref()
                .is_some_and(|p| self.listed.contains_key(p.switch.as_str()))
        };
        let devices = self.rig.devices.iter().filter(counts);
        devices.filter(|d| !placed(d)).map(|d| d.name.clone()).collect()
    }
}

/// What it draws over its cable. Zero watts are a supply of its own.
pub(super) fn powered(device: &Device) -> Option<Power> {
    device.power.filter(|p| p.at_device() > 0.0)
}

/// What is plugged into each port, by its number.
pub(super) type ByPort<T> = BTreeMap<u32, Vec<T>>;

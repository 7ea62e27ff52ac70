//! How the rig's switches hang together, by the file's word.

use std::collections::BTreeMap;

use rig::{Device, Rig};

/// Switches above one another, at most; a chain that the file closes to a ring ends there too.
const DEEPEST: usize = 32;

/// Every listed switch with where it is plugged in.
#[derive(Debug, Default)]
pub(crate) struct Tree<'a> {
    uplinks: BTreeMap<&'a str, Option<&'a rig::SwitchPort>>,
}

impl<'a> Tree<'a> {
    /// The switches of `rig`.
    pub(crate) fn of(rig: Option<&'a Rig>) -> Self {
        let all = rig.into_iter().flat_map(|rig| &rig.switches);
        Self {
            uplinks: all.map(|s| (s.name.as_str(), s.uplink.as_ref())).collect(),
        }
    }

    /// The switches that `device` hangs on, the nearest first: what is plugged into it shares its fate. A
    /// switch with an address hangs on itself.
    pub(crate) fn chain(&self, device: &'a Device) -> Vec<&'a str> {
        let own = self
            .uplinks
            .get_key_value(device.name.as_str())
            .map(|(name, _)| *name);
        let mut next = own.or_else(|| device.port.as_ref().map(|p| p.switch.as_str()));
        let mut chain = Vec::new();
        while let Some(switch) = next
            && chain.len() < DEEPEST
            && !chain.contains(&switch)
        {
            chain.push(switch);
            next = self.uplink(switch).map(|port| port.switch.as_str());
        }
        chain
    }

    /// Whether the file lists a switch of that name.
    pub(crate) fn is_switch(&self, name: &str) -> bool {
        self.uplinks.contains_key(name)
    }

    /// Where the switch of that name is plugged in.
    pub(crate) fn uplink(&self, switch: &str) -> Option<&'a rig::SwitchPort> {
        self.uplinks.get(switch).copied().flatten()
    }
}

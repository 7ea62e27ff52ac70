//! What hangs on which switch, by the rig file.

use crate::{Device, Rig};

/// Switches above one another, at most: a chain that the file closes to a ring ends there.
const DEEPEST: usize = 32;

impl Rig {
    /// Whether `device` goes dark with the switch of that name: it is that switch, or is plugged into it
    /// or into one that hangs on it.
    pub fn hangs_on(&self, device: &Device, switch: &str) -> bool {
        let mut at = Some(device.name.as_str());
        let mut next = device.port.as_ref().map(|p| p.switch.as_str());
        for _ in 0..DEEPEST {
            if at == Some(switch) {
                return true;
            }
            at = next;
            next = at
                .and_then(|name| self.switch(name)?.uplink.as_ref())
                .map(|port| port.switch.as_str());
        }
        false
    }

    /// The counted devices, on any network, that go dark with the switch of that name, itself left out.
    pub fn behind<'a>(&'a self, switch: &'a str) -> impl Iterator<Item = &'a Device> {
        let counted = move |d: &&Device| d.address != crate::AddressSpec::None && d.name != switch;
        let devices = self.devices.iter().filter(counted);
        devices.filter(move |d| self.hangs_on(d, switch))
    }
}

//! The tables of a file in their order.

use super::{Device, Rig, Role, Switch};

/// A `[[device]]` or a `[[switch]]`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Row<'r> {
    /// A device that is no switch.
    Device(&'r Device),
    /// A switch, with an address or without.
    Switch(&'r Switch),
}

impl Rig {
    /// Devices and switches in the order in which a file that reads as this rig has them: a switch
    /// with an address stands where it stands among the devices, one without before the next that has one.
    pub(crate) fn rows(&self) -> Vec<Row<'_>> {
        let mut rows = Vec::new();
        let mut switches = self.switches.as_slice();
        for device in &self.devices {
            if device.role != Role::Switch {
                rows.push(Row::Device(device));
            } else if let Some(at) = switches.iter().position(|switch| switch.name == device.name) {
                let (now, later) = switches.split_at(at + 1);
                rows.extend(now.iter().map(Row::Switch));
                switches = later;
            }
        }
        rows.extend(switches.iter().map(Row::Switch));
        rows
    }
}

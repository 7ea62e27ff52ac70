//! Who points at whom, looked up once for the whole rig.

use std::collections::HashMap;

use crate::{Channel, Device, Rig};

/// The channels that point at each device.
#[derive(Debug)]
pub(super) struct Users<'r>(HashMap<&'r str, Vec<(&'r Device, u32, &'r Channel)>>);

impl<'r> Users<'r> {
    pub(super) fn of(rig: &'r Rig) -> Self {
        let mut users: HashMap<&str, Vec<(&Device, u32, &Channel)>> = HashMap::new();
        for panel in &rig.devices {
            for (number, channel) in &panel.channels {
                let all = users.entry(channel.device.as_str()).or_default();
                all.push((panel, *number, channel));
            }
        }
        Self(users)
    }

    /// The channels that point at the device of that name: the panel, the number, the channel.
    pub(super) fn channels(&self, name: &str) -> &[(&'r Device, u32, &'r Channel)] {
        self.0.get(name).map_or(&[], Vec::as_slice)
    }
}

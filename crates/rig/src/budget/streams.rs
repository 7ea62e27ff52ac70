//! What the streams of the rig may put on the way up from a switch.

use super::classes::{from_milli, milli, sum};
use super::wires::Wires;
use crate::{Device, Role, Switch, SwitchPort};

/// Above this share of its capacity an uplink is called tight. Our own choice: it leaves room for the
/// peaks of streams that are given by their mean.
pub const TIGHT: f64 = 0.75;

/// How full an uplink is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Load {
    /// The file does not say what it carries.
    Unknown,
    /// With room to spare.
    Fits,
    /// More than [`TIGHT`] of it is taken.
    Tight,
    /// More may go through than it carries.
    Over,
}

/// The way up from a switch. All are Mb/s.
#[derive(Debug, Clone, PartialEq)]
pub struct Uplink {
    /// Where it is plugged in, if the file says so.
    pub to: Option<SwitchPort>,
    /// What it carries each way.
    pub capacity: Option<f64>,
    /// All streams from below, as if each went up.
    pub up: f64,
    /// All streams from elsewhere in the same tree of switches, as if each came down, where there is a
    /// receiver below; else 0.
    pub down: f64,
    /// Who below may receive: switchers, decoders, recorders, displays and computers.
    pub receivers: Vec<String>,
    /// The uplinks of the file close to a ring here, so that nothing can be summed.
    pub ring: bool,
}

impl Uplink {
    /// The fuller of the two ways: each carries as much as the other at the same time.
    pub fn fullest(&self) -> f64 {
        self.up.max(self.down)
    }

    /// How full it is.
    pub fn load(&self) -> Load {
        match self.capacity {
            None => Load::Unknown,
            Some(capacity) if milli(self.fullest()) > milli(capacity) => Load::Over,
            Some(capacity) if self.fullest() > capacity * TIGHT => Load::Tight,
            Some(_) => Load::Fits,
        }
    }

    /// By how much the fuller way is over, in Mb/s.
    pub fn over(&self) -> Option<f64> {
        self.capacity.and_then(|capacity| more(self.fullest(), capacity))
    }
}

fn more(asked: f64, capacity: f64) -> Option<f64> {
    let more = milli(asked).saturating_sub(milli(capacity));
    (more > 0).then(|| from_milli(more))
}

/// Whether streams may be meant for it.
pub(super) const fn receives(role: Role) -> bool {
    matches!(
        role,
        Role::Switcher | Role::Decoder | Role::Recorder | Role::Display | Role::Computer
    )
}

fn streams(devices: &[&Device]) -> f64 {
    sum(devices.iter().filter_map(|d| d.stream_mbps))
}

/// The way up from `switch`.
pub(super) fn uplink(switch: &Switch, wires: &Wires<'_>) -> Option<Uplink> {
    if switch.uplink.is_none() && switch.uplink_mbps.is_none() {
        return None;
    }
    let mut uplink = Uplink {
        to: switch.uplink.clone(),
        capacity: switch.uplink_mbps,
        up: 0.0,
        down: 0.0,
        receivers: Vec::new(),
        ring: false,
    };
    let Some(top) = wires.top(&switch.name) else {
        uplink.ring = true;
        return Some(uplink);
    };
    let below = wires.below(&switch.name);
    let receivers = below.iter().filter(|d| receives(d.role));
    uplink.receivers = receivers.map(|d| d.name.clone()).collect();
    uplink.up = streams(&below);
    if !uplink.receivers.is_empty() {
        let all = milli(streams(&wires.below(top)));
        uplink.down = from_milli(all.saturating_sub(milli(uplink.up)));
    }
    Some(uplink)
}

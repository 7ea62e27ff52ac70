//! The `--json` object of `budget`, format 1. Unknown is null.

use rig::{Budget, Cable, Load, Moves, PortTrouble, PortUse, Power, PowerSums, SwitchBudget, Uplink};
use schemars::JsonSchema;
use serde::Serialize;

use super::words;
use crate::report::{Format, RigPart};

/// The whole object.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct BudgetReport {
    format: Format,
    version: &'static str,
    rig: RigPart,
    /// Whether all fits that can be summed up.
    fits: bool,
    switches: Vec<SwitchPart>,
    /// Cables that are too long, or nearly so.
    cables: Vec<CablePart>,
    /// Names of switches that the file does not list.
    unlisted_switches: Vec<String>,
    /// Devices that no sum holds, because they are on no listed switch.
    in_no_sum: Vec<String>,
    assumptions: Vec<String>,
}

#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
struct SwitchPart {
    name: String,
    fits: bool,
    ports: PortsPart,
    power: Option<PowerPart>,
    uplink: Option<UplinkPart>,
    devices: Vec<UsePart>,
    moves: Option<MovesPart>,
}

#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
struct PortsPart {
    powered: Option<u32>,
    used: usize,
    /// Null where the number of ports is not known.
    free: Option<Vec<u32>>,
}

#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
struct PowerPart {
    budget_w: Option<f64>,
    set_aside_w: f64,
    drawn_w: f64,
    over_w: Option<f64>,
    drawn_over_w: Option<f64>,
    reserve_w: Option<f64>,
    reserve_percent: Option<f64>,
    /// In this order, unless the switch's own priorities say otherwise.
    drops_first: Vec<String>,
    /// How many of those would be dropped.
    dropped: usize,
}

#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
struct UplinkPart {
    to: Option<String>,
    capacity_mbps: Option<f64>,
    up_mbps: Option<f64>,
    down_mbps: Option<f64>,
    over_mbps: Option<f64>,
    load: &'static str,
    receivers: Vec<String>,
}

#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
struct UsePart {
    name: String,
    port: u32,
    port_type: Option<u8>,
    class: Option<u8>,
    set_aside_w: Option<f64>,
    drawn_w: Option<f64>,
    cable_m: Option<f64>,
    stream_mbps: Option<f64>,
    troubles: Vec<TroublePart>,
}

#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
struct TroublePart {
    kind: &'static str,
    text: String,
}

#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
struct MovesPart {
    /// No smaller set is enough.
    smallest: bool,
    devices: Vec<MovePart>,
}

#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
struct MovePart {
    device: String,
    from: String,
    to: Option<String>,
    set_aside_w: Option<f64>,
    stream_mbps: Option<f64>,
}

#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
struct CablePart {
    device: String,
    port: Option<String>,
    metres: f64,
    too_long: bool,
}

impl BudgetReport {
    /// The object for `budget`.
    pub(crate) fn new(title: &str, file: &str, budget: &Budget) -> Self {
        Self {
            format: Format,
            version: env!("CARGO_PKG_VERSION"),
            rig: RigPart {
                title: title.to_owned(),
                file: file.to_owned(),
            },
            fits: budget.fits(),
            switches: budget.switches.iter().map(switch).collect(),
            cables: budget.cables.iter().map(cable).collect(),
            unlisted_switches: budget.unlisted.clone(),
            in_no_sum: budget.nowhere.clone(),
            assumptions: words::ASSUMPTIONS.iter().map(ToString::to_string).collect(),
        }
    }
}

fn switch(switch: &SwitchBudget) -> SwitchPart {
    SwitchPart {
        name: switch.name.clone(),
        fits: switch.fits(),
        ports: PortsPart {
            powered: switch.ports,
            used: switch.used(),
            free: switch.ports.map(|_| switch.free.clone()),
        },
        power: switch.power.as_ref().map(power),
        uplink: switch.uplink.as_ref().map(uplink),
        devices: switch
            .uses
            .iter()
            .map(|used| device(&switch.name, used))
            .collect(),
        moves: switch.moves.as_ref().map(moves),
    }
}

fn power(power: &PowerSums) -> PowerPart {
    PowerPart {
        budget_w: power.budget,
        set_aside_w: power.set_aside,
        drawn_w: round(power.drawn),
        over_w: power.over(),
        drawn_over_w: power.drawn_over().map(round),
        reserve_w: power.reserve(),
        reserve_percent: power.reserve_percent().map(|p| (p * 10.0).round() / 10.0),
        drops_first: power.drops.clone(),
        dropped: power.dropped,
    }
}

fn uplink(uplink: &Uplink) -> UplinkPart {
    let known = |mbps: f64| (!uplink.ring).then_some(mbps);
    UplinkPart {
        to: uplink.to.as_ref().map(ToString::to_string),
        capacity_mbps: uplink.capacity,
        up_mbps: known(uplink.up),
        down_mbps: known(uplink.down),
        over_mbps: uplink.over(),
        load: match uplink.load() {
            _ if uplink.ring => "unknown",
            Load::Unknown => "unknown",
            Load::Fits => "fits",
            Load::Tight => "tight",
            Load::Over => "over",
        },
        receivers: uplink.receivers.clone(),
    }
}

fn device(switch: &str, used: &PortUse) -> UsePart {
    UsePart {
        name: used.name.clone(),
        port: used.port,
        port_type: used.poe.map(rig::PoeType::number),
        class: used.power.map(Power::class),
        set_aside_w: used.set_aside(),
        drawn_w: used.drawn().map(round),
        cable_m: used.cable_m,
        stream_mbps: used.mbps,
        troubles: used
            .troubles
            .iter()
            .map(|trouble| TroublePart {
                kind: match trouble {
                    PortTrouble::TooWeak { .. } => "port_too_weak",
                    PortTrouble::Unpowered { .. } => "port_without_power",
                    PortTrouble::TooHungry { .. } => "more_than_any_port_gives",
                    PortTrouble::Shared { .. } => "two_on_one_port",
                },
                text: words::trouble(switch, used, trouble),
            })
            .collect(),
    }
}

fn moves(moves: &Moves) -> MovesPart {
    MovesPart {
        smallest: moves.smallest,
        devices: moves
            .list
            .iter()
            .map(|step| MovePart {
                device: step.device.clone(),
                from: step.from.to_string(),
                to: step.to.as_ref().map(ToString::to_string),
                set_aside_w: step.watts,
                stream_mbps: step.mbps,
            })
            .collect(),
    }
}

fn cable(cable: &Cable) -> CablePart {
    CablePart {
        device: cable.device.clone(),
        port: cable.port.as_ref().map(ToString::to_string),
        metres: cable.metres,
        too_long: cable.too_long(),
    }
}

/// To a tenth of a watt: what a cable takes is worked out, not measured.
fn round(watts: f64) -> f64 {
    (watts * 10.0).round() / 10.0
}

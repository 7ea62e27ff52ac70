//! The `--json` object of `plan`, format 1.

use std::net::Ipv4Addr;

use rig::plan::{Advice, Placed, Way, advice};
use rig::{AddressSpec, Role};
use schemars::JsonSchema;
use serde::Serialize;
use vocab::Ipv4Net;

use super::Outcome;
use crate::moves::TaskPart;
use crate::report::{Format, Printed, RigPart, Word};

/// A plan of addresses. Unknown is null, never a guess.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct PlanReport {
    format: Format,
    version: &'static str,
    rig: RigPart,
    networks: Vec<NetworkPart>,
    /// How many devices get another address than the file has.
    moves: usize,
    devices: Vec<DevicePart>,
    /// What has to be done, in order.
    work: Vec<TaskPart>,
    notes: Vec<String>,
    /// The change of the rig file, as `patch` reads it; empty if there is none.
    diff: String,
}

/// A network that was planned for.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
struct NetworkPart {
    name: String,
    subnet: Printed<Ipv4Net>,
    mask: Ipv4Addr,
    gateway: Option<Ipv4Addr>,
    leases: Vec<String>,
}

/// A device with its address.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
struct DevicePart {
    name: String,
    role: Word<Role>,
    network: String,
    /// As the file has it.
    was: Printed<AddressSpec>,
    /// Where it is, as far as that is known.
    at: Option<Ipv4Addr>,
    /// What it gets.
    address: Printed<AddressSpec>,
    /// Why it keeps or changes it, as a word.
    because: &'static str,
    /// The same for a person.
    text: String,
    advice: AdvicePart,
}

/// How it should come to its address.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
struct AdvicePart {
    how: Word<Way>,
    why: &'static str,
}

impl PlanReport {
    /// The object of a plan.
    pub(crate) fn new(outcome: &Outcome<'_>) -> Self {
        Self {
            format: Format,
            version: env!("CARGO_PKG_VERSION"),
            rig: RigPart {
                title: outcome.rig.title.clone(),
                file: outcome.file.to_owned(),
            },
            networks: outcome
                .hall
                .networks
                .iter()
                .map(|network| NetworkPart {
                    name: network.name.clone(),
                    subnet: Printed(network.subnet),
                    mask: network.subnet.netmask(),
                    gateway: network.gateway,
                    leases: network.leases.iter().map(ToString::to_string).collect(),
                })
                .collect(),
            moves: outcome.planned.moves(),
            devices: outcome
                .planned
                .placed
                .iter()
                .zip(advice(outcome.rig, outcome.hall, outcome.stay))
                .map(|(one, (.., advice))| device(outcome, one, advice))
                .collect(),
            work: outcome.planned.work.tasks.iter().map(TaskPart::new).collect(),
            notes: outcome.notes.to_vec(),
            diff: outcome.diff.to_owned(),
        }
    }
}

fn device(outcome: &Outcome<'_>, one: &Placed, advice: Advice) -> DevicePart {
    let device = &outcome.rig.devices[one.device];
    DevicePart {
        name: device.name.clone(),
        role: Word(device.role),
        network: device.network.clone(),
        was: Printed(one.was),
        at: one.at,
        address: Printed(one.to),
        because: one.why.as_str(),
        text: one.why.to_string(),
        advice: AdvicePart {
            how: Word(advice.way),
            why: advice.why,
        },
    }
}

//! What `compare` tells, as JSON.

use std::net::Ipv4Addr;

use ledger::Standing;
use rig::compare::{Account, Changed, Comparison, Moved, Rechannelled, Unit};
use rig::{AddressSpec, Channel, Role};
use schemars::JsonSchema;
use serde::Serialize;
use vocab::{ControlPort, Mac};

use super::word::{Format, Printed, Word};

/// What is different between two rig files, or a rig file and a saved check. Names are those of
/// the second, but for what was dropped.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct Differences {
    pub format: Format,
    pub version: String,
    pub a: SidePart,
    pub b: SidePart,
    /// Whether nothing that both tell is different.
    pub same: bool,
    pub added: Vec<UnitPart>,
    pub dropped: Vec<UnitPart>,
    pub renamed: Vec<RenamedPart>,
    pub moved: Vec<MovedPart>,
    pub rechannelled: Vec<RechannelledPart>,
    pub changed: Vec<ChangedPart>,
    pub settings: Vec<SettingPart>,
    /// Where hardware was seen otherwise than the rig file has it, or than the other check saw it.
    pub found: Vec<FoundPart>,
    /// What one of the two does not tell, so that it was not compared.
    pub not_compared: Vec<String>,
}

/// Whether it is a rig file or a saved check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub(crate) enum SideKind {
    Rig,
    Check,
}

/// One of the two.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct SidePart {
    pub kind: SideKind,
    /// As it was named.
    pub file: String,
    pub title: String,
    /// When the check was taken; null for a rig file.
    #[schemars(extend("format" = "date-time"))]
    pub taken_at: Option<String>,
}

/// A device or switch.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct UnitPart {
    pub name: String,
    pub role: Word<Role>,
    pub mac: Vec<Printed<Mac>>,
    pub address: Printed<AddressSpec>,
}

/// Another name.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct RenamedPart {
    pub from: String,
    pub to: String,
}

/// Another address or network.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct MovedPart {
    pub name: String,
    pub from: Printed<AddressSpec>,
    pub to: Printed<AddressSpec>,
    /// Null where the network is the same or not told.
    pub from_network: Option<String>,
    pub to_network: Option<String>,
}

/// What a channel points at.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct ChannelPart {
    pub device: String,
    pub control: Option<Printed<ControlPort>>,
}

/// A channel that points at something else; null where it points at nothing.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct RechannelledPart {
    pub panel: String,
    pub channel: u32,
    pub from: Option<ChannelPart>,
    pub to: Option<ChannelPart>,
}

/// Another value of a device or switch; null where there is none.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct ChangedPart {
    pub name: String,
    pub key: String,
    pub from: Option<String>,
    pub to: Option<String>,
}

/// Another value that belongs to no single device; null where there is none.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct SettingPart {
    /// The part of the file, such as `network main`.
    pub part: String,
    pub key: String,
    pub from: Option<String>,
    pub to: Option<String>,
}

/// A device that was seen otherwise.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct FoundPart {
    pub name: String,
    pub a: SightPart,
    pub b: SightPart,
}

/// What a rig file expects of a device, or what a check saw of it.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct SightPart {
    /// Null from a rig file, and where the check had it not on its list.
    pub standing: Option<Word<Standing>>,
    pub mac: Vec<Printed<Mac>>,
    /// Null where none was seen.
    pub address: Option<Printed<AddressSpec>>,
}

impl SightPart {
    pub(crate) fn new(
        standing: Option<Standing>,
        macs: impl IntoIterator<Item = Mac>,
        address: Option<AddressSpec>,
    ) -> Self {
        Self {
            standing: standing.map(Word),
            mac: macs.into_iter().map(Printed).collect(),
            address: address.map(Printed),
        }
    }

    /// The address that was seen, or is fixed in a rig file.
    pub(crate) fn fixed(&self) -> Option<Ipv4Addr> {
        match self.address.map(|address| address.0) {
            Some(AddressSpec::Fixed(address)) => Some(address),
            _ => None,
        }
    }
}

impl Differences {
    pub(crate) fn new(
        (a, of_a): (SidePart, &Account),
        (b, of_b): (SidePart, &Account),
        comparison: &Comparison,
        found: Vec<FoundPart>,
    ) -> Self {
        let units = |all: &[usize], of: &Account| all.iter().map(|n| unit(&of.units[*n])).collect();
        let partly = [a.kind, b.kind].contains(&SideKind::Check);
        Self {
            format: Format,
            version: env!("CARGO_PKG_VERSION").to_owned(),
            a,
            b,
            same: comparison.is_empty() && found.is_empty(),
            added: units(&comparison.added, of_b),
            dropped: units(&comparison.dropped, of_a),
            renamed: comparison.renamed.iter().map(renamed).collect(),
            moved: comparison.moved.iter().map(moved).collect(),
            rechannelled: comparison.rechannelled.iter().map(rechannelled).collect(),
            changed: comparison.changed.iter().map(changed).collect(),
            settings: comparison.settings.iter().map(setting).collect(),
            found,
            not_compared: if partly { not_told() } else { Vec::new() },
        }
    }
}

/// What a check does not tell of the rig file that it was held against.
fn not_told() -> Vec<String> {
    let what = [
        "channels",
        "switches and ports",
        "power and streams",
        "notes",
        "settings of networks",
        "plan",
    ];
    what.map(ToOwned::to_owned).into()
}

fn unit(unit: &Unit) -> UnitPart {
    UnitPart {
        name: unit.name.clone(),
        role: Word(unit.role),
        mac: unit.macs.iter().copied().map(Printed).collect(),
        address: Printed(unit.address),
    }
}

fn renamed((from, to): &(String, String)) -> RenamedPart {
    RenamedPart {
        from: from.clone(),
        to: to.clone(),
    }
}

fn moved(moved: &Moved) -> MovedPart {
    let (from_network, to_network) = moved.networks.clone().unzip();
    MovedPart {
        name: moved.name.clone(),
        from: Printed(moved.from),
        to: Printed(moved.to),
        from_network,
        to_network,
    }
}

fn channel(channel: &Channel) -> ChannelPart {
    ChannelPart {
        device: channel.device.clone(),
        control: channel.control.map(Printed),
    }
}

fn rechannelled(one: &Rechannelled) -> RechannelledPart {
    RechannelledPart {
        panel: one.panel.clone(),
        channel: one.channel,
        from: one.from.as_ref().map(channel),
        to: one.to.as_ref().map(channel),
    }
}

fn changed((name, changed): &(String, Changed)) -> ChangedPart {
    ChangedPart {
        name: name.clone(),
        key: changed.key.to_owned(),
        from: changed.from.clone(),
        to: changed.to.clone(),
    }
}

fn setting((part, changed): &(String, Changed)) -> SettingPart {
    SettingPart {
        part: part.clone(),
        key: changed.key.to_owned(),
        from: changed.from.clone(),
        to: changed.to.clone(),
    }
}

//! A rig as a spreadsheet.

use std::collections::{BTreeMap, BTreeSet};

use csv::{Terminator, WriterBuilder};

use super::cells;
use super::columns::{self, Column};
use crate::model::Row;
use crate::{AskWhen, Channel, Device, How, Need, Network, PoeTypes, Power, Reach, Rig, Switch, spell};

/// What stands in `kind`.
pub(super) mod kind {
    pub(in super::super) const DEVICE: &str = "device";
    pub(in super::super) const SWITCH: &str = "switch";
    pub(in super::super) const NETWORK: &str = "network";
    pub(in super::super) const LEASES: &str = "leases";
    pub(in super::super) const RESERVED: &str = "reserved";
    pub(in super::super) const BLOCK: &str = "block";
    pub(in super::super) const RIG: &str = "rig";
}

/// Columns that are there even where all rows leave them empty: whoever fills in more devices needs them.
const ALWAYS: [Column; 5] = [
    Column::Kind,
    Column::Name,
    Column::Role,
    Column::Mac,
    Column::Address,
];

type Cells = BTreeMap<Column, String>;

/// The whole rig as CSV with commas and CRLF (RFC 4180): devices and switches first, then what
/// belongs to no single one. No cell is a formula for the program that opens it. A byte order mark
/// stands in front only if there are other characters than ASCII, which some programs would spoil
/// without it.
pub fn write(rig: &Rig) -> String {
    let targets = Targets::of(rig);
    let rows: Vec<Cells> = rig
        .rows()
        .into_iter()
        .map(|row| match row {
            Row::Device(device) => self::device(rig, device, &targets),
            Row::Switch(one) => switch(rig, one, &targets),
        })
        .chain(rig.networks().flat_map(network))
        .chain(plan(rig))
        .chain((!rig.title.is_empty()).then(|| {
            Cells::from([
                (Column::Kind, kind::RIG.into()),
                (Column::Name, cells::text(&rig.title)),
            ])
        }))
        .collect();
    let filled: BTreeSet<Column> = rows.iter().flat_map(|row| row.keys().copied()).collect();
    let columns: Vec<Column> = columns::all()
        .filter(|column| ALWAYS.contains(column) || filled.contains(column))
        .collect();
    let mut out = WriterBuilder::new()
        .terminator(Terminator::CRLF)
        .from_writer(Vec::new());
    // A vector takes everything.
    let _ = out.write_record(columns.iter().map(|column| column.heading()));
    for row in &rows {
        let _ = out.write_record(
            columns
                .iter()
                .map(|column| row.get(column).map_or("", String::as_str)),
        );
    }
    let text = String::from_utf8_lossy(&out.into_inner().unwrap_or_default()).into_owned();
    if text.is_ascii() {
        text
    } else {
        format!("\u{feff}{text}")
    }
}

/// Which channels point at whom.
struct Targets<'r>(BTreeMap<&'r str, Vec<(&'r str, u32, &'r Channel)>>);

impl<'r> Targets<'r> {
    fn of(rig: &'r Rig) -> Self {
        let mut all: BTreeMap<&str, Vec<_>> = BTreeMap::new();
        for panel in &rig.devices {
            for (number, channel) in &panel.channels {
                let to = all.entry(channel.device.as_str()).or_default();
                to.push((panel.name.as_str(), *number, channel));
            }
        }
        Self(all)
    }

    /// `Desk panel/1; Side panel/4 by visca-tcp`.
    fn cell(&self, device: &str) -> String {
        let all = self.0.get(device).map_or(&[][..], Vec::as_slice);
        cells::list(all.iter().map(|(panel, number, channel)| match channel.control {
            None => format!("{panel}/{number}"),
            Some(control) => format!("{panel}/{number} by {control}"),
        }))
    }
}

/// Cells by their columns; what is empty is left out.
fn row(kind: &str, cells: impl IntoIterator<Item = (Column, String)>) -> Cells {
    let kind = (Column::Kind, kind.to_owned());
    let all = std::iter::once(kind).chain(cells);
    all.filter(|(_, cell)| !cell.is_empty()).collect()
}

fn some<T: ToString>(value: Option<T>) -> String {
    value.map(|value| value.to_string()).unwrap_or_default()
}

fn unless_usual(word: &str, usual: bool) -> String {
    if usual { String::new() } else { word.to_owned() }
}

fn on(network: &str) -> String {
    unless_usual(network, network == Network::MAIN)
}

/// The mask and the gateway that somebody types into the device.
fn way_out(rig: &Rig, network: &str, fixed: bool) -> [(Column, String); 2] {
    let network = rig.networks().find(|n| fixed && n.name == network);
    [
        (Column::Mask, some(network.map(|n| n.subnet.netmask()))),
        (Column::Gateway, some(network.and_then(|n| n.gateway))),
    ]
}

fn device(rig: &Rig, device: &Device, targets: &Targets<'_>) -> Cells {
    let (class, watts) = match device.power {
        Some(Power::Class(class)) => (class.to_string(), String::new()),
        Some(Power::Watts(watts)) => (String::new(), watts.to_string()),
        None => (String::new(), String::new()),
    };
    let usual_boot = device.boot == Device::usual_boot(device.role);
    let text = |text: &Option<String>| text.as_ref().map(|text| cells::text(text)).unwrap_or_default();
    let cells = [
        (Column::Name, cells::text(&device.name)),
        (Column::Role, device.role.as_str().into()),
        (Column::Position, text(&device.position)),
        (Column::Channel, targets.cell(&device.name)),
        (Column::Mac, cells::list(&device.macs)),
        (Column::Address, device.address.to_string()),
        (Column::Network, on(&device.network)),
        (
            Column::How,
            unless_usual(device.how.as_str(), device.how == How::default()),
        ),
        (
            Column::Port,
            device
                .port
                .as_ref()
                .map(|port| cells::text(&port.to_string()))
                .unwrap_or_default(),
        ),
        (Column::CableM, some(device.cable_m)),
        (Column::PoeClass, class),
        (Column::Watts, watts),
        (Column::Control, cells::list(&device.control)),
        (Column::StreamMbps, some(device.stream_mbps)),
        (Column::UsedBy, cells::list(&device.used_by)),
        (
            Column::Need,
            unless_usual(device.need.as_str(), device.need == Need::default()),
        ),
        (
            Column::Ask,
            unless_usual(device.ask.as_str(), device.ask == AskWhen::default()),
        ),
        (Column::Sleeps, unless_usual(spell::flag(true), !device.sleeps)),
        (Column::Boot, unless_usual(&spell::time(device.boot), usual_boot)),
        (Column::Login, some(device.login.as_ref())),
        (Column::Note, text(&device.note)),
    ];
    let fixed = device.fixed_address().is_some();
    row(
        kind::DEVICE,
        cells.into_iter().chain(way_out(rig, &device.network, fixed)),
    )
}

fn switch(rig: &Rig, switch: &Switch, targets: &Targets<'_>) -> Cells {
    let uplink = switch.uplink.as_ref().map(|port| cells::text(&port.to_string()));
    let poe = match &switch.poe {
        PoeTypes::Unsaid => None,
        said => spell::poe_types(said),
    };
    let cells = [
        (Column::Name, cells::text(&switch.name)),
        (Column::Channel, targets.cell(&switch.name)),
        (Column::Mac, cells::list(&switch.macs)),
        (Column::Address, some(switch.address)),
        (Column::Network, on(&switch.network)),
        (Column::Ports, some(switch.ports)),
        (Column::BudgetW, some(switch.budget_w)),
        (Column::PoeType, poe.unwrap_or_default()),
        (Column::UplinkMbps, some(switch.uplink_mbps)),
        (Column::Uplink, uplink.unwrap_or_default()),
    ];
    let fixed = switch.address.is_some();
    row(
        kind::SWITCH,
        cells.into_iter().chain(way_out(rig, &switch.network, fixed)),
    )
}

/// A network, and a row for each of its lease pools.
fn network(network: &Network) -> Vec<Cells> {
    let usual = network.reach == Reach::default();
    let itself = row(
        kind::NETWORK,
        [
            (Column::Name, network.name.clone()),
            (Column::Subnet, network.subnet.to_string()),
            (Column::Gateway, some(network.gateway)),
            (Column::Reach, unless_usual(network.reach.as_str(), usual)),
            (
                Column::Pace,
                unless_usual(&spell::pace(network.pace), network.pace == vocab::Pace::default()),
            ),
            (Column::Shared, unless_usual(spell::flag(true), !network.shared)),
        ],
    );
    let leases = network.leases.iter().map(|range| {
        row(
            kind::LEASES,
            [
                (Column::Address, range.to_string()),
                (Column::Network, on(&network.name)),
            ],
        )
    });
    std::iter::once(itself).chain(leases).collect()
}

fn plan(rig: &Rig) -> Vec<Cells> {
    let reserved = rig
        .plan
        .reserved
        .iter()
        .map(|range| row(kind::RESERVED, [(Column::Address, range.to_string())]));
    let blocks = rig.plan.blocks.iter().map(|(role, range)| {
        row(
            kind::BLOCK,
            [
                (Column::Role, role.as_str().into()),
                (Column::Address, range.to_string()),
            ],
        )
    });
    reserved.chain(blocks).collect()
}

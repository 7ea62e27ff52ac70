//! The patch sheet: what is plugged in where, with which address, and who uses it.

use std::collections::HashMap;

use vocab::Ipv4Net;

use super::{Cell, Column, Kind, Part, Table, code, list, words};
use crate::{AddressSpec, Device, How, Need, Network, Power, Rig, Role, Switch};

const COLUMNS: [Column; 13] = [
    words("device", "Device"),
    words("role", "Role"),
    words("position", "Position"),
    words("channel", "Channel"),
    code("mac", "MAC"),
    code("address", "Address"),
    code("mask", "Mask"),
    code("gateway", "Gateway"),
    code("port", "Switch port"),
    words("power", "Power"),
    code("control", "Control ports"),
    words("used_by", "Used by"),
    words("note", "Note"),
];

/// The patch sheet of `rig`, devices in file order, then switches without an address.
pub fn patch(rig: &Rig) -> Part {
    let mut part = Part::new(Kind::Patch);
    for network in rig.networks() {
        part.fact(&format!("Network {}", network.name), about(network));
    }
    let listed = |s: &&Switch| rig.device(&s.name).is_none();
    let mut channels: HashMap<&str, Vec<String>> = HashMap::new();
    for panel in &rig.devices {
        for (number, channel) in &panel.channels {
            let said = format!("{} {number}", panel.name);
            channels.entry(&channel.device).or_default().push(said);
        }
    }
    let driven_by = |device: &Device| channels.get(device.name.as_str()).map_or(&[][..], Vec::as_slice);
    let devices = rig
        .devices
        .iter()
        .map(|device| row(rig, device, driven_by(device)));
    let rows: Vec<Vec<Cell>> = devices
        .chain(rig.switches.iter().filter(listed).map(bare))
        .collect();
    part.tables.push(Table {
        title: String::new(),
        columns: COLUMNS.to_vec(),
        rows,
    });
    part
}

fn about(network: &Network) -> String {
    let mut said = format!("{}, mask {}", network.subnet, mask(network.subnet));
    if let Some(gateway) = network.gateway {
        said = format!("{said}, gateway {gateway}");
    }
    if !network.leases.is_empty() {
        said = format!("{said}, lease pool {}", list(&network.leases));
    }
    said
}

fn mask(net: Ipv4Net) -> String {
    net.netmask().to_string()
}

fn row(rig: &Rig, device: &Device, channels: &[String]) -> Vec<Cell> {
    let network = rig.networks().find(|n| n.name == device.network);
    let fixed = device.fixed_address().is_some();
    let of_network = |what: fn(&Network) -> String| match network {
        Some(network) if fixed => what(network),
        _ => String::new(),
    };
    let gateway = |n: &Network| n.gateway.map(|g| g.to_string()).unwrap_or_default();
    vec![
        name(device).into(),
        role(device.role).into(),
        device.position.clone().unwrap_or_default().into(),
        list(channels).into(),
        list(&device.macs).into(),
        address(device).into(),
        of_network(|n| mask(n.subnet)).into(),
        of_network(gateway).into(),
        device
            .port
            .as_ref()
            .map(ToString::to_string)
            .unwrap_or_default()
            .into(),
        power(device, rig).into(),
        list(&device.control).into(),
        list(&device.used_by).into(),
        device.note.clone().unwrap_or_default().into(),
    ]
}

/// A switch without an address, which is no device.
fn bare(switch: &Switch) -> Vec<Cell> {
    let mut row = vec![Cell::EMPTY; COLUMNS.len()];
    let port = switch
        .uplink
        .as_ref()
        .map(ToString::to_string)
        .unwrap_or_default();
    for (key, text) in [
        ("device", switch.name.clone()),
        ("role", Role::Switch.as_str().to_owned()),
        ("mac", list(&switch.macs)),
        ("port", port),
        ("power", gives(switch)),
    ] {
        if let Some(place) = COLUMNS.iter().position(|c| c.key == key) {
            row[place] = text.into();
        }
    }
    row
}

fn gives(switch: &Switch) -> String {
    switch
        .budget_w
        .map_or_else(String::new, |watts| format!("gives {watts} W"))
}

/// What it draws, and what is set aside for it at the port.
fn power(device: &Device, rig: &Rig) -> String {
    if device.role == Role::Switch {
        return rig.switch(&device.name).map(gives).unwrap_or_default();
    }
    match device.power {
        Some(power @ Power::Class(class)) => format!("class {class}, {} W", power.at_port()),
        Some(power @ Power::Watts(watts)) => {
            format!("{watts} W: class {}, {} W", power.class(), power.at_port())
        }
        None => String::new(),
    }
}

/// A device's name, with what the show can do without.
pub(super) fn name(device: &Device) -> String {
    match device.need {
        Need::Show => device.name.clone(),
        need => format!("{} ({})", device.name, need.as_str()),
    }
}

/// A role as people write it.
pub(super) fn role(role: Role) -> String {
    role.as_str().replace('-', " ")
}

/// The address, and how it comes there if it is not set in the device.
pub(super) fn address(device: &Device) -> String {
    match (device.address, device.how) {
        (AddressSpec::Fixed(address), How::Static) => address.to_string(),
        (AddressSpec::Fixed(address), How::Reserved) => format!("{address} reserved"),
        (AddressSpec::Dhcp, _) => "by DHCP".to_owned(),
        (AddressSpec::None, _) => "none".to_owned(),
    }
}

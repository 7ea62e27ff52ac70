//! The channel map of each panel.

use super::patch::{address, name, role};
use super::{Column, Kind, Part, Table, Warning, code, words};
use crate::{AddressSpec, Channel, Device, Rig};

const COLUMNS: [Column; 7] = [
    code("channel", "Channel"),
    words("device", "Device"),
    words("role", "Role"),
    words("position", "Position"),
    code("address", "Address"),
    code("control", "Driven by"),
    code("protocol_port", "Port"),
];

/// The channel maps of all panels of `rig`, in file order.
pub fn channels(rig: &Rig) -> Part {
    let mut part = Part::new(Kind::Channels);
    for panel in rig.devices.iter().filter(|d| !d.channels.is_empty()) {
        let mut rows = Vec::new();
        for (number, channel) in &panel.channels {
            let Some(device) = rig.device(&channel.device) else {
                continue;
            };
            part.warnings.extend(warnings(rig, panel, *number, device));
            let (word, port) = driven_by(channel, device);
            rows.push(vec![
                number.to_string().into(),
                name(device).into(),
                role(device.role).into(),
                device.position.clone().unwrap_or_default().into(),
                address(device).into(),
                word.into(),
                port.into(),
            ]);
        }
        let port = panel
            .port
            .as_ref()
            .map_or_else(String::new, |port| format!(", on {port}"));
        part.tables.push(Table {
            title: format!("{} ({}{port})", panel.name, address(panel)),
            columns: COLUMNS.to_vec(),
            rows,
        });
    }
    if part.tables.is_empty() {
        part.notes
            .push("No panel of the rig file has channels.".to_owned());
    }
    part
}

/// What the channel drives the device by: as the file says, else the first VISCA port that the device
/// must answer at. Nothing where the file leaves that open.
fn driven_by(channel: &Channel, device: &Device) -> (String, String) {
    let visca = device
        .control
        .iter()
        .find(|c| c.word.as_str().starts_with("visca"));
    let Some(control) = channel.control.as_ref().or(visca) else {
        return (String::new(), String::new());
    };
    let kind = if control.word.is_udp() { "UDP" } else { "TCP" };
    (
        control.word.as_str().to_owned(),
        format!("{kind} {}", control.port),
    )
}

fn warnings(rig: &Rig, panel: &Device, number: u32, device: &Device) -> Vec<Warning> {
    let points = format!("Channel {number} of {} points at {}", panel.name, device.name);
    let mut found = Vec::new();
    match device.address {
        AddressSpec::Dhcp => found.push(Warning {
            text: format!(
                "{points}, whose address comes from the DHCP server without a reservation and may change."
            ),
            next: format!(
                "Reserve an address for {} in the DHCP server or set one, and write it in the rig file.",
                device.name
            ),
        }),
        AddressSpec::None => found.push(Warning {
            text: format!("{points}, which has no address."),
            next: format!(
                "Take channel {number} out of the rig file, or give {} its address.",
                device.name
            ),
        }),
        AddressSpec::Fixed(_) => {}
    }
    if panel.network != device.network && device.address != AddressSpec::None {
        let net = |d: &Device| {
            let network = rig.networks().find(|n| n.name == d.network);
            network.map_or_else(|| d.network.clone(), |n| n.subnet.to_string())
        };
        found.push(Warning {
            text: format!(
                "{points}, which is in another subnet: the panel is in {}, the device in {}.",
                net(panel),
                net(device)
            ),
            next: format!(
                "Give both a gateway that leads from one to the other, or put {} in the panel's subnet.",
                device.name
            ),
        });
    }
    found
}

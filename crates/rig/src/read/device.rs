//! A `[[device]]` table.

use std::collections::BTreeMap;
use std::ops::Range;

use toml_edit::{Item, TableLike, Value};
use vocab::ControlPort;

use super::cross::{Row, Target};
use super::faults::Faults;
use super::fields::{Entry, Fields, entries};
use super::keys::Kind;
use super::networks::{Home, Networks};
use super::values::{self, FREE_TEXT};
use super::words::quoted;
use crate::{AddressSpec, AskWhen, Channel, Device, How, Need, Power, Reach, Role};

/// The longest cable in metres that is believed (fibre included).
const CABLE: u32 = 100_000;
/// The most watts over a network cable that are believed: a Type 4 port gives 90 (IEEE 802.3bt).
const WATTS: u32 = 100;
/// The fastest stream in Mb/s that is believed.
const STREAM: u32 = 400_000;
/// The highest number of a panel's channel.
const CHANNELS: u32 = 9_999;

/// Reads one `[[device]]`, and what takes part in the checks across tables. Where something is
/// wrong the usual value stands in, never to be seen: a file with an error makes no rig.
pub(super) fn device(
    table: &dyn TableLike,
    place: Range<usize>,
    networks: &Networks,
    faults: &mut Faults,
) -> Row {
    let fields = Fields::new(table, Kind::Device, place.clone(), faults);
    let name = fields
        .needed(
            "name",
            "Write the name on its label, such as name = \"Organ loft\".",
            faults,
        )
        .and_then(|entry| values::name(entry, faults).map(|name| (name, entry.at.clone())));
    let role = fields
        .needed("role", "Write what it is for, such as role = \"camera\".", faults)
        .and_then(|entry| role(entry, faults))
        .unwrap_or(Role::Other);
    let macs = fields
        .get("mac")
        .map(|entry| values::macs(entry, faults))
        .unwrap_or_default();
    let needs_address = "Write its address, such as address = \"10.40.8.21\", or \"dhcp\", or \"none\".";
    let address_entry = fields.needed("address", needs_address, faults);
    let home = networks.home(fields.get("network"), faults);
    let address = address_entry.and_then(|entry| address(entry, &home, networks, faults));
    let spec = address.unwrap_or(AddressSpec::None);
    let how = fields
        .get("how")
        .and_then(|entry| entry.word(&How::ALL.map(|how| (how.as_str(), how)), faults));
    let (channels, targets) = fields
        .get("channels")
        .map(|entry| channels(entry, faults))
        .unwrap_or_default();
    let text = |key: &str, faults: &mut Faults| {
        fields
            .get(key)
            .and_then(|entry| entry.free_text(FREE_TEXT, faults))
    };
    let device = Device {
        name: name.as_ref().map(|(name, _)| name.clone()).unwrap_or_default(),
        role,
        macs: macs.iter().map(|(mac, _)| *mac).collect(),
        address: spec,
        network: home.name,
        how: how.unwrap_or_default(),
        control: fields
            .get("control")
            .map(|entry| control(entry, faults))
            .unwrap_or_default(),
        ask: fields
            .get("ask")
            .and_then(|entry| entry.word(&AskWhen::ALL.map(|ask| (ask.as_str(), ask)), faults))
            .unwrap_or_default(),
        need: fields
            .get("need")
            .and_then(|entry| entry.word(&Need::ALL.map(|need| (need.as_str(), need)), faults))
            .unwrap_or_default(),
        sleeps: fields
            .get("sleeps")
            .and_then(|entry| entry.flag(faults))
            .unwrap_or_default(),
        port: fields
            .get("port")
            .and_then(|entry| values::switch_port(entry, faults)),
        cable_m: fields
            .get("cable_m")
            .and_then(|entry| entry.number(true, CABLE, faults)),
        power: power(&fields, faults),
        stream_mbps: fields
            .get("stream_mbps")
            .and_then(|entry| entry.number(true, STREAM, faults)),
        boot: fields
            .get("boot")
            .and_then(|entry| values::boot(entry, faults))
            .unwrap_or_else(|| Device::usual_boot(role)),
        login: fields.get("login").and_then(|entry| values::login(entry, faults)),
        position: text("position", faults),
        note: text("note", faults),
        used_by: fields
            .get("used_by")
            .map(|entry| used_by(entry, faults))
            .unwrap_or_default(),
        channels,
    };
    let at = address_entry.map(|entry| entry.at.clone());
    let fixed = device.fixed_address().zip(at.clone());
    let dhcp_at = at.filter(|_| spec == AddressSpec::Dhcp);
    Row {
        device: Some(device),
        place,
        name,
        macs,
        address: fixed,
        dhcp_at,
        targets,
    }
}

fn role(entry: &Entry<'_>, faults: &mut Faults) -> Option<Role> {
    if entry.item.as_str() == Some(Role::Switch.as_str()) {
        faults.error(
            &entry.at,
            "a network switch is no [[device]]",
            "Write it as [[switch]] with `name` and `address`: it then counts as a device. For a video switcher write \"switcher\".",
        );
        return None;
    }
    entry.word(&Role::LISTED.map(|role| (role.as_str(), role)), faults)
}

fn address(entry: &Entry<'_>, home: &Home, networks: &Networks, faults: &mut Faults) -> Option<AddressSpec> {
    match entry.text("address = \"10.40.8.21\"", faults)? {
        "dhcp" => {
            if home.reach == Reach::Routed {
                faults.error(
                    &entry.at,
                    format!(
                        "{} is a routed network, where no hardware is seen: nothing would tell which host it is",
                        quoted(&home.name)
                    ),
                    "Reserve an address for it in the DHCP server there, write that address, and how = \"reserved\".",
                );
            }
            Some(AddressSpec::Dhcp)
        }
        "none" => Some(AddressSpec::None),
        text => {
            let others = ", or \"dhcp\", or \"none\" for a thing without one";
            let address = values::address("address", text, &entry.at, others, faults)?;
            // One outside the subnet is kept all the same, so that a second one like it is found.
            networks.inside(home, address, &entry.at, faults);
            Some(AddressSpec::Fixed(address))
        }
    }
}

fn control(entry: &Entry<'_>, faults: &mut Faults) -> Vec<ControlPort> {
    let mut ports = Vec::new();
    for (text, at) in entry.texts(false, "control = [\"visca-udp\", \"http\"]", faults) {
        if let Some(port) = values::control("control", text, &at, faults) {
            if ports.contains(&port) {
                faults.error(
                    &at,
                    format!("{port} stands twice in `control`"),
                    "Keep one of the two.",
                );
            } else {
                ports.push(port);
            }
        }
    }
    ports
}

fn power(fields: &Fields<'_>, faults: &mut Faults) -> Option<Power> {
    let class = fields.get("poe_class");
    let watts = fields.get("watts");
    if let (Some(_), Some(watts)) = (class, watts) {
        faults.error(
            &watts.key_at,
            "`watts` and `poe_class` both say what it draws",
            "Keep one of the two: `watts` if you know the figure, else `poe_class`.",
        );
    }
    let watts = watts
        .and_then(|entry| entry.number(true, WATTS, faults))
        .map(Power::Watts);
    // Classes 0 to 8: IEEE 802.3af, at and bt.
    let class = class
        .and_then(|entry| entry.whole(0..=8, faults))
        .and_then(|class| u8::try_from(class).ok());
    watts.or(class.map(Power::Class))
}

fn used_by(entry: &Entry<'_>, faults: &mut Faults) -> Vec<String> {
    let mut users = Vec::new();
    for (text, at) in entry.texts(false, "used_by = [\"Mixer input 4\"]", faults) {
        if super::fields::clean("used_by", text, &at, FREE_TEXT, faults) {
            users.push(text.to_owned());
        }
    }
    users
}

fn channels(entry: &Entry<'_>, faults: &mut Faults) -> (BTreeMap<u32, Channel>, Vec<Target>) {
    let mut channels = BTreeMap::new();
    let mut targets = Vec::new();
    let example = "channels = { 1 = \"Organ loft\", 2 = \"West door\" }";
    let Some(table) = entry.item.as_table_like() else {
        entry.wrong_type("a table from channel number to device", example, faults);
        return (channels, targets);
    };
    for part in entries(table, &entry.at) {
        let digits = !part.key.is_empty() && part.key.bytes().all(|b| b.is_ascii_digit());
        let number = if digits { part.key.parse().ok() } else { None }.filter(|n| *n <= CHANNELS);
        if number.is_none() {
            faults.error(
                &part.key_at,
                format!("{} is no channel number", quoted(part.key)),
                format!("Write a whole number from 0 to {CHANNELS}: {example}."),
            );
        }
        let Some((target, control)) = target(&part, faults) else {
            continue;
        };
        let Some(number) = number else { continue };
        let channel = Channel {
            device: target.name.clone(),
            control,
        };
        targets.push(target);
        if channels.insert(number, channel).is_some() {
            faults.error(
                &part.key_at,
                format!("channel {number} stands twice"),
                "Give each channel of the panel a number of its own.",
            );
        }
    }
    (channels, targets)
}

/// A channel's device, its place and the control port if one is given.
fn target(part: &Entry<'_>, faults: &mut Faults) -> Option<(Target, Option<ControlPort>)> {
    if let Item::Value(Value::String(name)) = part.item {
        return Some((
            Target {
                name: name.value().clone(),
                at: part.at.clone(),
            },
            None,
        ));
    }
    let Some(table) = part.item.as_table_like() else {
        part.wrong_type(
            "the name of a device, or a table",
            "2 = { device = \"West door\", control = \"visca-tcp:5678\" }",
            faults,
        );
        return None;
    };
    let fields = Fields::new(table, Kind::Channel, part.at.clone(), faults);
    let control = fields.get("control").and_then(|entry| {
        let text = entry.text("control = \"visca-tcp:5678\"", faults)?;
        values::control("control", text, &entry.at, faults)
    });
    let device = fields.needed(
        "device",
        "Write the device's name, such as device = \"West door\".",
        faults,
    )?;
    let name = device.text("device = \"West door\"", faults)?;
    Some((
        Target {
            name: name.to_owned(),
            at: device.at.clone(),
        },
        control,
    ))
}

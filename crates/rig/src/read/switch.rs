//! A `[[switch]]` table.

use std::ops::Range;

use toml_edit::{Item, TableLike};

use super::cross::Row;
use super::faults::Faults;
use super::fields::{Entry, Fields, entries};
use super::keys::Kind;
use super::networks::Networks;
use super::values::{self, PORTS};
use super::words::quoted;
use crate::{AddressSpec, AskWhen, Device, How, Need, PoeType, PoeTypes, Role, Switch};

/// The largest power budget in watts and the fastest uplink in Mb/s that are believed.
const BUDGET: u32 = 100_000;
const UPLINK: u32 = 800_000;

/// Reads one `[[switch]]`, and what takes part in the checks across tables.
pub(super) fn switch(
    table: &dyn TableLike,
    place: Range<usize>,
    networks: &Networks,
    faults: &mut Faults,
) -> (Switch, Row) {
    let fields = Fields::new(table, Kind::Switch, place.clone(), faults);
    let name_entry = fields.needed(
        "name",
        "Write the name on its label, such as name = \"S1\".",
        faults,
    );
    let name = name_entry.and_then(|entry| values::name(entry, faults).map(|name| (name, entry.at.clone())));
    let macs = fields
        .get("mac")
        .map(|entry| values::macs(entry, faults))
        .unwrap_or_default();
    let home = networks.home(fields.get("network"), faults);
    let address = fields.get("address").and_then(|entry| {
        let text = entry.text("address = \"10.40.8.2\"", faults)?;
        let others = "; leave `address` out if the switch has no fixed one";
        let address = values::address("address", text, &entry.at, others, faults)?;
        networks.inside(&home, address, &entry.at, faults);
        Some((address, entry.at.clone()))
    });
    let ports = fields
        .get("ports")
        .and_then(|entry| entry.whole(0..=PORTS, faults));
    let switch = Switch {
        name: name.as_ref().map(|(name, _)| name.clone()).unwrap_or_default(),
        ports,
        budget_w: fields
            .get("budget_w")
            .and_then(|entry| entry.number(true, BUDGET, faults)),
        poe: fields
            .get("poe_type")
            .map_or(PoeTypes::Unsaid, |entry| poe(entry, ports, faults)),
        uplink_mbps: fields
            .get("uplink_mbps")
            .and_then(|entry| entry.number(false, UPLINK, faults)),
        uplink: fields
            .get("uplink")
            .and_then(|entry| values::switch_port(entry, faults)),
        address: address.as_ref().map(|(address, _)| *address),
        network: home.name,
        macs: macs.iter().map(|(mac, _)| *mac).collect(),
    };
    let device = address
        .as_ref()
        .map(|(address, _)| as_device(&switch, AddressSpec::Fixed(*address)));
    let row = Row {
        device,
        place,
        name,
        macs,
        address,
        dhcp_at: None,
        targets: Vec::new(),
    };
    (switch, row)
}

/// A switch with an address counts as a device; the show needs it, and it has no control port.
fn as_device(switch: &Switch, address: AddressSpec) -> Device {
    Device {
        name: switch.name.clone(),
        role: Role::Switch,
        macs: switch.macs.clone(),
        address,
        network: switch.network.clone(),
        how: How::Static,
        control: Vec::new(),
        ask: AskWhen::Once,
        need: Need::Show,
        sleeps: false,
        port: switch.uplink.clone(),
        cable_m: None,
        power: None,
        stream_mbps: None,
        boot: Device::usual_boot(Role::Switch),
        login: None,
        position: None,
        note: None,
        used_by: Vec::new(),
        channels: std::collections::BTreeMap::new(),
    }
}

fn poe_type(item: &Item, key: &str, at: &Range<usize>, faults: &mut Faults) -> Option<PoeType> {
    let number = item.as_integer();
    let found = PoeType::ALL
        .into_iter()
        .find(|kind| number == Some(i64::from(kind.number())));
    if found.is_none() {
        faults.error(
            at,
            format!("`{key}` must be an IEEE 802.3 Type from 1 to 4"),
            "Look for 802.3af (1), 802.3at (2) or 802.3bt (3 or 4) in the switch's data sheet.",
        );
    }
    found
}

fn poe(entry: &Entry<'_>, ports: Option<u32>, faults: &mut Faults) -> PoeTypes {
    let Some(table) = entry.item.as_table_like() else {
        if entry.item.is_integer() {
            return poe_type(entry.item, "poe_type", &entry.at, faults)
                .map_or(PoeTypes::Unsaid, PoeTypes::All);
        }
        entry.wrong_type(
            "a Type from 1 to 4, or a table by ports",
            "poe_type = { \"1-4\" = 3, \"5-8\" = 2 }",
            faults,
        );
        return PoeTypes::Unsaid;
    };
    let mut ranges = Vec::new();
    for part in entries(table, &entry.at) {
        let kind = poe_type(part.item, "poe_type", &part.at, faults);
        let most = ports.filter(|ports| *ports > 0).unwrap_or(PORTS);
        let Some((first, last)) =
            port_range(part.key).filter(|(first, last)| first <= last && *first > 0 && *last <= most)
        else {
            faults.error(
                &part.key_at,
                format!("{} is no range of this switch's ports", quoted(part.key)),
                format!("Write the first and the last port, from 1 to {most}, such as \"1-4\" = 3."),
            );
            continue;
        };
        if let Some(kind) = kind {
            ranges.push((first, last, kind, part.key_at.clone()));
        }
    }
    ranges.sort_by_key(|(first, last, _, at)| (*first, *last, at.start));
    for pair in ranges.windows(2) {
        if let [(_, last, _, one), (first, _, _, two)] = pair
            && first <= last
        {
            let at = if one.start < two.start { two } else { one };
            faults.error(
                at,
                format!("port {first} is in two ranges of `poe_type`"),
                "Let each port be in one range only.",
            );
        }
    }
    let ranges: Vec<_> = ranges
        .into_iter()
        .map(|(first, last, kind, _)| (first, last, kind))
        .collect();
    if ranges.is_empty() {
        return PoeTypes::Unsaid;
    }
    PoeTypes::Ranges(ranges)
}

/// `1-4`, or one port alone.
fn port_range(text: &str) -> Option<(u32, u32)> {
    let number = |text: &str| {
        let text = text.trim();
        (!text.is_empty() && text.bytes().all(|b| b.is_ascii_digit()))
            .then(|| text.parse::<u32>().ok())
            .flatten()
    };
    let (first, last) = text.split_once('-').unwrap_or((text, text));
    Some((number(first)?, number(last)?))
}

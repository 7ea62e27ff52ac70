//! The hand-over and strike sheet: the head count, and how borrowed units were found.

use std::collections::BTreeMap;

use vocab::Mac;

use super::patch::{address, name, role};
use super::{Cell, Column, Kind, Part, Table, code, words};
use crate::{AddressSpec, Device, Rig, Role, Switch};

const COUNT: [Column; 7] = [
    words("there", "There"),
    words("device", "Device"),
    words("role", "Role"),
    words("position", "Position"),
    code("port", "Switch port"),
    words("struck", "Struck"),
    words("remarks", "Remarks"),
];

const BACK: [Column; 8] = [
    words("device", "Device"),
    code("mac", "MAC"),
    code("found_address", "Found at"),
    code("found_mask", "Mask"),
    words("found_dhcp", "DHCP"),
    words("found_at", "On"),
    code("set_to", "Set to"),
    words("put_back", "Put back"),
];

/// How a device was when it was first found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AsFound {
    /// Its name.
    pub device: String,
    /// Its hardware, where known.
    pub mac: Option<Mac>,
    /// Its address.
    pub address: String,
    /// Its mask, where known.
    pub mask: Option<String>,
    /// Whether it asked a DHCP server; `None` if it is not known.
    pub dhcp: Option<bool>,
    /// When, for a person.
    pub when: String,
}

/// The hand-over and strike sheet of `rig`. What `found` does not have is left to be written by hand.
pub fn handover(rig: &Rig, found: &[AsFound]) -> Part {
    let mut part = Part::new(Kind::HandOver);
    part.fact("To count", counted(rig));
    part.tables.push(Table {
        title: "Head count".to_owned(),
        columns: COUNT.to_vec(),
        rows: rig
            .devices
            .iter()
            .map(count_row)
            .chain(bare(rig).map(bare_row))
            .collect(),
    });
    let mut rows = Vec::new();
    let has_address = |d: &&Device| d.address != AddressSpec::None;
    for device in rig.devices.iter().filter(has_address) {
        let before = rows.len();
        let theirs = found.iter().filter(|f| f.device == device.name);
        rows.extend(theirs.map(|f| back_row(device, Some(f))));
        if rows.len() == before {
            rows.push(back_row(device, None));
        }
    }
    part.tables.push(Table {
        title: "Borrowed units: as found, and put back".to_owned(),
        columns: BACK.to_vec(),
        rows,
    });
    part.notes.push(
        "Strike out what is your own. What stands under \"found\" comes from the journal; the rest is written by hand \
         before anything is changed."
            .to_owned(),
    );
    let sign = ["Handed over by", "Taken over by", "Struck and counted by"];
    part.sign = sign.map(str::to_owned).to_vec();
    part
}

/// How many of each role.
fn counted(rig: &Rig) -> String {
    let mut roles: BTreeMap<Role, usize> = BTreeMap::new();
    for device in &rig.devices {
        *roles.entry(device.role).or_default() += 1;
    }
    // A switch without an address is carried out of the hall all the same.
    for _ in bare(rig) {
        *roles.entry(Role::Switch).or_default() += 1;
    }
    let all: usize = roles.values().sum();
    let each: Vec<String> = roles.iter().map(|(r, n)| format!("{} {n}", role(*r))).collect();
    if each.is_empty() {
        return "nothing".to_owned();
    }
    format!("{all} in all: {}", each.join(", "))
}

/// Switches without an address, which are no devices.
fn bare(rig: &Rig) -> impl Iterator<Item = &Switch> {
    rig.switches.iter().filter(|s| rig.device(&s.name).is_none())
}

fn bare_row(switch: &Switch) -> Vec<Cell> {
    let port = switch
        .uplink
        .as_ref()
        .map(ToString::to_string)
        .unwrap_or_default();
    let name = switch.name.clone();
    vec![
        Cell::Tick,
        name.into(),
        role(Role::Switch).into(),
        Cell::EMPTY,
        port.into(),
        Cell::Tick,
        Cell::ByHand,
    ]
}

fn count_row(device: &Device) -> Vec<Cell> {
    vec![
        Cell::Tick,
        name(device).into(),
        role(device.role).into(),
        device.position.clone().unwrap_or_default().into(),
        device
            .port
            .as_ref()
            .map(ToString::to_string)
            .unwrap_or_default()
            .into(),
        Cell::Tick,
        Cell::ByHand,
    ]
}

fn back_row(device: &Device, found: Option<&AsFound>) -> Vec<Cell> {
    let listed = device.macs.first();
    let mac = found
        .and_then(|f| f.mac.as_ref())
        .or(listed)
        .map(ToString::to_string);
    let or_hand = |text: Option<String>| text.map_or(Cell::ByHand, Cell::Text);
    let dhcp = found
        .and_then(|f| f.dhcp)
        .map(|asks| if asks { "yes" } else { "no" }.to_owned());
    vec![
        device.name.clone().into(),
        or_hand(mac),
        or_hand(found.map(|f| f.address.clone())),
        or_hand(found.and_then(|f| f.mask.clone())),
        or_hand(dhcp),
        or_hand(found.map(|f| f.when.clone())),
        address(device).into(),
        Cell::Tick,
    ]
}

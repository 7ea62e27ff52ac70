//! The networks of a table: from rows of their kind, from what the caller knows, or from masks.

use std::net::Ipv4Addr;

use vocab::Ipv4Net;

use super::columns::Column;
use super::read::Given;
use super::rows::{Faults, Kind, Place, Row};
use super::values;
use crate::read::words::quoted;
use crate::{Network, Reach, spell};

/// One network as the table, or its reader, has it.
pub(super) struct Net {
    pub(super) name: String,
    /// The key of the rig file, its value there, and where it stands.
    pub(super) entries: Vec<(&'static str, String, Place)>,
    /// The ranges of its lease pools.
    pub(super) leases: Vec<(String, Place)>,
    /// Where its row is, if it has one.
    pub(super) place: Place,
}

impl Net {
    fn new(name: &str, place: Place) -> Self {
        Self {
            name: name.to_owned(),
            entries: Vec::new(),
            leases: Vec::new(),
            place,
        }
    }

    fn put(&mut self, key: &'static str, value: String, place: Place) {
        self.entries.push((key, value, place));
    }

    fn get(&self, key: &str) -> Option<&str> {
        let entry = self.entries.iter().find(|(other, _, _)| *other == key);
        entry.map(|(_, value, _)| value.trim_matches('"'))
    }

    fn subnet(&self) -> Option<Ipv4Net> {
        self.get("subnet")?.parse().ok()
    }
}

/// All networks, the main one first. Without a main one the reason is told already.
pub(super) fn networks(rows: &[Row<'_>], given: &Given<'_>, faults: &mut Faults) -> Vec<Net> {
    let mut nets: Vec<Net> = Vec::new();
    for row in rows.iter().filter(|row| row.kind == Kind::Network) {
        let net = of_row(row, faults);
        if let Some(first) = nets.iter().find(|other| other.name == net.name) {
            faults.error(
                row.place(),
                format!(
                    "the network {} has a row already, on line {}",
                    quoted(&net.name),
                    first.place.line
                ),
                "Keep one of the two rows, or give each network a name of its own.",
            );
        } else {
            nets.push(net);
        }
    }
    // Whether the main network has no row, so that the gateway is what the devices say.
    let mut by_devices = false;
    let mut by_masks = false;
    if !nets.iter().any(|net| net.name == Network::MAIN) {
        let main = match (given.rig, given.subnet) {
            (Some(rig), _) => {
                let known = |nets: &[Net], network: &Network| nets.iter().any(|net| net.name == network.name);
                for network in rig.networks() {
                    if !known(&nets, network) {
                        nets.push(of_network(network));
                    }
                }
                None
            }
            (None, Some(subnet)) => {
                by_devices = true;
                let mut net = Net::new(Network::MAIN, Place::row(1));
                net.put("subnet", spell::quote(&subnet.to_string()), Place::row(1));
                Some(net)
            }
            (None, None) => {
                (by_devices, by_masks) = (true, true);
                of_masks(rows, faults)
            }
        };
        nets.extend(main);
    }
    // The main one first.
    nets.sort_by_key(|net| net.name != Network::MAIN);
    leases(rows, &mut nets, faults);
    check(rows, &mut nets, by_devices, by_masks, faults);
    nets
}

fn of_row(row: &Row<'_>, faults: &mut Faults) -> Net {
    let name = row
        .text(Column::Name)
        .map_or_else(|| Network::MAIN.to_owned(), |(name, _)| name);
    let mut net = Net::new(&name, row.place());
    for (key, column) in [
        ("subnet", Column::Subnet),
        ("gateway", Column::Gateway),
        ("reach", Column::Reach),
        ("pace", Column::Pace),
        ("shared", Column::Shared),
    ] {
        let Some((text, place)) = row.text(column) else {
            continue;
        };
        let value = match column {
            Column::Shared => values::flag(&text).map(|flag| flag.to_string()),
            Column::Pace => Ok(values::whole(&text).unwrap_or_else(|_| spell::quote(&values::word(&text)))),
            Column::Reach => Ok(spell::quote(&values::word(&text))),
            _ => Ok(spell::quote(&text)),
        };
        match value {
            // The main network is always on the wire, and has no such key.
            Ok(_)
                if key == "reach" && name == Network::MAIN && values::word(&text) == Reach::Wire.as_str() => {
            }
            Ok(value) => net.put(key, value, place),
            Err((message, mend)) => faults.error(place, message, mend),
        }
    }
    net
}

fn of_network(network: &Network) -> Net {
    let nowhere = Place::row(1);
    let mut net = Net::new(&network.name, nowhere);
    net.put("subnet", spell::quote(&network.subnet.to_string()), nowhere);
    if network.reach != Reach::default() {
        net.put("reach", spell::quote(network.reach.as_str()), nowhere);
    }
    if let Some(gateway) = network.gateway {
        net.put("gateway", spell::quote(&gateway.to_string()), nowhere);
    }
    let pace = spell::pace(network.pace);
    net.put(
        "pace",
        values::whole(&pace).unwrap_or_else(|_| spell::quote(&pace)),
        nowhere,
    );
    net.put("shared", network.shared.to_string(), nowhere);
    net.leases = network
        .leases
        .iter()
        .map(|range| (range.to_string(), nowhere))
        .collect();
    net
}

/// What the masks of the fixed addresses on the main network agree on.
fn of_masks(rows: &[Row<'_>], faults: &mut Faults) -> Option<Net> {
    let mut found: Option<(Ipv4Net, Place)> = None;
    for row in rows
        .iter()
        .filter(|row| row.is_unit() && row.text(Column::Network).is_none())
    {
        let address = row
            .text(Column::Address)
            .and_then(|(text, _)| text.parse::<Ipv4Addr>().ok());
        let mask = row
            .text(Column::Mask)
            .and_then(|(text, place)| Some((values::mask(&text).ok()?, place)));
        let Some((address, (length, place))) = address.zip(mask) else {
            continue;
        };
        let Ok(net) = Ipv4Net::new(address, length) else {
            continue;
        };
        let net = net.trunc();
        match found {
            None => found = Some((net, place)),
            Some((first, at)) if first != net => {
                faults.error(
                    place,
                    format!("by its mask {address} lies in {net}, and line {} in {first}", at.line),
                    "Correct the address or the mask; or give each network a row of the kind network, and name it in a column network.",
                );
            }
            Some(_) => {}
        }
    }
    let Some((subnet, place)) = found else {
        faults.error(
            Place::row(1),
            "nothing in this table tells the subnet of the rig",
            "Give it on the command line, such as --subnet 10.40.8.0/24; or add a column mask, or a row of the kind network with its subnet.",
        );
        return None;
    };
    let mut net = Net::new(Network::MAIN, place);
    net.put("subnet", spell::quote(&subnet.to_string()), place);
    Some(net)
}

fn leases(rows: &[Row<'_>], nets: &mut [Net], faults: &mut Faults) {
    let mut renewed: Vec<String> = Vec::new();
    for row in rows.iter().filter(|row| row.kind == Kind::Leases) {
        let (name, at) = row
            .text(Column::Network)
            .unwrap_or_else(|| (Network::MAIN.to_owned(), row.place()));
        let Some((range, place)) = row.text(Column::Address) else {
            faults.error(
                row.place(),
                "these leases have no range of addresses",
                "Write it into the column address, such as 10.40.8.100-10.40.8.180.",
            );
            continue;
        };
        let Some(net) = nets.iter_mut().find(|net| net.name == name) else {
            if name != Network::MAIN {
                faults.error(
                    at,
                    format!("no network is called {}", quoted(&name)),
                    "Add a row of the kind network with that name, or leave the cell empty for the main one.",
                );
            }
            continue;
        };
        // What the table says goes before what the caller knows.
        if !renewed.contains(&name) {
            net.leases.clear();
            renewed.push(name);
        }
        net.leases.push((range, place));
    }
}

/// Holds mask and gateway of each device against its network. Where the main network has no row, the
/// gateway that its devices agree on is its own; masks that made it have been held against each other.
fn check(rows: &[Row<'_>], nets: &mut [Net], by_devices: bool, by_masks: bool, faults: &mut Faults) {
    for row in rows.iter().filter(|row| row.is_unit()) {
        let name = row.text(Column::Network).map(|(name, _)| name);
        let name = name.as_deref().unwrap_or(Network::MAIN);
        let net = nets.iter_mut().find(|net| net.name == name);
        if let Some((text, place)) = row.text(Column::Mask) {
            match (values::mask(&text), net.as_ref().and_then(|net| net.subnet())) {
                (Err((message, mend)), _) => faults.error(place, message, mend),
                (Ok(length), Some(subnet))
                    if length != subnet.prefix_len() && !(by_masks && name == Network::MAIN) =>
                {
                    faults.error(
                        place,
                        format!("the mask {} is not that of the network {subnet}", quoted(&text)),
                        format!("Write {}, or correct the subnet.", subnet.netmask()),
                    );
                }
                _ => {}
            }
        }
        let (Some((text, place)), Some(net)) = (row.text(Column::Gateway), net) else {
            continue;
        };
        match net.get("gateway") {
            Some(gateway) if gateway == text => {}
            None if by_devices && net.name == Network::MAIN => {
                net.put("gateway", spell::quote(&text), place);
            }
            gateway => faults.error(
                place,
                format!(
                    "the gateway {} is not that of the network, which is {}",
                    quoted(&text),
                    gateway.unwrap_or("none")
                ),
                "Let all devices of a network have its gateway, or leave the column out.",
            ),
        }
    }
}

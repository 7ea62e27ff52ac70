//! What stands in a table of a network, and the `[plan]` table.

use std::collections::BTreeMap;
use std::net::{Ipv4Addr, Ipv6Addr};
use std::num::NonZeroU32;
use std::ops::Range;

use toml_edit::{Item, TableLike, Value};
use vocab::{AddressRange, Ipv4Net, Pace};

use super::faults::Faults;
use super::fields::{Entry, Fields, entries, unknown_word, what};
use super::keys::Kind;
use super::values;
use super::words::quoted;
use crate::{Network, Plan, Reach, Role};

/// Frames of minimum size a second on a gigabit port (IEEE 802.3): nothing can be asked faster.
const FASTEST: i64 = 1_488_095;

/// Reads a network. Without a usable subnet there is none, and nothing that depends on it is
/// checked.
pub(super) fn network(
    fields: &Fields<'_>,
    name: String,
    reach: Reach,
    faults: &mut Faults,
) -> Option<Network> {
    let subnet = fields
        .needed(
            "subnet",
            "Write the network's addresses, such as subnet = \"10.40.8.0/24\".",
            faults,
        )
        .and_then(|entry| subnet(entry, faults));
    let gateway = fields.get("gateway").and_then(|entry| {
        let text = entry.text("gateway = \"10.40.8.1\"", faults)?;
        let gateway = values::address("gateway", text, &entry.at, "", faults)?;
        subnet
            .is_none_or(|subnet| inside("the gateway ", gateway, subnet, &entry.at, faults))
            .then_some(gateway)
    });
    let leases = fields
        .get("leases")
        .map(|entry| ranges(entry, subnet, true, faults))
        .unwrap_or_default();
    let pace = fields
        .get("pace")
        .and_then(|entry| pace(entry, faults))
        .unwrap_or_default();
    let shared = fields
        .get("shared")
        .and_then(|entry| entry.flag(faults))
        .unwrap_or_default();
    Some(Network {
        name,
        reach,
        subnet: subnet?,
        gateway,
        leases,
        pace,
        shared,
    })
}

/// Reads `[plan]`.
pub(super) fn plan(
    table: &dyn TableLike,
    place: Range<usize>,
    subnet: Option<Ipv4Net>,
    faults: &mut Faults,
) -> Plan {
    let fields = Fields::new(table, Kind::Plan, place, faults);
    let reserved = fields
        .get("reserved")
        .map(|entry| ranges(entry, subnet, false, faults))
        .unwrap_or_default();
    let blocks = fields
        .get("blocks")
        .map(|entry| blocks(entry, subnet, faults))
        .unwrap_or_default();
    Plan { reserved, blocks }
}

fn subnet(entry: &Entry<'_>, faults: &mut Faults) -> Option<Ipv4Net> {
    let text = entry.text("subnet = \"10.40.8.0/24\"", faults)?;
    let (fault, mend): (String, String) = match text.parse::<Ipv4Net>() {
        Ok(net) if net.prefix_len() < 16 => (
            format!(
                "a /{} is too large: {} addresses to ask",
                net.prefix_len(),
                1_u64 << (32 - net.prefix_len())
            ),
            "Give the smaller part that the rig uses, /16 at most; /24 is usual.".into(),
        ),
        Ok(net) if net.prefix_len() > 30 => (
            format!("a /{} has no room for a rig", net.prefix_len()),
            "Check the mask on a device of the rig: 255.255.255.0 is /24. The smallest is /30.".into(),
        ),
        Ok(net) if net.addr() != net.network() => {
            faults.error(
                &entry.at,
                format!("{net} is an address in a network, not the network itself"),
                format!("Write subnet = \"{}\".", net.trunc()),
            );
            // What was meant is plain, so the addresses can be checked against it.
            return Some(net.trunc());
        }
        Ok(net) if no_hosts(net.network()) => (
            format!("{net} is not for hosts on a network"),
            "Write the network that the rig's devices have, such as \"10.40.8.0/24\".".into(),
        ),
        Ok(net) => return Some(net),
        Err(_) => match text.split_once('/') {
            Some((address, _)) if address.parse::<Ipv6Addr>().is_ok() => (
                format!(
                    "{} is IPv6; a rig is described by its IPv4 network only",
                    quoted(text)
                ),
                "Write the IPv4 network, such as \"10.40.8.0/24\".".into(),
            ),
            None if text.parse::<Ipv6Addr>().is_ok() => (
                format!(
                    "{} is IPv6; a rig is described by its IPv4 network only",
                    quoted(text)
                ),
                "Write the IPv4 network, such as \"10.40.8.0/24\".".into(),
            ),
            None if text.parse::<Ipv4Addr>().is_ok() => (
                format!("{} has no prefix length", quoted(text)),
                "Add it after a slash: the mask 255.255.255.0 is /24.".into(),
            ),
            _ => (
                format!("{} is no IPv4 network", quoted(text)),
                "Write its first address, a slash and the prefix length, such as \"10.40.8.0/24\".".into(),
            ),
        },
    };
    faults.error(&entry.at, fault, mend);
    None
}

/// Networks where no host on a wire lives: "this network" and loopback (RFC 1122, 3.2.1.3),
/// multicast (RFC 5771) and what was class E (RFC 1112, 4), all numbers from memory.
fn no_hosts(address: Ipv4Addr) -> bool {
    matches!(address.octets(), [0 | 127 | 224.., ..])
}

fn pace(entry: &Entry<'_>, faults: &mut Faults) -> Option<Pace> {
    match entry.item {
        Item::Value(Value::String(text)) => match text.value().as_str() {
            "own" => Some(Pace::Own),
            "house" => Some(Pace::House),
            "max" => {
                faults.error(
                    &entry.at,
                    "\"max\" is for benchmarks, not for a rig",
                    "Write \"own\" for a network of your own, \"house\" for a shared one, or frames per second.",
                );
                None
            }
            other => {
                let near = faults.nearest(other, ["own", "house"]);
                let mend = "Write \"own\", \"house\" or whole frames per second.";
                let mend =
                    near.map_or_else(|| mend.into(), |near| format!("Did you mean \"{near}\"? {mend}"));
                faults.error(
                    &entry.at,
                    format!("{} is no word for `pace`", quoted(other)),
                    mend,
                );
                None
            }
        },
        Item::Value(Value::Integer(n)) => {
            let fits = Some(*n.value()).filter(|n| (1..=FASTEST).contains(n));
            let pace = fits
                .and_then(|n| u32::try_from(n).ok())
                .and_then(NonZeroU32::new)
                .map(Pace::PerSecond);
            if pace.is_none() {
                faults.error(
                    &entry.at,
                    "this number is out of range for `pace`",
                    format!("Write whole frames per second from 1 to {FASTEST}, or \"own\" or \"house\"."),
                );
            }
            pace
        }
        _ => {
            entry.wrong_type(
                "\"own\", \"house\" or whole frames per second",
                "pace = \"own\"",
                faults,
            );
            None
        }
    }
}

/// Reports an address that no host of the subnet can hold.
pub(super) fn inside(
    who: &str,
    address: Ipv4Addr,
    subnet: Ipv4Net,
    at: &Range<usize>,
    faults: &mut Faults,
) -> bool {
    let fault = if !subnet.contains(&address) {
        format!("{who}{address} lies outside the subnet {subnet}")
    } else if address == subnet.network() {
        format!("{who}{address} is the address of the network {subnet} itself")
    } else if address == subnet.broadcast() {
        format!("{who}{address} is the broadcast address of {subnet}")
    } else {
        return true;
    };
    let hosts = Network::host_range(subnet);
    faults.error(
        at,
        fault,
        format!(
            "Write an address from {} to {}, or correct `subnet`.",
            hosts.first(),
            hosts.last()
        ),
    );
    false
}

fn range_inside(
    range: AddressRange,
    subnet: Option<Ipv4Net>,
    at: &Range<usize>,
    faults: &mut Faults,
) -> bool {
    let Some(subnet) = subnet else { return true };
    let hosts = Network::host_range(subnet);
    let fits = hosts.contains(range.first()) && hosts.contains(range.last());
    if !fits {
        faults.error(
            at,
            format!("{range} goes beyond the hosts of {subnet}"),
            format!(
                "Stay between {} and {}, or correct `subnet`.",
                hosts.first(),
                hosts.last()
            ),
        );
    }
    fits
}

fn ranges(entry: &Entry<'_>, subnet: Option<Ipv4Net>, apart: bool, faults: &mut Faults) -> Vec<AddressRange> {
    let example = format!("{} = [\"10.40.8.100-10.40.8.180\"]", entry.key);
    let mut kept: Vec<(AddressRange, Range<usize>)> = Vec::new();
    for (text, at) in entry.texts(false, &example, faults) {
        if let Some(range) = values::range(text, &at, faults)
            && range_inside(range, subnet, &at, faults)
        {
            kept.push((range, at));
        }
    }
    if apart {
        overlaps(&kept, |range| range.to_string(), faults);
    }
    kept.into_iter().map(|(range, _)| range).collect()
}

/// Reports ranges that share addresses with one before them in the order of addresses.
fn overlaps(
    ranges: &[(AddressRange, Range<usize>)],
    name: impl Fn(AddressRange) -> String,
    faults: &mut Faults,
) {
    let mut sorted: Vec<_> = ranges.iter().collect();
    sorted.sort_by_key(|(range, at)| (range.first(), range.last(), at.start));
    let mut widest: Option<&(AddressRange, Range<usize>)> = None;
    for this in sorted {
        if let Some(before) = widest
            && before.0.overlaps(this.0)
        {
            let (first, second) = if before.1.start < this.1.start {
                (before, this)
            } else {
                (this, before)
            };
            faults.error(
                &second.1,
                format!("{} overlaps {}", name(second.0), name(first.0)),
                "Let each address be in one of them only.",
            );
        }
        if widest.is_none_or(|before| this.0.last() > before.0.last()) {
            widest = Some(this);
        }
    }
}

fn blocks(entry: &Entry<'_>, subnet: Option<Ipv4Net>, faults: &mut Faults) -> BTreeMap<Role, AddressRange> {
    let example = "blocks = { camera = \"10.40.8.20-59\" }";
    let Some(table) = entry.item.as_table_like() else {
        entry.wrong_type("a table from role to range", example, faults);
        return BTreeMap::new();
    };
    let mut kept = Vec::new();
    let mut blocks = BTreeMap::new();
    for block in entries(table, &entry.at) {
        let role = Role::ALL.into_iter().find(|role| role.as_str() == block.key);
        if role.is_none() {
            unknown_word(
                "blocks",
                block.key,
                &block.key_at,
                Role::ALL.into_iter().map(Role::as_str),
                faults,
            );
        }
        let Some(text) = block.item.as_str() else {
            faults.error(
                &block.at,
                format!(
                    "a block must be a range in double quotes, and this is {}",
                    what(block.item)
                ),
                format!("Write for instance {example}."),
            );
            continue;
        };
        if let Some(range) = values::range(text, &block.at, faults)
            && range_inside(range, subnet, &block.at, faults)
            && let Some(role) = role
        {
            kept.push((range, block.at.clone()));
            blocks.insert(role, range);
        }
    }
    overlaps(&kept, |range| range.to_string(), faults);
    blocks
}

//! How values are written.

use std::collections::BTreeMap;

use vocab::{AddressRange, Mac, Pace};

use super::NetworkKey;
pub(super) use crate::spell::quote;
use crate::{Role, spell};

pub(super) fn list(values: impl Iterator<Item = String>) -> String {
    format!("[{}]", values.collect::<Vec<_>>().join(", "))
}

pub(super) fn macs(macs: &[Mac]) -> String {
    match macs {
        [one] => quote(&one.to_string()),
        several => list(several.iter().map(|mac| quote(&mac.to_string()))),
    }
}

/// Ranges, or nothing where there are none.
pub(super) fn ranges(ranges: &[AddressRange]) -> Option<String> {
    (!ranges.is_empty()).then(|| list(ranges.iter().map(|range| quote(&range.to_string()))))
}

/// A block in the short form, such as "10.40.8.20-59", where that will do.
pub(super) fn block(range: AddressRange) -> String {
    let (first, last) = (range.first().octets(), range.last().octets());
    let text = if first[..3] == last[..3] && first != last {
        format!("{}-{}", range.first(), last[3])
    } else {
        range.to_string()
    };
    quote(&text)
}

/// Blocks on one line, or nothing where there are none.
pub(super) fn blocks(blocks: &BTreeMap<Role, AddressRange>) -> Option<String> {
    let entries: Vec<String> = blocks
        .iter()
        .map(|(role, range)| format!("{} = {}", role.as_str(), block(*range)))
        .collect();
    (!entries.is_empty()).then(|| format!("{{ {} }}", entries.join(", ")))
}

/// The key of a network and its value; nothing takes it out.
pub(super) fn network(key: &NetworkKey) -> (&'static str, Option<String>) {
    match key {
        NetworkKey::Subnet(subnet) => ("subnet", Some(quote(&subnet.to_string()))),
        NetworkKey::Reach(reach) => ("reach", Some(quote(reach.as_str()))),
        NetworkKey::Gateway(gateway) => ("gateway", gateway.map(|gateway| quote(&gateway.to_string()))),
        NetworkKey::Leases(leases) => ("leases", ranges(leases)),
        NetworkKey::Pace(Pace::PerSecond(frames)) => ("pace", Some(frames.to_string())),
        NetworkKey::Pace(word) => ("pace", Some(quote(&spell::pace(*word)))),
        NetworkKey::Shared(shared) => ("shared", Some(shared.to_string())),
    }
}

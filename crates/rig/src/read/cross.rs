//! Checks across tables: what must be unique, what must exist, what may clash.

use std::collections::HashMap;
use std::fmt::Display;
use std::hash::Hash;
use std::net::Ipv4Addr;
use std::ops::Range;

use vocab::Mac;

use super::faults::Faults;
use super::networks::Networks;
use super::source::Source;
use super::words::quoted;
use crate::{Device, How, Network};

/// The device that a channel points at.
pub(super) struct Target {
    pub(super) name: String,
    pub(super) at: Range<usize>,
}

/// What one `[[device]]` or `[[switch]]` brings to the checks, each with its place.
pub(super) struct Row {
    /// The device; `None` for a switch without an address.
    pub(super) device: Option<Device>,
    /// Where its table begins.
    pub(super) place: Range<usize>,
    pub(super) name: Option<(String, Range<usize>)>,
    pub(super) macs: Vec<(Mac, Range<usize>)>,
    pub(super) address: Option<(Ipv4Addr, Range<usize>)>,
    /// Where it says "dhcp".
    pub(super) dhcp_at: Option<Range<usize>>,
    pub(super) targets: Vec<Target>,
}

impl Row {
    fn called(&self) -> String {
        self.name
            .as_ref()
            .map_or_else(|| "a device without a name".into(), |(name, _)| quoted(name))
    }
}

/// What was seen first, and where.
struct Seen<'r, K>(HashMap<K, (&'r Row, usize)>);

impl<'r, K: Eq + Hash + Display> Seen<'r, K> {
    fn new() -> Self {
        Self(HashMap::new())
    }

    /// Notes one; if it was there before, says whose it is and on which line (from 1).
    fn note(
        &mut self,
        key: K,
        row: &'r Row,
        at: &Range<usize>,
        source: &Source<'_>,
    ) -> Option<(String, usize)> {
        let known = self
            .0
            .get(&key)
            .map(|(row, at)| (row.called(), source.number_of(*at)));
        if known.is_none() {
            self.0.insert(key, (row, at.start));
        }
        known
    }
}

/// Checks all rows, in the order of the file, against each other and against their networks.
pub(super) fn check(rows: &[Row], networks: &Networks, source: &Source<'_>, faults: &mut Faults) {
    let (mut names, mut macs, mut addresses) = (Seen::new(), Seen::new(), Seen::new());
    for row in rows {
        if let Some((name, at)) = &row.name
            && let Some((_, line)) = names.note(name.as_str(), row, at, source)
        {
            faults.error(
                at,
                format!("the name {} is taken already, on line {line}", quoted(name)),
                "Give each device and switch a name of its own.",
            );
        }
        for (mac, at) in &row.macs {
            if let Some((owner, line)) = macs.note(*mac, row, at, source) {
                faults.error(
                    at,
                    format!("{mac} is already the hardware address of {owner}, on line {line}"),
                    "Read both labels again; each hardware address belongs to one device.",
                );
            }
        }
        if let Some((address, at)) = &row.address {
            if let Some((owner, line)) = addresses.note(*address, row, at, source) {
                faults.error(
                    at,
                    format!("{address} is already the address of {owner}, on line {line}"),
                    "Give one of the two another address.",
                );
            }
            let network = row
                .device
                .as_ref()
                .and_then(|device| networks.get(&device.network));
            if let Some(network) = network {
                against_network(row, *address, at, network, faults);
            }
        }
        if let Some(at) = row.dhcp_at.as_ref().filter(|_| row.macs.is_empty()) {
            faults.warning(
                at,
                format!(
                    "{} has its address by DHCP and no `mac`, so nothing tells which host it is",
                    row.called()
                ),
                "Add its `mac`; until then it stays missing, or a match is accepted by hand.",
            );
        }
    }
    channels(rows, faults);
}

fn against_network(row: &Row, address: Ipv4Addr, at: &Range<usize>, network: &Network, faults: &mut Faults) {
    if network.gateway == Some(address) {
        faults.error(
            at,
            format!("the address {address} is the gateway's"),
            "Give it another address; the gateway itself needs no table of its own.",
        );
    }
    let reserved = row
        .device
        .as_ref()
        .is_some_and(|device| device.how == How::Reserved);
    if let Some(pool) = network.leases.iter().find(|pool| pool.contains(address))
        && !reserved
    {
        faults.warning(
            at,
            format!("{} has the fixed address {address} in the lease pool {pool}: the DHCP server may give it to another", row.called()),
            "Give it an address outside the pool, or reserve it in the DHCP server and write how = \"reserved\".",
        );
    }
}

fn channels(rows: &[Row], faults: &mut Faults) {
    // In a damaged file the device may well stand in the part that could not be read.
    if faults.damaged {
        return;
    }
    let names: Vec<&str> = rows
        .iter()
        .filter(|row| row.device.is_some())
        .filter_map(|row| row.name.as_ref().map(|(name, _)| name.as_str()))
        .collect();
    let known: std::collections::HashSet<&str> = names.iter().copied().collect();
    for target in rows.iter().flat_map(|row| &row.targets) {
        if !known.contains(target.name.as_str()) {
            let mend = match faults.nearest(&target.name, names.iter().copied()) {
                Some(near) => format!("Did you mean {}?", quoted(near)),
                None => "Write the name of a [[device]] as it stands in its `name`, or take the channel out."
                    .into(),
            };
            faults.error(
                &target.at,
                format!("no device is called {}", quoted(&target.name)),
                mend,
            );
        }
    }
}

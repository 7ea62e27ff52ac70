//! Findings about this computer: it is a host too.

use std::net::Ipv4Addr;

use vocab::Medium;

use crate::asking::passes::host_range;
use crate::find::made;
use crate::ledger::Ledger;
use crate::{Finding, FindingKind, Severity};

/// Addresses tried in looking for a free one.
const MAX_TRIED: usize = 1_024;

impl Ledger {
    pub(crate) fn find_computer(&self, all: &mut Vec<Finding>) {
        let (Some(station), Some(subnet)) = (&self.station, self.subnet()) else {
            return;
        };
        let here: Vec<_> = station
            .addresses
            .iter()
            .filter(|n| subnet.contains(&n.addr()))
            .collect();
        let mask = subnet.netmask();
        match here.as_slice() {
            [] => {
                let free = self
                    .free_address()
                    .map_or_else(String::new, |a| format!(" such as {a}"));
                all.push(Finding {
                    macs: vec![station.mac],
                    ..made(
                        FindingKind::ThisComputerOffSubnet,
                        Severity::Fault,
                        format!(
                            "This computer has no address in {subnet}, so it cannot drive the devices there."
                        ),
                        format!(
                            "Give {} a free address{free}, mask {mask}, in this computer's network settings.",
                            station.name
                        ),
                    )
                });
            }
            [first, ..] if here.iter().all(|n| n.prefix_len() != subnet.prefix_len()) => {
                all.push(Finding {
                    address: Some(first.addr()),
                    macs: vec![station.mac],
                    ..made(
                        FindingKind::MaskMismatch,
                        Severity::Fault,
                        format!(
                            "This computer's mask is {}, the rig's is {mask}.",
                            first.netmask()
                        ),
                        format!(
                            "Set the mask of {} to {mask} in this computer's network settings.",
                            station.name
                        ),
                    )
                });
            }
            _ => {}
        }
        if self.settings.rig.is_none() {
            return;
        }
        if station.medium == Medium::Wireless {
            all.push(made(
                FindingKind::WirelessLink,
                Severity::Risk,
                format!("This computer looks at the rig over Wi-Fi ({}).", station.name),
                "Plug this computer into the rig's switch by cable.",
            ));
        }
        let other = station
            .others
            .iter()
            .find(|o| o.addresses.iter().any(|n| subnet.contains(&n.addr())));
        if let Some(other) = other.filter(|_| !here.is_empty()) {
            all.push(Finding {
                address: other
                    .addresses
                    .iter()
                    .map(vocab::Ipv4Net::addr)
                    .find(|a| subnet.contains(a)),
                ..made(
                    FindingKind::TwoWaysToRig,
                    Severity::Risk,
                    format!(
                        "This computer reaches the rig by {} and by {}.",
                        station.name, other.name
                    ),
                    format!(
                        "Take {} off the rig's network in this computer's network settings.",
                        other.name
                    ),
                )
            });
        }
    }

    /// An address in the subnet that nobody is known to use, from the top down.
    /// The highest address of the subnet that is nobody's, by the file and by all that was heard.
    pub(crate) fn free_address(&self) -> Option<Ipv4Addr> {
        let range = self.subnet().and_then(host_range)?;
        let rig = self.settings.rig.as_ref();
        (u32::from(range.first())..=u32::from(range.last()))
            .rev()
            .take(MAX_TRIED)
            .map(Ipv4Addr::from)
            .find(|a| {
                let taken = self.by_address.contains_key(a)
                    || self.gateway() == Some(*a)
                    || self.is_ours(*a)
                    || self.hosts.holders(*a).next().is_some();
                let kept = rig.is_some_and(|r| {
                    r.network
                        .leases
                        .iter()
                        .chain(&r.plan.reserved)
                        .chain(r.plan.blocks.values())
                        .any(|x| x.contains(*a))
                });
                !taken && !kept
            })
    }
}

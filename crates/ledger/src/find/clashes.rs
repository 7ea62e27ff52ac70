//! Findings about clashes that no device's standing tells of: our own address, the gateway's, strangers'.

use std::collections::BTreeSet;
use std::net::Ipv4Addr;

use vocab::{Mac, Moment};

use crate::find::made;
use crate::judging::clash::{MAX_NAMED, and};
use crate::judging::words::number;
use crate::ledger::Ledger;
use crate::{Finding, FindingKind, Severity};

/// Clashes between strangers that are told.
const MAX_CLASHES: usize = 50;

impl Ledger {
    /// Whether the standing of a device tells of a clash at `address`.
    fn decides(&self, address: Ipv4Addr) -> bool {
        self.by_address.contains_key(&address)
            || self
                .device_at(address)
                .is_some_and(|i| self.tracks[i].evidence.here.is_some_and(|(_, a)| a == address))
    }

    pub(crate) fn find_clashes(&self, all: &mut Vec<Finding>) {
        let own = self
            .station
            .iter()
            .flat_map(|s| s.addresses.iter().map(vocab::Ipv4Net::addr));
        let first: BTreeSet<Ipv4Addr> = own.chain(self.gateway()).collect();
        let strangers = self
            .hosts
            .contested()
            .filter(|a| !first.contains(a))
            .take(MAX_CLASHES * 4);
        let mut told = 0;
        for address in first.iter().copied().chain(strangers) {
            if self.decides(address) || told >= MAX_CLASHES {
                continue;
            }
            let (clash, began) = self.clash(None, address);
            if clash.is_empty() {
                continue;
            }
            told += 1;
            let ours = self.is_ours(address);
            let gateway = self.gateway() == Some(address);
            let macs: Vec<Mac> = clash.iter().filter_map(|id| id.mac()).take(MAX_NAMED).collect();
            let other = clash.iter().find(|id| Some(**id) != self.me());
            let other = other.map(|id| self.known_as(*id)).unwrap_or_default();
            let free = self.such_as();
            let (whose, file, advice) = if ours {
                (
                    ", this computer's own address",
                    "",
                    format!("Find {other} and unplug it, or give this computer another address{free}."),
                )
            } else if gateway {
                (
                    ", the gateway's address",
                    " The file gives no mac for it, so it does not say which is the router.",
                    format!(
                        "Read the mac off the router at {address}: the other of the two is to be unplugged, or given \
                         another address{free}."
                    ),
                )
            } else {
                (
                    "",
                    "",
                    format!("Find {other} on the switch and give it another address{free}."),
                )
            };
            all.push(Finding {
                address: Some(address),
                macs,
                since: began.unwrap_or(Moment::ZERO),
                ..made(
                    FindingKind::AddressConflict,
                    if ours || gateway {
                        Severity::Fault
                    } else {
                        Severity::Note
                    },
                    format!(
                        "{} units hold {address}{whose}: {}.{file}{}",
                        number(clash.len()),
                        and(&self.called(address, &clash)),
                        self.was_first(address, &clash)
                    ),
                    advice,
                )
            });
        }
    }
}

//! What the wire shows of addresses, and what that means for a rig.

use std::collections::{BTreeMap, HashMap};
use std::net::Ipv4Addr;

use vocab::Mac;

use crate::{AddressSpec, Rig};

/// An address that somebody was seen to hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Held {
    /// Which.
    pub address: Ipv4Addr,
    /// By which hardware; `None` where that is not known.
    pub mac: Option<Mac>,
}

/// Where things really are.
#[derive(Debug, Clone)]
pub(super) struct Places {
    /// Where each device of the rig is: where it was seen, else where the file has it.
    pub(super) at: Vec<Option<Ipv4Addr>>,
    /// What somebody else holds, with the hardware where it is known. A further address of a device of
    /// the rig is among them.
    pub(super) taken: BTreeMap<Ipv4Addr, Option<Mac>>,
}

impl Places {
    /// Tells the rig's devices from others: by hardware where the file gives it, else by address.
    pub(super) fn of(rig: &Rig, held: &[Held]) -> Self {
        let mut by_mac: HashMap<Mac, usize> = HashMap::new();
        let mut by_address: HashMap<Ipv4Addr, usize> = HashMap::new();
        for (n, device) in rig.devices.iter().enumerate() {
            by_mac.extend(device.macs.iter().map(|mac| (*mac, n)));
            by_address.extend(device.fixed_address().map(|address| (address, n)));
        }
        let owner = |one: &Held| {
            let known = one.mac.and_then(|mac| by_mac.get(&mac));
            let here = by_address.get(&one.address);
            // Hardware that is not known, on either side, speaks against nobody.
            known.or_else(|| here.filter(|n| one.mac.is_none() || rig.devices[**n].macs.is_empty()))
        };
        let mut seen: HashMap<usize, Vec<Ipv4Addr>> = HashMap::new();
        let mut taken = BTreeMap::new();
        for one in held {
            match owner(one) {
                Some(n) => seen.entry(*n).or_default().push(one.address),
                None => {
                    taken.insert(one.address, one.mac);
                }
            }
        }
        let mut at = Vec::with_capacity(rig.devices.len());
        for (n, device) in rig.devices.iter().enumerate() {
            let fixed = device.fixed_address();
            let addresses = seen.remove(&n).unwrap_or_default();
            let home = rig.networks().find(|network| network.name == device.network);
            let inside = |a: &&Ipv4Addr| home.is_some_and(|network| network.subnet.contains(*a));
            let place = addresses
                .iter()
                .find(|a| Some(**a) == fixed)
                .or_else(|| addresses.iter().find(inside))
                .or_else(|| addresses.first())
                .copied();
            for further in addresses.into_iter().filter(|a| Some(*a) != place) {
                taken.insert(further, device.macs.first().copied());
            }
            at.push(match device.address {
                AddressSpec::None => None,
                _ => place.or(fixed),
            });
        }
        Self { at, taken }
    }
}

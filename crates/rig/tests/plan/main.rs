//! Planning: what must hold of every plan, and small rigs against exhaustive search.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod always;
mod exhaustive;
mod troubles;
mod words;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::net::Ipv4Addr;

use proptest::prelude::*;
use rig::plan::{Hall, Held};
use rig::{AddressSpec, Device, How, Rig, RigDocument, Role, read};
use vocab::{AddressRange, Ipv4Net, Mac};

/// A rig by its text.
pub(crate) fn rig(text: &str) -> (Rig, RigDocument) {
    let reading = read("test.rig.toml", text.as_bytes());
    assert_eq!(reading.errors, [], "{text}");
    (reading.rig.unwrap(), reading.document.unwrap())
}

/// A case: a rig, the hall it goes to, and what the wire shows.
#[derive(Debug, Clone)]
pub(crate) struct Case {
    pub(crate) rig: Rig,
    pub(crate) document: RigDocument,
    pub(crate) hall: Hall,
    pub(crate) held: Vec<Held>,
}

/// Numbers that make a case.
#[derive(Debug, Clone)]
struct Seeds {
    prefix: u8,
    devices: Vec<(usize, u8, bool, bool)>,
    pool: Option<(u8, u8)>,
    reserved: Option<(u8, u8)>,
    blocks: Vec<(u8, u8)>,
    strangers: Vec<u8>,
    /// Pairs of devices that were plugged the wrong way round.
    swaps: Vec<(usize, usize)>,
    moves: bool,
}

const ROLES: [Role; 4] = [Role::Camera, Role::Panel, Role::Encoder, Role::Computer];

pub(crate) fn mac(n: usize) -> Mac {
    Mac::new([0x02, 0x52, 0x43, 0, (n >> 8) as u8, n as u8])
}

fn range(net: Ipv4Net, from: u8, length: u8) -> Option<AddressRange> {
    let size = 1_u32 << (32 - net.prefix_len());
    let first = 1 + u32::from(from) % (size - 2);
    let last = (first + u32::from(length)).min(size - 2);
    let at = |offset: u32| Ipv4Addr::from(u32::from(net.network()) + offset);
    AddressRange::new(at(first), at(last))
}

/// Cases of up to `most` devices in subnets of these prefix lengths.
pub(crate) fn cases(prefixes: std::ops::RangeInclusive<u8>, most: usize) -> impl Strategy<Value = Case> {
    let device = (
        0..ROLES.len(),
        any::<u8>(),
        any::<bool>(),
        prop::bool::weighted(0.2),
    );
    let seeds = (
        prefixes,
        prop::collection::vec(device, 1..=most),
        prop::option::of((any::<u8>(), 0_u8..6)),
        prop::option::of((any::<u8>(), 0_u8..4)),
        prop::collection::vec((any::<u8>(), 0_u8..6), 0..3),
        prop::collection::vec(any::<u8>(), 0..3),
        prop::collection::vec((0..most, 0..most), 0..3),
        prop::bool::weighted(0.3),
    );
    seeds.prop_map(
        |(prefix, devices, pool, reserved, blocks, strangers, swaps, moves)| {
            Seeds {
                prefix,
                devices,
                pool,
                reserved,
                blocks,
                strangers,
                swaps,
                moves,
            }
            .case()
        },
    )
}

impl Seeds {
    fn case(&self) -> Case {
        let new = Ipv4Net::new(Ipv4Addr::new(10, 40, 8, 0), self.prefix).unwrap();
        let old = if self.moves {
            Ipv4Net::new(Ipv4Addr::new(192, 168, 9, 0), 24).unwrap()
        } else {
            new
        };
        let size = 1_u32 << (32 - old.prefix_len());
        let mut text = format!("format = 1\n[network]\nsubnet = \"{old}\"\n");
        let mut used = BTreeSet::new();
        for (n, (role, at, reserved, dhcp)) in self.devices.iter().enumerate() {
            let free = (0..size).map(|i| u32::from(old.network()) + 1 + (u32::from(*at) + i) % (size - 2));
            let address = free.map(Ipv4Addr::from).find(|a| used.insert(*a));
            let address = address
                .filter(|_| !dhcp)
                .map_or("dhcp".to_owned(), |a| a.to_string());
            let how = if *reserved { "reserved" } else { "static" };
            let _ = write!(
                text,
                "[[device]]\nname = \"D{n}\"\nrole = \"{}\"\nmac = \"{}\"\naddress = \"{address}\"\nhow = \"{how}\"\n",
                ROLES[*role].as_str(),
                mac(n),
            );
            if used.len() == (size - 2) as usize {
                break;
            }
        }
        let (rig, document) = rig(&text);
        let mut hall = Hall::renumbered(&rig, new, None);
        let main = &mut hall.networks[0];
        main.gateway = range(new, 0, 0).map(AddressRange::first).filter(|_| self.moves);
        main.leases
            .extend(self.pool.and_then(|(from, length)| range(new, from, length)));
        let reserved = self.reserved.and_then(|(from, length)| range(new, from, length));
        hall.plan.reserved.extend(reserved);
        let mut blocks: BTreeMap<Role, AddressRange> = BTreeMap::new();
        for (role, (from, length)) in ROLES.into_iter().zip(&self.blocks) {
            let block = range(new, *from, *length).unwrap();
            if !blocks.values().any(|other| other.overlaps(block)) {
                blocks.insert(role, block);
            }
        }
        hall.plan.blocks = blocks;
        let held = self.held(&rig, new);
        Case {
            rig,
            document,
            hall,
            held,
        }
    }

    fn held(&self, rig: &Rig, new: Ipv4Net) -> Vec<Held> {
        let mut held: Vec<Held> = Vec::new();
        let fixed = |n: usize| rig.devices.get(n).and_then(Device::fixed_address);
        let mut swapped = BTreeSet::new();
        for (a, b) in &self.swaps {
            let fresh = a != b && !swapped.contains(a) && !swapped.contains(b);
            if let (true, Some(one), Some(other)) = (fresh, fixed(*a), fixed(*b)) {
                swapped.extend([*a, *b]);
                held.push(Held {
                    address: other,
                    mac: Some(mac(*a)),
                });
                held.push(Held {
                    address: one,
                    mac: Some(mac(*b)),
                });
            }
        }
        for (n, at) in self.strangers.iter().enumerate() {
            let address = range(new, *at, 0).unwrap().first();
            if !held.iter().any(|h| h.address == address) {
                held.push(Held {
                    address,
                    mac: Some(mac(1_000 + n)),
                });
            }
        }
        held
    }
}

impl Case {
    /// The strangers' addresses.
    pub(crate) fn taken(&self) -> BTreeSet<Ipv4Addr> {
        let strange = self.held.iter().filter(|h| !self.is_ours(h));
        strange.map(|h| h.address).collect()
    }

    fn is_ours(&self, held: &Held) -> bool {
        self.rig
            .devices
            .iter()
            .any(|d| held.mac.is_some_and(|mac| d.macs.contains(&mac)))
    }

    /// Whether anybody may have the address, by what is written in the issue of planning: in the subnet,
    /// neither its ends nor the gateway, not reserved, not taken.
    pub(crate) fn open(&self, address: Ipv4Addr) -> bool {
        let network = &self.hall.networks[0];
        network.subnet.contains(&address)
            && address != network.subnet.network()
            && address != network.subnet.broadcast()
            && network.gateway != Some(address)
            && !self.hall.plan.reserved.iter().any(|r| r.contains(address))
            && !self.taken().contains(&address)
    }

    pub(crate) fn in_pool(&self, address: Ipv4Addr) -> bool {
        self.hall.networks[0]
            .leases
            .iter()
            .any(|pool| pool.contains(address))
    }

    /// Whether a device may have the address.
    pub(crate) fn fits(&self, device: &Device, address: Ipv4Addr) -> bool {
        let block = self.hall.plan.blocks.get(&device.role);
        let place = if self.in_pool(address) {
            device.how == How::Reserved
        } else {
            block.is_none_or(|block| block.contains(address))
        };
        self.open(address) && place
    }

    /// Where each device really is.
    pub(crate) fn places(&self) -> Vec<Option<Ipv4Addr>> {
        let seen = |d: &Device| {
            let ours = self
                .held
                .iter()
                .find(|h| h.mac.is_some_and(|mac| d.macs.contains(&mac)));
            ours.map(|h| h.address)
        };
        let devices = self.rig.devices.iter();
        devices.map(|d| seen(d).or_else(|| d.fixed_address())).collect()
    }
}

/// The address that a plan gives.
pub(crate) fn fixed(spec: AddressSpec) -> Ipv4Addr {
    match spec {
        AddressSpec::Fixed(address) => address,
        other => panic!("{other:?} is no address"),
    }
}

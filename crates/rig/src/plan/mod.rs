//! Planning addresses: who gets which, in what order they move, and what the crew has to do.
//!
//! [`plan`] takes a [`Rig`], the [`Hall`] that it is to live in and what the wire shows ([`Held`]), and
//! gives every device an address of its own: inside its subnet, outside lease pools, reserved ranges
//! and what is taken, in the block of its role. Whoever fits keeps its address; the moves are as few as
//! can be, and stand in an order in which no two devices share an address at any step. Each network is
//! planned by itself; `[plan]` speaks of the main one.

mod advice;
mod assign;
mod flow;
mod free;
mod hall;
mod order;
mod reservations;
mod space;
mod trouble;
mod users;
mod why;
mod wire;
mod work;

use std::collections::{BTreeSet, HashSet};
use std::net::Ipv4Addr;

pub use advice::{Advice, Stay, Way, advice};
pub use free::free;
pub use hall::Hall;
pub use reservations::{Reservation, dnsmasq, reservations};
pub use trouble::Trouble;
pub use why::Why;
pub use wire::Held;
pub use work::{Follow, Kind, Task, WorkList};

use crate::{AddressSpec, Device, Edit, How, Network, Rig, Role};
use assign::{Wanting, assign};
use order::{Mover, order};
use space::Space;
use users::Users;
use wire::Places;

/// What the planner is told to do with devices that have their address by DHCP.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Dhcp {
    /// Each gets an address of its own like the others.
    #[default]
    Fix,
    /// They keep having it so.
    Keep,
}

/// What is planned for one device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Placed {
    /// Its place in [`Rig::devices`].
    pub device: usize,
    /// What the file says now.
    pub was: AddressSpec,
    /// Where it is, as far as that is known.
    pub at: Option<Ipv4Addr>,
    /// What it gets.
    pub to: AddressSpec,
    /// Why.
    pub why: Why,
}

/// A plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Planned {
    /// Every device that has an address, in file order.
    pub placed: Vec<Placed>,
    /// What the crew has to do, in order.
    pub work: WorkList,
    /// What changes in the rig file.
    pub edits: Vec<Edit>,
}

impl Planned {
    /// How many devices get another address than the file has.
    pub fn moves(&self) -> usize {
        self.placed.iter().filter(|one| one.was != one.to).count()
    }
}

/// Plans the addresses of a rig in a hall.
///
/// `held` is what the wire shows, as far as anybody looked; a device that was not seen is taken to be
/// where the file has it.
///
/// # Errors
/// All that stands in the way, at least one.
pub fn plan(rig: &Rig, hall: &Hall, held: &[Held], dhcp: Dhcp) -> Result<Planned, Vec<Trouble>> {
    if let Some((one, other)) = hall.overlap() {
        return Err(vec![Trouble::Overlap {
            one: (one.name.clone(), one.subnet),
            other: (other.name.clone(), other.subnet),
        }]);
    }
    let places = Places::of(rig, held);
    let users = Users::of(rig);
    let mut troubles = Vec::new();
    let mut placed: Vec<Placed> = Vec::new();
    for network in &hall.networks {
        match Planner::new(rig, hall, network, &places, &users, dhcp).place() {
            Ok(some) => placed.extend(some),
            Err(mut some) => troubles.append(&mut some),
        }
    }
    if !troubles.is_empty() {
        return Err(troubles);
    }
    placed.sort_by_key(|one| one.device);
    let work = moves(rig, hall, &places, &users, &placed)?;
    let mut edits = hall.edits(rig);
    let changed = placed.iter().filter(|one| one.was != one.to);
    edits.extend(changed.map(|one| Edit::Address {
        name: rig.devices[one.device].name.clone(),
        address: one.to,
    }));
    Ok(Planned { placed, work, edits })
}

/// Plans one network.
struct Planner<'a> {
    rig: &'a Rig,
    network: &'a Network,
    /// The network as the file has it.
    was: Option<&'a Network>,
    plan: Option<&'a crate::Plan>,
    places: &'a Places,
    users: &'a Users<'a>,
    /// The devices that get an address here.
    devices: Vec<usize>,
    /// Those that go on having theirs by DHCP.
    by_dhcp: Vec<usize>,
    space: Space,
}

impl<'a> Planner<'a> {
    fn new(
        rig: &'a Rig,
        hall: &'a Hall,
        network: &'a Network,
        places: &'a Places,
        users: &'a Users<'a>,
        dhcp: Dhcp,
    ) -> Self {
        let here = |n: &usize| rig.devices[*n].network == network.name;
        let (by_dhcp, devices): (Vec<usize>, Vec<usize>) = (0..rig.devices.len())
            .filter(here)
            .filter(|n| rig.devices[*n].address != AddressSpec::None)
            .partition(|n| dhcp == Dhcp::Keep && rig.devices[*n].address == AddressSpec::Dhcp);
        let plan = (hall.number(&network.name) == 0).then_some(&hall.plan);
        let leased = by_dhcp.iter().filter_map(|n| places.at[*n]);
        let taken = places.taken.keys().copied().chain(leased);
        Self {
            rig,
            network,
            was: rig.networks().find(|was| was.name == network.name),
            plan,
            places,
            users,
            space: Space::new(network, plan, taken),
            devices,
            by_dhcp,
        }
    }

    fn place(&self) -> Result<Vec<Placed>, Vec<Trouble>> {
        let wanting: Vec<Wanting> = self.devices.iter().map(|n| self.wanting(*n)).collect();
        let held: HashSet<Ipv4Addr> = self.places.at.iter().copied().flatten().collect();
        let given = assign(&self.space, &wanting, &held)
            .map_err(|shortages| trouble::shortages(self, &shortages, &wanting))?;
        let fixed = self.devices.iter().zip(&wanting).zip(given);
        let fixed = fixed.map(|((n, wanting), to)| {
            let to = AddressSpec::Fixed(to);
            let why = self.why(*n, wanting, to);
            self.placed(*n, to, why)
        });
        let kept = self.by_dhcp.iter();
        let kept = kept.map(|n| self.placed(*n, AddressSpec::Dhcp, Why::ByDhcp));
        Ok(fixed.chain(kept).collect())
    }

    fn placed(&self, device: usize, to: AddressSpec, why: Why) -> Placed {
        Placed {
            device,
            was: self.rig.devices[device].address,
            at: self.places.at[device],
            to,
            why,
        }
    }

    fn wanting(&self, n: usize) -> Wanting {
        let device = &self.rig.devices[n];
        let allowed = self.space.allowed(device.role, device.how);
        let fixed = device.fixed_address();
        let keeps = fixed.filter(|a| {
            let class = self.space.class(*a);
            class.is_some_and(|class| allowed & space::bit(class) != 0)
        });
        let old = self.was.map(|was| was.subnet);
        let wishes = match (fixed, old) {
            (Some(address), Some(old)) if old != self.network.subnet => {
                hall::same_number(address, old, self.network)
            }
            (Some(_), _) => Vec::new(),
            // What the server gave it, if that may stay.
            (None, _) => self.places.at[n].into_iter().collect(),
        };
        Wanting {
            allowed,
            home: self.space.home(device.role),
            keeps,
            wishes,
            users: self.users.channels(&device.name).len() + device.used_by.len(),
        }
    }
}

/// Orders what has to be done.
fn moves(
    rig: &Rig,
    hall: &Hall,
    places: &Places,
    users: &Users<'_>,
    placed: &[Placed],
) -> Result<WorkList, Vec<Trouble>> {
    let mut movers = Vec::new();
    let mut whose = Vec::new();
    for one in placed {
        let AddressSpec::Fixed(to) = one.to else { continue };
        let device = &rig.devices[one.device];
        let moves = one.at != Some(to) || one.was == AddressSpec::Dhcp;
        if moves || resets(rig, hall, device) {
            movers.push(Mover {
                from: one.at,
                to,
                rank: rank(device),
                parks: device.how == How::Static,
                network: hall.number(&device.network),
            });
            whose.push(one.device);
        }
    }
    // A parking address is nobody's, neither before nor after.
    let held: BTreeSet<Ipv4Addr> = places.at.iter().copied().flatten().collect();
    let mut closed: BTreeSet<Ipv4Addr> = places.taken.keys().copied().collect();
    closed.extend(placed.iter().filter_map(|one| match one.to {
        AddressSpec::Fixed(to) => Some(to),
        _ => one.at,
    }));
    let hops = order(&movers, |n, left| {
        let network = hall.networks.get(n)?;
        let plan = (n == 0).then_some(&hall.plan);
        let held = held.difference(left).copied();
        let space = Space::new(network, plan, held.chain(closed.iter().copied()));
        let place = space.addresses(space.outside_pools()).last()?;
        closed.insert(place);
        Some(place)
    });
    let hops = hops.map_err(|ring| {
        let devices = ring.into_iter().map(|n| rig.devices[whose[n]].name.clone());
        vec![Trouble::NoParking {
            devices: devices.collect(),
        }]
    })?;
    let tasks = hops
        .into_iter()
        .filter_map(|hop| work::task(users, hall, &rig.devices[whose[hop.mover]], &hop));
    Ok(WorkList {
        title: rig.title.clone(),
        tasks: tasks.collect(),
    })
}

/// Whether a device that stays where it is must be told another mask or gateway.
fn resets(rig: &Rig, hall: &Hall, device: &Device) -> bool {
    let was = rig.networks().find(|network| network.name == device.network);
    let now = hall.network(&device.network);
    let told = |network: &Network| (network.subnet.prefix_len(), network.gateway);
    device.how == How::Static && was.map(told) != now.map(told)
}

/// Panels after what they point at, then what carries the network, then computers: whoever works needs
/// one that still reaches the rest.
const fn rank(device: &Device) -> u8 {
    match device.role {
        Role::Panel => 1,
        Role::Switch | Role::AccessPoint => 2,
        Role::Router => 3,
        Role::Computer => 4,
        _ => 0,
    }
}

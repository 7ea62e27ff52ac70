//! Where the rig is to live.

use std::collections::BTreeMap;
use std::net::Ipv4Addr;

use vocab::{AddressRange, Ipv4Net};

use crate::{Edit, Network, NetworkKey, Plan, Rig, Venue};

/// The networks that a rig is planned for, and what planning may use of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hall {
    /// The networks, the main one first. Each device finds its own by its name.
    pub networks: Vec<Network>,
    /// What planning may use of the main one.
    pub plan: Plan,
    /// Whether its blocks are only the rig's own, carried over by their last numbers: nobody wrote them
    /// for this hall.
    pub carried: bool,
}

impl Hall {
    /// Where the rig is by its file.
    pub fn of(rig: &Rig) -> Self {
        Self {
            networks: rig.networks().cloned().collect(),
            plan: rig.plan.clone(),
            carried: false,
        }
    }

    /// The networks of a venue in place of the rig's that have the same name. What the venue does not
    /// have, the rig brings along; what no device is on is left out.
    pub fn moved(rig: &Rig, venue: &Venue) -> Self {
        let mut hall = Self::of(rig);
        for theirs in &venue.networks {
            if let Some(ours) = hall.networks.iter_mut().find(|ours| ours.name == theirs.name) {
                ours.clone_from(theirs);
            }
        }
        hall.settle(rig, venue.plan.clone());
        hall
    }

    /// The same rig on another main subnet, of which nothing else is known.
    pub fn renumbered(rig: &Rig, subnet: Ipv4Net, gateway: Option<Ipv4Addr>) -> Self {
        let mut hall = Self::of(rig);
        if let Some(main) = hall.networks.first_mut()
            && main.subnet != subnet
        {
            main.subnet = subnet;
            main.leases.clear();
            main.gateway = None;
        }
        if let Some(main) = hall.networks.first_mut()
            && gateway.is_some()
        {
            main.gateway = gateway;
        }
        let plan = if hall.main_subnet() == Some(rig.network.subnet) {
            rig.plan.clone()
        } else {
            Plan::default()
        };
        hall.settle(rig, plan);
        hall
    }

    /// Where the hall says nothing of blocks, those of the rig go along by their last numbers.
    fn settle(&mut self, rig: &Rig, plan: Plan) {
        self.plan = plan;
        if self.plan.blocks.is_empty()
            && let Some(main) = self.networks.first()
        {
            let carried = rig.plan.blocks.iter();
            let carried = carried
                .filter_map(|(role, block)| Some((*role, carried_over(*block, rig.network.subnet, main)?)));
            self.plan.blocks = carried.collect::<BTreeMap<_, _>>();
            self.carried = main.subnet != rig.network.subnet;
        }
    }

    /// The network of that name.
    pub fn network(&self, name: &str) -> Option<&Network> {
        self.networks.iter().find(|network| network.name == name)
    }

    /// The place of the network of that name among them.
    pub(super) fn number(&self, name: &str) -> usize {
        let found = self.networks.iter().position(|network| network.name == name);
        found.unwrap_or_default()
    }

    /// The main network.
    pub fn main(&self) -> Option<&Network> {
        self.networks.first()
    }

    fn main_subnet(&self) -> Option<Ipv4Net> {
        self.main().map(|main| main.subnet)
    }

    /// Roles whose block the rig has and the hall has no room for.
    pub fn lost_blocks<'a>(
        &'a self,
        rig: &'a Rig,
    ) -> impl Iterator<Item = (&'static str, AddressRange)> + 'a {
        let lost = rig.plan.blocks.iter();
        lost.filter(|(role, _)| !self.plan.blocks.contains_key(role))
            .map(|(role, block)| (role.as_str(), *block))
    }

    /// Two of its networks that share addresses.
    pub(super) fn overlap(&self) -> Option<(&Network, &Network)> {
        let shares = |a: &Network, b: &Network| {
            a.subnet.contains(&b.subnet.network()) || b.subnet.contains(&a.subnet.network())
        };
        let pairs = self.networks.iter().enumerate();
        pairs
            .flat_map(|(n, a)| self.networks[..n].iter().map(move |b| (b, a)))
            .find(|(a, b)| shares(a, b))
    }

    /// What must change in the rig file so that it says this.
    pub(super) fn edits(&self, rig: &Rig) -> Vec<Edit> {
        let mut edits = Vec::new();
        for (was, now) in rig.networks().zip(&self.networks) {
            let keys = [
                (was.subnet != now.subnet).then_some(NetworkKey::Subnet(now.subnet)),
                (was.reach != now.reach).then_some(NetworkKey::Reach(now.reach)),
                (was.gateway != now.gateway).then_some(NetworkKey::Gateway(now.gateway)),
                (was.leases != now.leases).then(|| NetworkKey::Leases(now.leases.clone())),
                (was.pace != now.pace).then_some(NetworkKey::Pace(now.pace)),
                (was.shared != now.shared).then_some(NetworkKey::Shared(now.shared)),
            ];
            edits.extend(keys.into_iter().flatten().map(|key| Edit::Network {
                network: now.name.clone(),
                key,
            }));
        }
        if rig.plan.reserved != self.plan.reserved {
            edits.push(Edit::Reserved(self.plan.reserved.clone()));
        }
        if rig.plan.blocks != self.plan.blocks {
            edits.push(Edit::Blocks(self.plan.blocks.clone()));
        }
        edits
    }
}

/// An address with the last number that people remember, in another subnet: itself, or as far from its
/// beginning, or at least with the same last number, or else as far from its beginning all the same.
pub(super) fn same_number(address: Ipv4Addr, old: Ipv4Net, new: &Network) -> Vec<Ipv4Addr> {
    let (from, to) = (u32::from(old.network()), u32::from(new.subnet.network()));
    let Some(offset) = u32::from(address)
        .checked_sub(from)
        .filter(|_| old.contains(&address))
    else {
        return Vec::new();
    };
    let last = u32::from(address) & 0xff;
    let as_far = to.checked_add(offset).map(Ipv4Addr::from);
    let same_last = (to & !0xff).checked_add(last).map(Ipv4Addr::from);
    let keeps_last = as_far.filter(|a| u32::from(*a) & 0xff == last);
    let mut all: Vec<Ipv4Addr> = Vec::new();
    for address in [Some(address), keeps_last, same_last, as_far]
        .into_iter()
        .flatten()
    {
        if new.is_host(address) && !all.contains(&address) {
            all.push(address);
        }
    }
    all
}

/// A range by its last numbers; `None` where the new subnet does not have all of it.
fn carried_over(block: AddressRange, old: Ipv4Net, new: &Network) -> Option<AddressRange> {
    if old == new.subnet {
        return Some(block);
    }
    let first = same_number(block.first(), old, new).first().copied()?;
    let last = same_number(block.last(), old, new).first().copied()?;
    AddressRange::new(first, last).filter(|moved| moved.count() == block.count())
}

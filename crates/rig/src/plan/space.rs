//! The addresses of one network, sorted by what may be done with them.

use std::net::Ipv4Addr;

use vocab::{AddressRange, Ipv4Net};

use crate::{How, Network, Plan, Role};

/// Addresses that are alike to planning: in the same role's block or in none, in a lease pool or not.
pub(super) type Class = u8;

/// A set of classes, one bit each.
pub(super) type Classes = u32;

/// Nobody may have it: not a host's, the gateway's, reserved, or taken.
const CLOSED: Class = u8::MAX;

/// The addresses of a network. At most a /16, so one byte for each is cheap and plain.
#[derive(Debug, Clone)]
pub(super) struct Space {
    subnet: Ipv4Net,
    classes: Vec<Class>,
    /// The blocks; that of number `n` makes the classes `2n + 2` and, in a pool, `2n + 3`.
    blocks: Vec<(Role, AddressRange)>,
}

impl Space {
    /// The space of `network`. `plan` is what `[plan]` says of it, which is of the main network only.
    pub(super) fn new(network: &Network, plan: Option<&Plan>, taken: impl Iterator<Item = Ipv4Addr>) -> Self {
        let subnet = network.subnet;
        let size = AddressRange::from(subnet).count() as usize;
        let blocks: Vec<(Role, AddressRange)> = plan.map_or_else(Vec::new, |plan| {
            plan.blocks.iter().map(|(r, b)| (*r, *b)).collect()
        });
        let mut space = Self {
            subnet,
            classes: vec![0; size],
            blocks,
        };
        for n in 0..space.blocks.len() {
            let (_, range) = space.blocks[n];
            space.each(range, |class| *class = 2 * n as u8 + 2);
        }
        for pool in &network.leases {
            space.each(*pool, |class| *class |= 1);
        }
        // Reserved ranges may overlap; each address is closed once all the same.
        let mut reserved = plan.map_or_else(Vec::new, |plan| plan.reserved.clone());
        reserved.sort_unstable();
        let mut from = subnet.network();
        for range in reserved {
            if let Some(rest) = AddressRange::new(range.first().max(from), range.last()) {
                space.each(rest, |class| *class = CLOSED);
                from = rest.last();
            }
        }
        let ends = [subnet.network(), subnet.broadcast()];
        for address in ends.into_iter().chain(network.gateway).chain(taken) {
            space.close(address);
        }
        space
    }

    fn at(&self, address: Ipv4Addr) -> Option<usize> {
        let offset = u32::from(address).checked_sub(u32::from(self.subnet.network()))? as usize;
        (offset < self.classes.len()).then_some(offset)
    }

    fn each(&mut self, range: AddressRange, mut change: impl FnMut(&mut Class)) {
        let last = self.classes.len().saturating_sub(1);
        let base = u32::from(self.subnet.network());
        let from = u32::from(range.first()).saturating_sub(base) as usize;
        let to = (u32::from(range.last()).saturating_sub(base) as usize).min(last);
        if let Some(part) = self.classes.get_mut(from..=to) {
            part.iter_mut().for_each(&mut change);
        }
    }

    fn close(&mut self, address: Ipv4Addr) {
        if let Some(at) = self.at(address) {
            self.classes[at] = CLOSED;
        }
    }

    /// The class of an address; `None` where nobody may have it.
    pub(super) fn class(&self, address: Ipv4Addr) -> Option<Class> {
        let class = self.classes[self.at(address)?];
        (class != CLOSED).then_some(class)
    }

    /// How many classes there are.
    pub(super) const fn count(&self) -> usize {
        2 * self.blocks.len() + 2
    }

    /// How many addresses each class has.
    pub(super) fn room(&self) -> Vec<usize> {
        let mut room = vec![0; self.count()];
        for class in &self.classes {
            if let Some(room) = room.get_mut(usize::from(*class)) {
                *room += 1;
            }
        }
        room
    }

    /// The addresses of these classes, the lowest first.
    pub(super) fn addresses(&self, of: Classes) -> impl Iterator<Item = Ipv4Addr> {
        let base = u32::from(self.subnet.network());
        let within = move |class: Class| class != CLOSED && of & bit(class) != 0;
        let all = self.classes.iter().enumerate();
        all.filter(move |(_, class)| within(**class))
            .map(move |(offset, _)| Ipv4Addr::from(base + offset as u32))
    }

    fn block_of(&self, role: Role) -> Option<Class> {
        let n = self.blocks.iter().position(|(r, _)| *r == role)?;
        Some(2 * n as u8 + 2)
    }

    /// Where a device may be: in the block of its role, or anywhere if it has none; in a lease pool
    /// only if the DHCP server knows it.
    pub(super) fn allowed(&self, role: Role, how: How) -> Classes {
        let all = (0..self.count() as Class).fold(0, |set, class| set | bit(class));
        let pools = all & 0xaaaa_aaaa;
        let role = self
            .block_of(role)
            .map_or(all, |class| bit(class) | bit(class + 1));
        match how {
            How::Static => role & !pools,
            How::Reserved => role | pools,
        }
    }

    /// Where a device should rather be, of where it may: in its own block or, without one, in nobody
    /// else's; in no pool.
    pub(super) fn home(&self, role: Role) -> Classes {
        bit(self.block_of(role).unwrap_or(0))
    }

    /// All that is in no lease pool.
    pub(super) fn outside_pools(&self) -> Classes {
        (0..self.count() as Class).fold(0, |set, class| set | bit(class)) & 0x5555_5555
    }

    /// The blocks that these classes are of, and whether some of them are of none.
    pub(super) fn blocks(&self, of: Classes) -> (Vec<(Role, AddressRange)>, bool) {
        let has = |n: usize| of & (bit(2 * n as u8 + 2) | bit(2 * n as u8 + 3)) != 0;
        let blocks = self.blocks.iter().enumerate().filter(|(n, _)| has(*n));
        (blocks.map(|(_, block)| *block).collect(), of & 3 != 0)
    }
}

/// The set of one class.
pub(super) const fn bit(class: Class) -> Classes {
    1 << class
}

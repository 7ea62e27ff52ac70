//! Why a device gets the address that it gets.

use std::fmt;

use vocab::{AddressRange, Ipv4Net, Mac};

use super::assign::Wanting;
use super::{Planner, space};
use crate::{AddressSpec, How};

/// Why a device keeps its address or moves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// It fits where it is.
    Fits,
    /// It has its address by DHCP and shall go on so.
    ByDhcp,
    /// It had its address by DHCP.
    WasDhcp,
    /// Its address is outside the subnet.
    OutsideSubnet(Ipv4Net),
    /// Its address is that of the network, of the gateway or of broadcasts.
    Special,
    /// Its address lies in a lease pool, and the DHCP server does not know it.
    InPool(AddressRange),
    /// Its address lies in a reserved range.
    Reserved(AddressRange),
    /// Its address lies outside the block of its role.
    OutsideBlock(AddressRange),
    /// The wire shows somebody else at its address.
    Taken(Option<Mac>),
    /// Another could only be placed where this one was.
    MakesRoom,
}

impl Why {
    /// The word in JSON.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Fits => "fits",
            Self::ByDhcp => "by_dhcp",
            Self::WasDhcp => "was_dhcp",
            Self::OutsideSubnet(_) => "outside_subnet",
            Self::Special => "special_address",
            Self::InPool(_) => "in_lease_pool",
            Self::Reserved(_) => "in_reserved_range",
            Self::OutsideBlock(_) => "outside_block",
            Self::Taken(_) => "taken",
            Self::MakesRoom => "makes_room",
        }
    }
}

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Fits => f.write_str("fits"),
            Self::ByDhcp => f.write_str("stays with DHCP"),
            Self::WasDhcp => f.write_str("had it by DHCP"),
            Self::OutsideSubnet(subnet) => write!(f, "outside {subnet}"),
            Self::Special => f.write_str("gateway, network or broadcast address"),
            Self::InPool(pool) => write!(f, "in the lease pool {pool}"),
            Self::Reserved(range) => write!(f, "in the reserved range {range}"),
            Self::OutsideBlock(block) => write!(f, "outside its block {block}"),
            Self::Taken(Some(mac)) => write!(f, "taken by {mac}"),
            Self::Taken(None) => f.write_str("taken by another host"),
            Self::MakesRoom => f.write_str("makes room for another"),
        }
    }
}

impl Planner<'_> {
    /// Why the device at `n` gets `to`.
    pub(super) fn why(&self, n: usize, wanting: &Wanting, to: AddressSpec) -> Why {
        let device = &self.rig.devices[n];
        if device.address == to {
            return Why::Fits;
        }
        let Some(address) = device.fixed_address() else {
            return Why::WasDhcp;
        };
        if wanting.keeps.is_some() {
            return Why::MakesRoom;
        }
        let within = |ranges: &[AddressRange]| ranges.iter().copied().find(|r| r.contains(address));
        if !self.network.subnet.contains(&address) {
            return Why::OutsideSubnet(self.network.subnet);
        }
        if !self.network.is_host(address) || self.network.gateway == Some(address) {
            return Why::Special;
        }
        if let Some(range) = self.plan.and_then(|plan| within(&plan.reserved)) {
            return Why::Reserved(range);
        }
        if let Some(mac) = self.places.taken.get(&address) {
            return Why::Taken(*mac);
        }
        if self.space.class(address).is_none() {
            // One that goes on having its address by DHCP was seen there.
            return Why::Taken(None);
        }
        let pool = within(&self.network.leases).filter(|_| device.how == How::Static);
        match (pool, self.plan.and_then(|plan| plan.blocks.get(&device.role))) {
            (Some(pool), _) => Why::InPool(pool),
            (None, Some(block)) => Why::OutsideBlock(*block),
            (None, None) => Why::MakesRoom,
        }
    }
}

/// Who must lie in these classes, for a message.
pub(super) fn confined(wanting: &[Wanting], classes: space::Classes) -> usize {
    wanting.iter().filter(|w| w.allowed & !classes == 0).count()
}

//! An address for a guest.

use std::net::Ipv4Addr;

use super::space::Space;
use super::wire::Places;
use super::{Hall, Held, Trouble};
use crate::{AddressSpec, Rig};

/// The addresses of the hall's main network that nobody has by the file or by what the wire shows, at
/// most `most`: outside lease pools and reserved ranges, and if possible outside the blocks of roles.
/// The highest come first, since devices are numbered from below.
///
/// # Errors
/// There is none.
pub fn free(rig: &Rig, hall: &Hall, held: &[Held], most: usize) -> Result<Vec<Ipv4Addr>, Trouble> {
    let Some(main) = hall.main() else {
        return Ok(Vec::new());
    };
    let places = Places::of(rig, held);
    let listed = rig.devices.iter().filter_map(|device| match device.address {
        AddressSpec::Fixed(address) => Some(address),
        _ => None,
    });
    let taken = places.taken.keys().copied();
    let seen = places.at.iter().copied().flatten();
    let space = Space::new(main, Some(&hall.plan), taken.chain(listed).chain(seen));
    let unblocked = space.outside_pools() & 1;
    let mut found: Vec<Ipv4Addr> = space.addresses(unblocked).collect();
    found.reverse();
    let mut blocked: Vec<Ipv4Addr> = space.addresses(space.outside_pools() & !1).collect();
    blocked.reverse();
    found.extend(blocked);
    found.truncate(most);
    if found.is_empty() {
        return Err(Trouble::NoneFree { subnet: main.subnet });
    }
    Ok(found)
}

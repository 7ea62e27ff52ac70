//! Why there is no plan.

use std::fmt;

use vocab::{AddressRange, Ipv4Net};

use super::Planner;
use super::assign::Wanting;
use super::flow::Shortage;
use super::why::confined;
use crate::{Network, Role};

/// Why a rig cannot be planned. Each message ends in the next step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Trouble {
    /// Two networks share addresses.
    Overlap {
        /// The name and subnet of one.
        one: (String, Ipv4Net),
        /// And of the other.
        other: (String, Ipv4Net),
    },
    /// A whole network has too few addresses.
    TooSmall {
        /// Its subnet.
        subnet: Ipv4Net,
        /// How many devices want one.
        wanted: usize,
        /// How many addresses there are for them.
        room: usize,
        /// The largest prefix length that would do, if any up to /16 does.
        enough: Option<u8>,
    },
    /// The blocks of some roles have too few addresses.
    BlocksFull {
        /// Which.
        blocks: Vec<(Role, AddressRange)>,
        /// How many devices must lie there.
        wanted: usize,
        /// How many addresses there are for them.
        room: usize,
    },
    /// Devices must exchange their addresses, and there is none to park one of them at meanwhile.
    NoParking {
        /// Their names.
        devices: Vec<String>,
    },
    /// The network has no address left to give out.
    NoneFree {
        /// Its subnet.
        subnet: Ipv4Net,
    },
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Overlap { one, other } => write!(
                f,
                "the subnet {} of {} and the subnet {} of {} share addresses\n\
                 next step: give one of them another subnet",
                one.1, one.0, other.1, other.0
            ),
            Self::TooSmall {
                subnet,
                wanted,
                room,
                enough,
            } => {
                write!(
                    f,
                    "{subnet} is too small for the rig: {} and it has {} for them, \
                     beside gateway, lease pools, reserved ranges and what is taken\nnext step: ",
                    wants(*wanted),
                    addresses(*room)
                )?;
                match enough {
                    Some(prefix) => write!(
                        f,
                        "ask for a subnet of /{prefix} or wider, or make lease pools and reserved ranges smaller"
                    ),
                    None => f.write_str("share the rig out over several networks"),
                }
            }
            Self::BlocksFull { blocks, wanted, room } => {
                let names: Vec<String> = blocks
                    .iter()
                    .map(|(role, block)| format!("{} = \"{block}\"", role.as_str()))
                    .collect();
                write!(
                    f,
                    "too few addresses in {} of [plan] blocks: {} there, and it has {} for them, beside \
                     gateway, lease pools, reserved ranges and what is taken\n\
                     next step: make it wider in [plan] blocks, or take it out",
                    names.join(" and "),
                    wants(*wanted),
                    addresses(*room)
                )
            }
            Self::NoParking { devices } => write!(
                f,
                "{} must exchange their addresses, and no address is free to park one of them at\n\
                 next step: free one address outside lease pools and reserved ranges, then plan again",
                devices.join(", ")
            ),
            Self::NoneFree { subnet } => write!(
                f,
                "{subnet} has no free address left outside lease pools, reserved ranges and the rig\n\
                 next step: make a lease pool or reserved range smaller, or ask the network's keeper for one"
            ),
        }
    }
}

impl std::error::Error for Trouble {}

fn wants(devices: usize) -> String {
    match devices {
        1 => "1 device wants an address".to_owned(),
        n => format!("{n} devices want an address"),
    }
}

fn addresses(n: usize) -> String {
    match n {
        0 => "none".to_owned(),
        n => n.to_string(),
    }
}

/// What to tell of classes with too little room.
pub(super) fn shortages(planner: &Planner<'_>, all: &[Shortage], wanting: &[Wanting]) -> Vec<Trouble> {
    let room = planner.space.room();
    let of = |shortage: &Shortage| {
        let classes = room.iter().enumerate();
        let here = classes.filter(|(class, _)| shortage.classes & super::space::bit(*class as u8) != 0);
        let room: usize = here.map(|(_, room)| room).sum();
        let (blocks, outside) = planner.space.blocks(shortage.classes);
        if !outside && !blocks.is_empty() {
            let wanted = confined(wanting, shortage.classes);
            return Trouble::BlocksFull { blocks, wanted, room };
        }
        // Whoever may be anywhere is in want too.
        let wanted = wanting.len().max(room + shortage.lacking);
        Trouble::TooSmall {
            subnet: planner.network.subnet,
            wanted,
            room,
            enough: enough(planner.network, wanted - room),
        }
    };
    all.iter().map(of).collect()
}

/// The prefix length of the smallest wider subnet with so many more addresses.
fn enough(network: &Network, more: usize) -> Option<u8> {
    let size = |prefix: u8| 1_usize << (32 - u32::from(prefix));
    let now = network.subnet.prefix_len();
    (16..now).rev().find(|prefix| size(*prefix) - size(now) >= more)
}

//! Connections at one time: how many to one host, and how many in all.

use core::net::Ipv4Addr;
use std::collections::{BTreeMap, BTreeSet};

use vocab::Mac;

use crate::pacer::{KERNEL_ARP_FRAMES, OWN_ARP_FRAMES};

/// Connections to one host at one time; to one that is spoken to from a borrowed address, one.
pub(crate) const PER_HOST: usize = 2;
/// Connections in all at one time.
pub(crate) const IN_ALL: usize = 64;
/// By which means a host is reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Way {
    /// The system's sockets.
    System,
    /// The stack inside the scanner, from an address of our own.
    Stack,
    /// The same, from a borrowed one.
    Borrowed,
}

impl Way {
    /// Frames that a first try costs more.
    pub(crate) const fn first_extra(self) -> u64 {
        match self {
            Self::System => KERNEL_ARP_FRAMES,
            Self::Stack => 0,
            Self::Borrowed => OWN_ARP_FRAMES,
        }
    }
}

/// One connection.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Line {
    /// To where.
    pub(crate) address: Ipv4Addr,
    /// To whom, as far as that is known.
    pub(crate) host: Option<Mac>,
    /// How.
    pub(crate) way: Way,
}

/// Connections at one time.
#[derive(Debug, Default)]
pub(crate) struct Busy {
    all: usize,
    addresses: BTreeMap<Ipv4Addr, usize>,
    hosts: BTreeMap<Mac, usize>,
    /// Hosts that are spoken to from a borrowed address.
    borrowed: BTreeSet<Mac>,
}

impl Busy {
    /// One more.
    pub(crate) fn add(&mut self, line: Line) {
        self.all += 1;
        *self.addresses.entry(line.address).or_default() += 1;
        if let Some(host) = line.host {
            *self.hosts.entry(host).or_default() += 1;
            if line.way == Way::Borrowed {
                self.borrowed.insert(host);
            }
        }
    }

    /// Whether there may be one more such.
    pub(crate) fn has_room(&self, line: Line) -> bool {
        let open = |count: Option<&usize>| count.copied().unwrap_or(0);
        let here = open(self.addresses.get(&line.address));
        let host = open(line.host.and_then(|h| self.hosts.get(&h)));
        let free = match line.way {
            Way::Borrowed => here == 0 && host == 0,
            Way::System | Way::Stack => {
                here < PER_HOST && host < PER_HOST && line.host.is_none_or(|h| !self.borrowed.contains(&h))
            }
        };
        self.all < IN_ALL && free
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_connection_at_a_time_to_a_host_that_is_spoken_to_from_a_borrowed_address() {
        let host = |n: u8| Some(Mac::new([2, 0x52, 0x43, 0, 0, n]));
        let line = |d: u8, n: u8, way| Line {
            address: Ipv4Addr::new(192, 168, 0, d),
            host: host(n),
            way,
        };
        let mut busy = Busy::default();
        busy.add(line(20, 1, Way::Borrowed));
        for other in [
            line(20, 1, Way::Borrowed),
            line(21, 1, Way::Borrowed),
            line(9, 1, Way::System),
        ] {
            assert!(!busy.has_room(other), "{other:?}");
        }
        for other in [line(21, 2, Way::Borrowed), line(9, 3, Way::System)] {
            assert!(busy.has_room(other), "{other:?}");
        }
        busy.add(line(9, 3, Way::System));
        assert!(busy.has_room(line(9, 3, Way::System)), "two to others");
        assert!(!busy.has_room(line(22, 3, Way::Borrowed)));
        busy.add(line(9, 3, Way::System));
        assert!(!busy.has_room(line(9, 3, Way::System)));
        assert!(
            !busy.has_room(line(10, 3, Way::System)),
            "at its other address neither"
        );
        assert!(busy.has_room(line(10, 4, Way::System)));
    }
}

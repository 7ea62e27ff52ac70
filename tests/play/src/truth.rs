//! How each device should stand, by the contract alone, from what really is there. Nothing of the ledger's own way to
//! judge is used here: a few lines on who holds what and which ports speak.

use std::net::Ipv4Addr;

use ledger::Standing;
use venue::{HostTruth, Truth};
use vocab::{Ipv4Net, LinkState, Mac};

use crate::build::ours;
use crate::course::{Address, Ask, Course, Listed, Source};

/// How the hardware addresses begin that several routers share (RFC 9568 section 7.3).
const SHARED: [u8; 5] = [0, 0, 0x5e, 0, 1];

/// What is really so on one network now.
#[derive(Debug)]
pub(crate) struct Scene<'a> {
    course: &'a Course,
    net: usize,
    truth: Truth,
    /// Our own addresses there.
    ours: Vec<Ipv4Net>,
    /// Our own link carries nothing.
    down: bool,
}

impl<'a> Scene<'a> {
    /// Looks at the venue of the network at place `net`.
    pub(crate) fn of(course: &'a Course, net: usize, venue: &venue::Venue) -> Self {
        Self {
            course,
            net,
            truth: venue.truth(),
            ours: venue.station().addresses,
            down: venue.station().state != LinkState::Up,
        }
    }

    /// Whoever can be reached and bears one of these hardware addresses.
    fn own(&self, listed: &Listed) -> impl Iterator<Item = &HostTruth> {
        let mac = listed.mac;
        self.reached().filter(move |h| Some(h.mac) == mac)
    }

    /// Who can be reached.
    pub(crate) fn reached(&self) -> impl Iterator<Item = &HostTruth> {
        self.truth.hosts.iter().filter(|h| h.passing && h.powered)
    }

    /// Who holds an address, this computer included.
    pub(crate) fn holders(&self, address: Ipv4Addr) -> Vec<Mac> {
        let holds = |h: &&HostTruth| h.addresses.iter().any(|n| n.addr() == address);
        let mut all: Vec<Mac> = self.reached().filter(holds).map(|h| h.mac).collect();
        if self.ours.iter().any(|n| n.addr() == address) {
            all.push(ours(self.net));
        }
        all
    }

    fn inside(&self, address: Ipv4Addr) -> bool {
        self.course.nets[self.net].subnet().contains(&address)
    }

    /// How `listed` may stand. One by DHCP that has several addresses in the subnet is judged by one of them.
    pub(crate) fn standings(&self, listed: &Listed) -> Vec<Standing> {
        if self.down {
            return vec![Standing::Unknown];
        }
        let held: Vec<Ipv4Addr> = self
            .own(listed)
            .flat_map(|h| h.addresses.iter().map(Ipv4Net::addr))
            .collect();
        let places = match listed.address {
            Address::Fixed(address) => vec![address],
            Address::Dhcp => held.iter().copied().filter(|a| self.inside(*a)).collect(),
            Address::None => Vec::new(),
        };
        if places.is_empty() {
            let nowhere = held.is_empty();
            let found = if nowhere {
                Standing::Missing
            } else {
                Standing::WrongSubnet
            };
            return self.or_asks(listed, found);
        }
        let found: Vec<Standing> = places.iter().map(|at| self.at(listed, *at, &held)).collect();
        match found[..] {
            [only] if only != Standing::Present => self.or_asks(listed, only),
            _ => found,
        }
    }

    /// One that asks for a lease in vain returns, by the contract, with every question that it asks.
    fn or_asks(&self, listed: &Listed, found: Standing) -> Vec<Standing> {
        let settled = |h: &HostTruth| h.addresses.iter().any(|n| self.inside(n.addr()));
        let asks = self.own(listed).any(|h| !settled(h) && self.by_dhcp(h.mac));
        if asks {
            vec![found, Standing::Starting]
        } else {
            vec![found]
        }
    }

    fn by_dhcp(&self, mac: Mac) -> bool {
        let mut units = self.course.units.iter();
        units.any(|u| u.mac == mac && matches!(u.source, Source::Dhcp(_)))
    }

    fn at(&self, listed: &Listed, address: Ipv4Addr, held: &[Ipv4Addr]) -> Standing {
        let holders = self.holders(address);
        // What several routers share is nobody's clash, but other hardware like any.
        if holders.iter().filter(|mac| mac.octets()[..5] != SHARED).count() > 1 {
            return Standing::Conflict;
        }
        match (listed.mac, holders.first()) {
            (None, None) => Standing::Missing,
            (None, Some(holder)) => self.control(listed, *holder),
            (Some(own), Some(holder)) if own == *holder => self.control(listed, own),
            (Some(_), _) if held.iter().any(|a| self.inside(*a)) => Standing::Moved,
            (Some(_), _) if !held.is_empty() => Standing::WrongSubnet,
            (Some(_), Some(_)) => Standing::Replaced,
            (Some(_), None) => Standing::Missing,
        }
    }

    fn control(&self, listed: &Listed, holder: Mac) -> Standing {
        let open = |h: &HostTruth| listed.control.iter().all(|p| h.open.contains(p));
        let mut there = self.reached().filter(|h| h.mac == holder);
        let asked = listed.ask != Ask::Never && holder != ours(self.net);
        if asked && !there.any(open) {
            Standing::NoControl
        } else {
            Standing::Present
        }
    }

    /// Whether a unit with two ports holds the address of `listed`, or is itself that.
    pub(crate) fn at_two_ports(&self, listed: &Listed) -> bool {
        let two = |h: &HostTruth| {
            let mut units = self.course.units.iter();
            units.any(|u| u.mac == h.mac && u.second_port.is_some())
        };
        let held = |h: &HostTruth| match listed.address {
            Address::Fixed(address) => h.addresses.iter().any(|n| n.addr() == address),
            Address::Dhcp | Address::None => listed.mac == Some(h.mac),
        };
        self.reached().any(|h| held(h) && two(h))
    }

    /// Strangers that hold an address in the subnet, and no device of the file.
    pub(crate) fn strangers(&self) -> Vec<Mac> {
        let mine = |mac: Mac| self.course.listed.iter().any(|l| l.mac == Some(mac));
        let gateway = self.course.nets[self.net].address(1);
        let here = |h: &&HostTruth| {
            h.addresses.iter().any(|n| self.inside(n.addr()))
                && h.addresses.iter().all(|n| n.addr() != gateway)
                && !mine(h.mac)
        };
        self.reached().filter(here).map(|h| h.mac).collect()
    }
}

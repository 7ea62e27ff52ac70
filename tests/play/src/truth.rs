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

    /// Where a device is whose address two others hold: elsewhere in the subnet, or on another. By the contract the clash
    /// comes first.
    pub(crate) fn behind_a_clash(&self, listed: &Listed) -> Option<Standing> {
        let Address::Fixed(address) = listed.address else {
            return None;
        };
        let mut held = self
            .own(listed)
            .flat_map(|h| &h.addresses)
            .map(Ipv4Net::addr)
            .peekable();
        let anywhere = held.peek().is_some();
        let held: Vec<Ipv4Addr> = held.filter(|a| self.inside(*a)).collect();
        match (anywhere, held.is_empty()) {
            _ if held.contains(&address) => None,
            (true, true) => Some(Standing::WrongSubnet),
            (true, false) => Some(Standing::Moved),
            (false, _) => None,
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

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;
    use crate::course::{Habit, Net, Pace, Start, Switch, Unit};

    const DEVICE: Mac = Mac::new([2, 0x52, 0x43, 0, 0, 1]);
    const OTHER: Mac = Mac::new([2, 0x52, 0x43, 0, 0, 2]);

    /// Stands at the device's address from the start.
    fn unit(mac: Mac, second_port: Option<Mac>) -> Unit {
        Unit {
            name: format!("Unit {mac}"),
            net: 0,
            switch: 0,
            mac,
            source: Source::Fixed("10.50.8.21/24".parse().unwrap()),
            extra: Vec::new(),
            settings: Duration::from_secs(4),
            interim: None,
            probes: 0,
            ports: Vec::new(),
            habit: Habit::Plain,
            on: Start::Settled,
            own_supply: true,
            drops_echo: false,
            sleeps: false,
            standby: false,
            says_name: false,
            second_port,
        }
    }

    fn course(units: Vec<Unit>) -> Course {
        let device = Listed {
            name: "Camera".to_owned(),
            role: "camera",
            net: 0,
            mac: Some(DEVICE),
            address: Address::Fixed("10.50.8.21".parse().unwrap()),
            reserved: false,
            control: Vec::new(),
            ask: Ask::Once,
            need: "show",
            sleeps: false,
            boot: Duration::from_secs(20),
            port: None,
            channels: Vec::new(),
        };
        Course {
            seed: 1,
            nets: vec![Net {
                number: 8,
                switches: vec![Switch {
                    powers: true,
                    boot: Duration::from_secs(20),
                }],
                leases: false,
                listens: Duration::ZERO,
            }],
            units,
            listed: vec![device],
            faults: Vec::new(),
            acts: Vec::new(),
            calm: Duration::ZERO,
            sweeps: false,
            pace: Pace::Own,
        }
    }

    /// How the device stands at the start, where these stand, and whether a unit with two ports is at its address.
    fn so(units: Vec<Unit>) -> (Vec<Standing>, bool) {
        let course = course(units);
        let venue = venue::Venue::from_plan(crate::build::plan(&course), course.seed);
        let scene = Scene::of(&course, 0, &venue);
        let device = &course.listed[0];
        (scene.standings(device), scene.at_two_ports(device))
    }

    #[test]
    fn hardware_that_several_routers_share_is_other_hardware_and_nobodys_clash() {
        let shared = Mac::new([0, 0, 0x5e, 0, 1, 7]);
        let standings = |macs: &[Mac]| so(macs.iter().map(|mac| unit(*mac, None)).collect()).0;
        assert_eq!(standings(&[]), [Standing::Missing]);
        assert_eq!(standings(&[DEVICE]), [Standing::Present]);
        assert_eq!(standings(&[shared]), [Standing::Replaced]);
        assert_eq!(standings(&[DEVICE, shared]), [Standing::Present]);
        assert_eq!(standings(&[DEVICE, OTHER]), [Standing::Conflict]);
    }

    #[test]
    fn two_ports_are_let_pass_for_whoever_is_at_the_address() {
        let second = Some(Mac::new([2, 0x52, 0x43, 0x66, 0, 1]));
        let two = |unit: Unit| so(vec![unit]).1;
        assert!(two(unit(DEVICE, second)));
        assert!(two(unit(OTHER, second)), "another unit in its place");
        assert!(!two(unit(DEVICE, None)));
        assert!(!two(Unit {
            source: Source::Fixed("10.50.8.22/24".parse().unwrap()),
            ..unit(DEVICE, second)
        }));
    }
}

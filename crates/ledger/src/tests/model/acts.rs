//! What can happen in a course: to a host, to the wire, to this computer, by the user.

use std::net::Ipv4Addr;
use std::time::Duration;

use proptest::prelude::*;
use vocab::{ControlState, Gap, Level, LinkState};

use super::stage::{DEVICES, UNITS};

/// Where a host may be. Each place belongs to a host or a device by its number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Place {
    /// Where this device should be.
    Of(usize),
    /// Somewhere else in the subnet.
    Spare,
    /// On the subnet that devices come from the factory with.
    Factory,
    /// At an address that it gave itself.
    LinkLocal,
}

impl Place {
    /// The address of that place for host number `unit`.
    pub(super) fn address(self, unit: usize) -> Ipv4Addr {
        let n = unit as u8;
        match self {
            Self::Of(device) => Ipv4Addr::new(10, 40, 8, 21 + device as u8),
            Self::Spare => Ipv4Addr::new(10, 40, 8, 120 + n),
            Self::Factory => Ipv4Addr::new(192, 168, 0, 20 + n % 10),
            Self::LinkLocal => Ipv4Addr::new(169, 254, 3, 1 + n),
        }
    }
}

/// One thing that happens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Act {
    /// A host gets power and says nothing of it.
    On(usize),
    /// A host loses power.
    Off(usize),
    /// A host is at this place from now on, and says nothing of it.
    Goes(usize, Place),
    /// A host has this place as well.
    Adds(usize, Place),
    /// A host starts: it probes for its address, and announces it.
    Starts(usize),
    /// A host asks for an address by DHCP.
    Discovers(usize),
    /// A host says once that it is at a place where it does not answer.
    Boasts(usize, Place),
    /// A frame says so of a host that did not send it.
    Forged(usize, Place),
    /// What a host's control ports do from now on.
    Ports(usize, ControlState),
    /// Whether a host answers echo requests.
    Echo(usize, bool),
    /// A switch of the rig loses its power, or has it again.
    Switch(u8, bool),
    /// A DHCP server, or a second one, is there or not.
    Server(u8, bool),
    /// What our own link does.
    Link(LinkState),
    /// Whether this computer has an address in the rig's subnet.
    Near(bool),
    /// The program knows nothing of a while.
    Gap(Gap),
    /// How much may be sent.
    Level(Level),
    /// So many in a hundred answers are lost; of a hundred nothing comes in.
    Loss(u64),
    /// Somebody says that a device is restarted, or is not any more.
    Restart(usize, bool),
    /// The same of a switch.
    RestartSwitch(u8, bool),
    /// Somebody wants all asked again.
    Sweep,
    /// Somebody wants the ports of a device asked.
    AskPorts(usize),
    /// Somebody says that a device is this host: the file takes its hardware.
    Match(usize, usize),
    /// Frames of so many hosts of which nobody ever heard.
    Crowd(u16),
}

fn place() -> impl Strategy<Value = Place> {
    prop_oneof![
        4 => (0..DEVICES).prop_map(Place::Of),
        2 => Just(Place::Spare),
        1 => Just(Place::Factory),
        1 => Just(Place::LinkLocal),
    ]
}

fn gap() -> impl Strategy<Value = Gap> {
    prop_oneof![
        (2_u64..5_000).prop_map(|s| Gap::Slept(Duration::from_secs(s))),
        (2_u64..60).prop_map(|s| Gap::Stood(Duration::from_secs(s))),
    ]
}

pub(super) fn act() -> impl Strategy<Value = Act> {
    let unit = || 0..UNITS;
    let device = || 0..DEVICES;
    let states = [
        ControlState::Answered,
        ControlState::Refused,
        ControlState::Silent,
    ];
    let links = [
        LinkState::Up,
        LinkState::Up,
        LinkState::NoCarrier,
        LinkState::Down,
        LinkState::Gone,
    ];
    prop_oneof![
        9 => unit().prop_map(Act::Off),
        5 => unit().prop_map(Act::On),
        8 => unit().prop_map(Act::Starts),
        6 => (unit(), place()).prop_map(|(u, p)| Act::Goes(u, p)),
        3 => (unit(), place()).prop_map(|(u, p)| Act::Adds(u, p)),
        2 => unit().prop_map(Act::Discovers),
        2 => (unit(), place()).prop_map(|(u, p)| Act::Boasts(u, p)),
        2 => (unit(), place()).prop_map(|(u, p)| Act::Forged(u, p)),
        4 => (unit(), prop::sample::select(states.to_vec())).prop_map(|(u, s)| Act::Ports(u, s)),
        1 => (unit(), any::<bool>()).prop_map(|(u, on)| Act::Echo(u, on)),
        5 => (1_u8..3, any::<bool>()).prop_map(|(s, on)| Act::Switch(s, on)),
        2 => (0_u8..2, any::<bool>()).prop_map(|(n, on)| Act::Server(n, on)),
        4 => prop::sample::select(links.to_vec()).prop_map(Act::Link),
        1 => any::<bool>().prop_map(Act::Near),
        1 => gap().prop_map(Act::Gap),
        3 => prop::sample::select(vec![Level::All, Level::Watch, Level::Silent]).prop_map(Act::Level),
        3 => prop::sample::select(vec![0_u64, 1, 5, 20, 100]).prop_map(Act::Loss),
        2 => (device(), any::<bool>()).prop_map(|(d, on)| Act::Restart(d, on)),
        1 => (1_u8..3, any::<bool>()).prop_map(|(s, on)| Act::RestartSwitch(s, on)),
        1 => Just(Act::Sweep),
        1 => device().prop_map(Act::AskPorts),
        1 => (device(), unit()).prop_map(|(d, u)| Act::Match(d, u)),
        1 => (1_u16..600).prop_map(Act::Crowd),
    ]
}

/// A rig, and what happens to it: each act with the time until the next, in milliseconds.
#[derive(Debug, Clone)]
pub(super) struct Course {
    /// Whether the file says where devices are plugged in.
    pub(super) ported: bool,
    /// Whether some devices have their addresses by DHCP.
    pub(super) leases: bool,
    /// What the losses follow from.
    pub(super) chance: u64,
    pub(super) acts: Vec<(Act, u64)>,
}

pub(super) fn course() -> impl Strategy<Value = Course> {
    let wait = prop_oneof![
        5 => 0_u64..1_500,
        4 => 1_500_u64..8_000,
        1 => 8_000_u64..35_000,
    ];
    (
        any::<bool>(),
        any::<bool>(),
        any::<u64>(),
        prop::collection::vec((act(), wait), 1..24),
    )
        .prop_map(|(ported, leases, chance, acts)| Course {
            ported,
            leases,
            chance,
            acts,
        })
}

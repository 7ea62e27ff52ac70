//! What a course is: the rig, what really stands there, and what happens to it.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{ControlPort, Ipv4Net, Mac};

/// A rig on its networks, and what happens.
#[derive(Debug, Clone)]
pub struct Course {
    /// What all chance in the venue follows from.
    pub seed: u64,
    /// One or two.
    pub nets: Vec<Net>,
    /// What really is there or will be: devices, strangers, servers.
    pub units: Vec<Unit>,
    /// What the file lists.
    pub listed: Vec<Listed>,
    /// What happens, by its time.
    pub faults: Vec<Fault>,
    /// What the user does meanwhile.
    pub acts: Vec<(Duration, Act)>,
    /// From then on the wire is left alone.
    pub calm: Duration,
    /// Then everything is asked for again, rather than that every host says a word.
    pub sweeps: bool,
    /// The pace of all networks, as the file writes it.
    pub pace: Pace,
}

/// How fast may be asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pace {
    /// What is usual on a network of one's own.
    Own,
    /// What is polite on a house's.
    House,
    /// So many frames a second.
    Number(u32),
}

/// A network with its switches.
#[derive(Debug, Clone)]
pub struct Net {
    /// The third octet of its /24.
    pub number: u8,
    /// The name of each switch's uplink; the first has none.
    pub switches: Vec<Switch>,
    /// Whether the file has leases for it.
    pub leases: bool,
    /// How long ports listen before they pass frames.
    pub listens: Duration,
}

/// A switch.
#[derive(Debug, Clone, Copy)]
pub struct Switch {
    /// Whether it powers what is plugged in.
    pub powers: bool,
    /// From power to its ports coming up.
    pub boot: Duration,
}

/// How something gets its address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// By hand.
    Fixed(Ipv4Net),
    /// By DHCP; or a link-local one after a while.
    Dhcp(Option<Ipv4Net>),
}

/// What a unit does beside answering.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Habit {
    /// Nothing.
    Plain,
    /// Answers for everybody.
    ProxyArp,
    /// Hands out addresses of its network from this number on, 30 of them; to those who have a reserved one, that.
    Serves(u8),
    /// Keeps asking for two addresses.
    Calls(Ipv4Addr, Ipv4Addr),
}

/// Something on the wire.
#[derive(Debug, Clone)]
#[expect(clippy::struct_excessive_bools, reason = "independent oddities of a unit")]
pub struct Unit {
    pub name: String,
    pub net: usize,
    pub switch: usize,
    pub mac: Mac,
    pub source: Source,
    pub extra: Vec<Ipv4Net>,
    /// When it takes its address, from power on.
    pub settings: Duration,
    pub interim: Option<(Ipv4Net, Duration)>,
    pub probes: u8,
    /// Each port, when it speaks from power on, or never.
    pub ports: Vec<(ControlPort, Option<Duration>)>,
    pub habit: Habit,
    pub on: Start,
    pub own_supply: bool,
    pub drops_echo: bool,
    pub sleeps: bool,
    pub standby: bool,
    pub says_name: bool,
    pub second_port: Option<Mac>,
}

/// How a unit stands at first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Start {
    Settled,
    PoweredOn,
    Off,
}

/// The address of the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Address {
    Fixed(Ipv4Addr),
    Dhcp,
    None,
}

/// A device of the file.
#[derive(Debug, Clone)]
pub struct Listed {
    pub name: String,
    pub role: &'static str,
    pub net: usize,
    pub mac: Option<Mac>,
    pub address: Address,
    pub reserved: bool,
    pub control: Vec<ControlPort>,
    pub ask: Ask,
    pub need: &'static str,
    pub sleeps: bool,
    pub boot: Duration,
    /// The switch and the port that it is plugged into, as the file says.
    pub port: Option<(usize, u8)>,
    /// A panel's channels: numbers of devices.
    pub channels: Vec<usize>,
}

/// When control ports are asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ask {
    Once,
    Watch,
    Never,
}

/// Something that happens, and what ends it.
#[derive(Debug, Clone)]
pub struct Fault {
    pub at: Duration,
    /// How long it lasts; `None`: to the end of the course.
    pub span: Option<Duration>,
    pub what: What,
}

/// What happens. Units and switches are numbers in the course.
#[derive(Debug, Clone)]
pub enum What {
    /// A unit loses its power (or has it, where it was off at first).
    Power(usize),
    /// Its cable is pulled.
    Cable(usize),
    /// Its cable or power goes and comes so often, so long each.
    Flaps(usize, u8, Duration, bool),
    /// A switch is without power.
    Switch(usize, usize),
    /// A switch's uplink is pulled.
    Uplink(usize, usize),
    /// Our own cable is pulled.
    OurLink(usize),
    /// Our computer has this address instead.
    OurAddress(usize, Ipv4Net),
    /// Somebody types in another address.
    Renumber(usize, Ipv4Net, Ipv4Net),
    /// Two trade their addresses.
    Swap(usize, usize),
    /// A stranger takes the address of another, and has its own again.
    Clash(usize, Ipv4Net, Ipv4Net),
    /// A unit is taken away, and other hardware is put in its place.
    Replace(usize, usize),
    /// A port refuses.
    Service(usize, ControlPort),
    /// A unit's cable, or ours, loses, doubles and holds up frames, in millionths.
    Rough(usize, Option<usize>, u32, u32, u32),
    /// Frames of random senders, so many a second.
    Storm(usize, Storm, u32),
    /// A unit says where it is.
    Announce(usize),
}

/// What a storm is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Storm {
    /// Requests of the sender's own.
    Arp,
    /// Announcements of hardware that nobody has.
    Forged,
    /// Multicast DNS.
    Mdns,
}

/// What the user or this computer does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Act {
    /// Asks everything again.
    Sweep,
    /// Asks only to watch, or not at all.
    Level(vocab::Level),
    /// The computer sleeps.
    Sleep(Duration),
    /// The ports of all devices are asked.
    AskPorts,
}

impl Fault {
    /// When something about it happens, by `calm` at the latest.
    pub fn moments(&self, calm: Duration) -> Vec<Duration> {
        let (times, each) = match self.what {
            What::Flaps(_, times, each, _) => (u32::from(times) * 2, each),
            _ => (1, Duration::ZERO),
        };
        let all = (0..times).map(|n| self.at + each * n);
        let end = self.span.map(|span| self.at + span);
        all.chain(end).map(|at| at.min(calm)).collect()
    }
}

impl What {
    /// What it is called in a tally.
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::Power(_) => "power cut",
            Self::Cable(_) => "cable pulled",
            Self::Flaps(_, _, _, true) => "cable flaps",
            Self::Flaps(..) => "power flaps",
            Self::Switch(..) => "switch restart or outage",
            Self::Uplink(..) => "uplink pulled",
            Self::OurLink(_) => "our link down",
            Self::OurAddress(..) => "our address changed",
            Self::Renumber(..) => "renumbered",
            Self::Swap(..) => "addresses swapped",
            Self::Clash(..) => "clash",
            Self::Replace(..) => "hardware replaced",
            Self::Service(..) => "control port refuses",
            Self::Rough(..) => "loss, doubles, disorder",
            Self::Storm(_, Storm::Arp, _) => "storm of ARP",
            Self::Storm(_, Storm::Forged, _) => "storm of forged ARP",
            Self::Storm(_, Storm::Mdns, _) => "storm of mDNS",
            Self::Announce(_) => "announcement",
        }
    }
}

impl Act {
    /// What it is called in a tally.
    pub const fn kind(self) -> &'static str {
        match self {
            Self::Sweep => "swept by hand",
            Self::Level(vocab::Level::Watch) => "watching only",
            Self::Level(vocab::Level::Silent) => "listening only",
            Self::Level(vocab::Level::All) => "asking all again",
            Self::Sleep(_) => "computer slept",
            Self::AskPorts => "ports asked by hand",
        }
    }
}

impl Net {
    /// What the file calls it.
    pub const fn name(place: usize) -> &'static str {
        if place == 0 { "main" } else { "media" }
    }

    /// One of its addresses.
    pub const fn address(&self, n: u8) -> Ipv4Addr {
        Ipv4Addr::new(10, 50, self.number, n)
    }

    /// The same with its mask.
    pub const fn at(&self, n: u8) -> Ipv4Net {
        Ipv4Net::new_assert(self.address(n), 24)
    }

    /// Its subnet.
    pub const fn subnet(&self) -> Ipv4Net {
        self.at(0)
    }

    /// Our computer's address there.
    pub const fn ours(&self) -> Ipv4Net {
        self.at(230)
    }
}

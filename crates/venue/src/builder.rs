//! What stands in a venue and what is going to happen there, composed in code.

use std::collections::BTreeMap;
use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{AddressRange, ControlPort, Ipv4Net, Mac, Power};
use wire::persona::camera::CameraPlan;
use wire::persona::device::DevicePlan;

pub use crate::deeds::{Computer, Deed};
use crate::oddity::Oddities;

use crate::says::Says;

/// One switch of a [`Plan`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SwitchId(pub(crate) usize);

/// One host of a [`Plan`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct HostId(pub(crate) usize);

/// What a cable does to the frames that go through it, each way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Line {
    /// Delay on top of the switch's own.
    pub latency: Duration,
    /// Up to so much more, evenly spread. Frames do not overtake each other by it.
    pub jitter: Duration,
    /// Frames lost, in millionths.
    pub loss_ppm: u32,
    /// Frames that arrive twice, in millionths.
    pub twice_ppm: u32,
    /// Frames that are held up for 2 to 20 ms, in millionths; later ones overtake them.
    pub held_ppm: u32,
    /// Bits damaged, in thousand millionths: a frame with one is thrown away, so the longer it is, the
    /// more rarely it arrives.
    pub bits_ppb: u32,
}

impl Line {
    /// A sound cable.
    pub const SOUND: Self = Self {
        latency: Duration::ZERO,
        jitter: Duration::ZERO,
        loss_ppm: 0,
        twice_ppm: 0,
        held_ppm: 0,
        bits_ppb: 0,
    };

    /// A cable that loses `percent` of the frames each way.
    pub const fn lossy(percent: u32) -> Self {
        Self {
            loss_ppm: percent * 10_000,
            ..Self::SOUND
        }
    }
}

/// A switch.
#[derive(Debug, Clone)]
pub struct SwitchPlan {
    pub(crate) name: String,
    pub(crate) uplink: Option<SwitchId>,
    pub(crate) boot: Duration,
    pub(crate) listens: Duration,
    pub(crate) latency: Duration,
    pub(crate) jitter: Duration,
    pub(crate) powers: bool,
    pub(crate) on: bool,
    /// Its uplink is in a port that is kept apart.
    pub(crate) isolated: bool,
    pub(crate) says: Option<Says>,
}

impl SwitchPlan {
    /// A switch that is on, passes a frame on after about 150 µs, and powers what is plugged in.
    pub fn new(name: &str) -> Self {
        Self {
            name: name.to_owned(),
            uplink: None,
            boot: Duration::from_secs(2),
            listens: Duration::ZERO,
            latency: Duration::from_micros(150),
            jitter: Duration::from_micros(60),
            powers: true,
            on: true,
            isolated: false,
            says: None,
        }
    }

    /// Plugged into `other`, which was planned earlier.
    #[must_use]
    pub const fn uplink(mut self, other: SwitchId) -> Self {
        self.uplink = Some(other);
        self
    }

    /// From power to its ports coming up.
    #[must_use]
    pub const fn boot(mut self, span: Duration) -> Self {
        self.boot = span;
        self
    }

    /// How long a port passes nothing after its link came up (classic spanning tree: 30 s).
    #[must_use]
    pub const fn listens(mut self, span: Duration) -> Self {
        self.listens = span;
        self
    }

    /// It powers nothing: what is plugged in has its own supply.
    #[must_use]
    pub const fn unpowered(mut self) -> Self {
        self.powers = false;
        self
    }

    /// It says who it is and which port one is plugged into (LLDP), and where it is managed.
    #[must_use]
    pub const fn says(mut self, mac: Mac, address: Option<Ipv4Addr>) -> Self {
        self.says = Some(Says { mac, address });
        self
    }

    /// It is off at the start.
    #[must_use]
    pub const fn off(mut self) -> Self {
        self.on = false;
        self
    }
}

/// An address that is held for a while before the settings load.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Interim {
    /// The link-local or factory address.
    pub address: Ipv4Net,
    /// For how long from link-up on.
    pub span: Duration,
}

/// The course of a host's start, each time counted from power on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Boot {
    /// Until its port comes up.
    pub link: Duration,
    /// An address for the first moments.
    pub interim: Option<Interim>,
    /// When it begins to claim its own address; not before the link is up and the interim over.
    pub settings: Duration,
    /// ARP probes before the address is used (RFC 5227 wants 3); 0 takes it at once.
    pub probes: u8,
    /// When it answers echo requests; not before it has an address.
    pub echo: Duration,
}

impl Boot {
    /// Link after 2 s, settings after 4 s, echo after 8 s; services bring their own times.
    pub const QUICK: Self = Self {
        link: Duration::from_secs(2),
        interim: None,
        settings: Duration::from_secs(4),
        probes: 3,
        echo: Duration::from_secs(8),
    };

    /// A start that has settings after `settle` and echo one second later.
    pub const fn by(settle: Duration) -> Self {
        Self {
            link: Duration::from_secs(2),
            interim: None,
            settings: settle,
            probes: 3,
            echo: Duration::from_secs(settle.as_secs() + 1),
        }
    }

    /// The same with `address` held for `span` after link-up.
    #[must_use]
    pub const fn through(mut self, address: Ipv4Net, span: Duration) -> Self {
        self.interim = Some(Interim { address, span });
        self
    }
}

/// What a host does when other hardware claims its address.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Clash {
    /// Nothing, as most do: it takes the address and keeps it.
    #[default]
    Ignore,
    /// Does not take an address that another claims while it probes; asks again 10 s later.
    Yield,
}

/// What a host does beside answering for itself.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Habit {
    /// Nothing else.
    #[default]
    Plain,
    /// Keeps asking for these addresses, as a panel does for its channels.
    Calls(Vec<Ipv4Addr>),
    /// Answers requests that carry a sender address for every address but the asker's, 0–0.8 s
    /// late (proxy ARP as measured on a Linux kernel).
    ProxyArp,
    /// Answers every ARP request but for its asker's own address, probes included, once with each of
    /// these hardware addresses, from which the frames come too.
    ClaimsAll(Vec<Mac>),
    /// Hands out the addresses of a pool.
    DhcpServer {
        /// What is handed out.
        pool: AddressRange,
        /// Fixed leases.
        reserved: Vec<(Mac, Ipv4Addr)>,
        /// The router named in the offer, if any.
        router: Option<Ipv4Addr>,
    },
}

/// How a port treats those who ask.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Service {
    /// Speaks its protocol, `after` so long from power on.
    Open {
        /// When it starts, counted from power on.
        after: Duration,
    },
    /// Takes what comes and never says a word.
    Mute,
}

/// How a host gets its address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Source {
    /// Set by hand.
    Fixed(Ipv4Net),
    /// From a DHCP server; `fallback` after three silent tries.
    Dhcp { fallback: Option<Ipv4Net> },
    /// It has none.
    Nothing,
}

/// In what state a host is when the run begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Start {
    /// Long up: all its addresses and services stand.
    #[default]
    Settled,
    /// Its power comes on in the first moment.
    PoweredOn,
    /// Off until [`Deed::PowerOn`].
    Off,
}

/// A host.
#[derive(Debug, Clone)]
#[expect(clippy::struct_excessive_bools, reason = "independent habits of a host")]
pub struct HostPlan {
    pub(crate) name: String,
    pub(crate) mac: Mac,
    pub(crate) switch: SwitchId,
    pub(crate) source: Source,
    pub(crate) extra: Vec<Ipv4Net>,
    pub(crate) gateway: Option<Ipv4Addr>,
    pub(crate) boot: Boot,
    pub(crate) clash: Clash,
    pub(crate) habit: Habit,
    pub(crate) services: Vec<(ControlPort, Service)>,
    pub(crate) clients: usize,
    pub(crate) line: Line,
    pub(crate) start: Start,
    pub(crate) own_supply: bool,
    pub(crate) says_name: bool,
    pub(crate) ipv6: bool,
    pub(crate) tells_settings: bool,
    pub(crate) drops_echo: bool,
    pub(crate) power: Power,
    pub(crate) title: String,
    pub(crate) server: String,
    pub(crate) odd: Oddities,
    pub(crate) camera: Option<CameraPlan>,
    pub(crate) device: Option<DevicePlan>,
    pub(crate) drives: BTreeMap<u32, Vec<Ipv4Addr>>,
}

impl HostPlan {
    /// A host without an address, settled, on a sound cable.
    pub fn new(name: &str, mac: Mac, switch: SwitchId) -> Self {
        Self {
            name: name.to_owned(),
            mac,
            switch,
            source: Source::Nothing,
            extra: Vec::new(),
            gateway: None,
            boot: Boot::QUICK,
            clash: Clash::default(),
            habit: Habit::default(),
            services: Vec::new(),
            clients: 4,
            line: Line::SOUND,
            start: Start::default(),
            own_supply: false,
            says_name: false,
            ipv6: false,
            tells_settings: false,
            drops_echo: false,
            power: Power::On,
            title: String::new(),
            server: "venue".to_owned(),
            odd: Oddities::default(),
            camera: None,
            device: None,
            drives: BTreeMap::new(),
        }
    }

    /// Its address, set by hand.
    #[must_use]
    pub const fn fixed(mut self, address: Ipv4Net) -> Self {
        self.source = Source::Fixed(address);
        self
    }

    /// Its address comes from a DHCP server; `fallback` is taken after three silent tries.
    #[must_use]
    pub const fn dhcp(mut self, fallback: Option<Ipv4Net>) -> Self {
        self.source = Source::Dhcp { fallback };
        self
    }

    /// A further address beside its own, always held once it is up.
    #[must_use]
    pub fn extra(mut self, address: Ipv4Net) -> Self {
        self.extra.push(address);
        self
    }

    /// Where it sends what is not for its own subnet.
    #[must_use]
    pub const fn gateway(mut self, gateway: Ipv4Addr) -> Self {
        self.gateway = Some(gateway);
        self
    }

    /// The course of its start.
    #[must_use]
    pub const fn boot(mut self, boot: Boot) -> Self {
        self.boot = boot;
        self
    }

    /// What it does when other hardware claims its address.
    #[must_use]
    pub const fn clash(mut self, clash: Clash) -> Self {
        self.clash = clash;
        self
    }

    /// What it does beside answering for itself.
    #[must_use]
    pub fn habit(mut self, habit: Habit) -> Self {
        self.habit = habit;
        self
    }

    /// A port that is served, or mute. What is not named refuses.
    #[must_use]
    pub fn serve(mut self, port: ControlPort, service: Service) -> Self {
        self.services.push((port, service));
        self
    }

    /// At most so many TCP connections to one port at a time; further ones find no ear.
    #[must_use]
    pub const fn clients(mut self, most: usize) -> Self {
        self.clients = most;
        self
    }

    /// The quality of its cable.
    #[must_use]
    pub const fn line(mut self, line: Line) -> Self {
        self.line = line;
        self
    }

    /// Its state when the run begins.
    #[must_use]
    pub const fn start(mut self, start: Start) -> Self {
        self.start = start;
        self
    }

    /// It has its own power supply: a switch without power takes only its link.
    #[must_use]
    pub const fn own_supply(mut self) -> Self {
        self.own_supply = true;
        self
    }

    /// It answers the cameras' enquiry on the LAN.
    #[must_use]
    pub const fn tells_settings(mut self) -> Self {
        self.tells_settings = true;
        self
    }

    /// It has IPv6 on its link, whether it has IPv4 or not.
    #[must_use]
    pub const fn ipv6(mut self) -> Self {
        self.ipv6 = true;
        self
    }

    /// It lets no echo request in, as many a firewall does; its ports are served all the same.
    #[must_use]
    pub const fn drops_echo(mut self) -> Self {
        self.drops_echo = true;
        self
    }

    /// What it says of its power where VISCA is spoken.
    #[must_use]
    pub const fn says_power(mut self, power: Power) -> Self {
        self.power = power;
        self
    }

    /// The title of its web page.
    #[must_use]
    pub fn titled(mut self, title: &str) -> Self {
        title.clone_into(&mut self.title);
        self
    }

    /// What its RTSP and HTTP servers call themselves; `venue` where nobody says otherwise.
    #[must_use]
    pub fn served_by(mut self, server: &str) -> Self {
        server.clone_into(&mut self.server);
        self
    }

    /// What is odd about it.
    #[must_use]
    pub fn odd(mut self, odd: Oddities) -> Self {
        self.odd = odd;
        self
    }

    /// It says its name to everybody and to who asks: by multicast DNS, and by WS-Discovery where it
    /// has ONVIF.
    #[must_use]
    pub const fn says_name(mut self) -> Self {
        self.says_name = true;
        self
    }
}

/// What stands in a venue and what happens there.
#[derive(Debug, Clone)]
pub struct Plan {
    pub(crate) switches: Vec<SwitchPlan>,
    pub(crate) hosts: Vec<HostPlan>,
    pub(crate) computer: Computer,
    pub(crate) deeds: Vec<(Duration, Deed)>,
    pub(crate) beside: Vec<(&'static str, Self)>,
}

impl Plan {
    /// One switch and our computer on it, nothing else.
    pub fn new(first: SwitchPlan, mac: Mac, addresses: &[Ipv4Net]) -> Self {
        Self {
            switches: vec![first],
            hosts: Vec::new(),
            computer: Computer {
                port: "rehearsal".to_owned(),
                mac,
                addresses: addresses.to_vec(),
                link_local: None,
                switch: SwitchId(0),
                line: Line::SOUND,
                others: Vec::new(),
                fresh: false,
                isolated: false,
                tells_late: Duration::ZERO,
            },
            deeds: Vec::new(),
            beside: Vec::new(),
        }
    }

    /// Adds another network, which shares no cable with this one: the rig's `[networks.NAME]` of
    /// that name. What stands beside `plan` itself is left out.
    pub fn beside(&mut self, name: &'static str, mut plan: Self) {
        plan.computer.port = format!("rehearsal-{name}");
        self.beside.push((name, plan));
    }

    /// The switch that the plan began with.
    pub const fn first_switch(&self) -> SwitchId {
        SwitchId(0)
    }

    /// Adds a switch.
    pub fn switch(&mut self, switch: SwitchPlan) -> SwitchId {
        self.switches.push(switch);
        SwitchId(self.switches.len() - 1)
    }

    /// Adds a host.
    pub fn host(&mut self, host: HostPlan) -> HostId {
        self.hosts.push(host);
        HostId(self.hosts.len() - 1)
    }

    /// From now on all hosts planned so far say their names.
    pub(crate) fn all_say_names(&mut self) {
        self.hosts.iter_mut().for_each(|host| host.says_name = true);
    }

    /// Every port is kept apart from the others, but that of the host called `but`.
    pub(crate) fn keep_apart(&mut self, but: &str) {
        self.computer.isolated = true;
        for switch in &mut self.switches {
            switch.isolated = true;
        }
        for host in self.hosts.iter_mut().filter(|h| h.name != but) {
            host.odd.isolated = true;
        }
    }

    /// The planned host of that name asks who listens to multicast groups.
    pub(crate) fn let_query(&mut self, name: &str) {
        for host in self.hosts.iter_mut().filter(|h| h.name == name) {
            host.odd.queries = true;
        }
    }

    /// The planned host of that name answers only echo requests with so much data at the most, in bytes.
    pub(crate) fn limit_echo(&mut self, name: &str, most: usize) {
        for host in self.hosts.iter_mut().filter(|h| h.name == name) {
            host.odd.echo_most = Some(most);
        }
    }

    /// Our computer, to change what is planned for it.
    pub const fn computer(&mut self) -> &mut Computer {
        &mut self.computer
    }

    /// `deed` happens `after` the beginning.
    pub fn at(&mut self, after: Duration, deed: Deed) {
        self.deeds.push((after, deed));
    }

    /// The planned switch of that name.
    pub fn switch_named(&self, name: &str) -> Option<SwitchId> {
        self.switches.iter().position(|s| s.name == name).map(SwitchId)
    }

    /// The planned host of that name.
    pub fn named(&self, name: &str) -> Option<HostId> {
        self.hosts.iter().position(|h| h.name == name).map(HostId)
    }
}

//! Makes the venue of a course: what stands there, and every deed with its time.

use std::net::Ipv4Addr;
use std::time::Duration;

use venue::{
    Boot, Deed, Habit as Manner, HostId, HostPlan, Interim, Line, Oddities, Plan, Service, SwitchId,
    SwitchPlan,
};
use vocab::{AddressRange, Mac, Power};
use wire::{arp, mdns};

use crate::course::{Course, Fault, Habit, Listed, Net, Source, Start, Storm, Unit, What};
use crate::dice::Dice;

/// When all that stands says where it is, after the wire is left alone: at once, and when those that start then
/// are through.
const SAY: [Duration; 2] = [Duration::from_secs(2), Duration::from_secs(45)];
/// The most frames that one storm is made of.
const STORM: u32 = 2_000;

/// The plan of the main network, with the others beside it.
pub(crate) fn plan(course: &Course) -> Plan {
    let mut builder = Builder {
        course,
        plans: course
            .nets
            .iter()
            .enumerate()
            .map(|(n, net)| network(n, net))
            .collect(),
        ids: Vec::new(),
        dice: Dice::new(course.seed ^ 0x5707),
    };
    for unit in &course.units {
        let (plan, switches) = &mut builder.plans[unit.net];
        builder.ids.push(plan.host(host(course, unit, switches)));
    }
    for fault in &course.faults {
        builder.fault(fault);
    }
    builder.words();
    let mut plans = builder.plans.into_iter().map(|(plan, _)| plan);
    let mut main = plans
        .next()
        .unwrap_or_else(|| Plan::new(SwitchPlan::new("S"), ours(0), &[]));
    for (n, other) in plans.enumerate() {
        main.beside(Net::name(n + 1), other);
    }
    main
}

/// Our computer's hardware on a network.
pub(crate) const fn ours(net: usize) -> Mac {
    Mac::new([2, 0x52, 0x43, 0xfe, 0, 1 + net as u8])
}

fn network(place: usize, net: &Net) -> (Plan, Vec<SwitchId>) {
    let of = |n: usize| {
        let plan = SwitchPlan::new(&crate::file::switch(place, n))
            .boot(net.switches[n].boot)
            .listens(net.listens);
        if net.switches[n].powers {
            plan
        } else {
            plan.unpowered()
        }
    };
    let mut plan = Plan::new(of(0), ours(place), &[net.ours()]);
    let mut switches = vec![plan.first_switch()];
    for n in 1..net.switches.len() {
        let up = switches[n - 1];
        switches.push(plan.switch(of(n).uplink(up)));
    }
    (plan, switches)
}

fn host(course: &Course, unit: &Unit, switches: &[SwitchId]) -> HostPlan {
    let net = &course.nets[unit.net];
    let mut host = HostPlan::new(&unit.name, unit.mac, switches[unit.switch])
        .gateway(net.address(1))
        .boot(Boot {
            link: Duration::from_secs(2),
            interim: unit.interim.map(|(address, span)| Interim { address, span }),
            settings: unit.settings,
            probes: unit.probes,
            echo: unit.settings + Duration::from_secs(1),
        })
        .odd(Oddities {
            second_port: unit.second_port,
            sleeps: unit.sleeps,
            ..Oddities::default()
        })
        .start(match unit.on {
            Start::Settled => venue::Start::Settled,
            Start::PoweredOn => venue::Start::PoweredOn,
            Start::Off => venue::Start::Off,
        });
    host = match unit.source {
        Source::Fixed(address) => host.fixed(address),
        Source::Dhcp(fallback) => host.dhcp(fallback),
    };
    for extra in &unit.extra {
        host = host.extra(*extra);
    }
    for (port, after) in &unit.ports {
        let service = after.map_or(Service::Mute, |after| Service::Open { after });
        host = host.serve(*port, service);
    }
    host = match unit.habit {
        Habit::Plain => host,
        Habit::ProxyArp => host.habit(Manner::ProxyArp),
        Habit::Calls(a, b) => host.habit(Manner::Calls(vec![a, b])),
        Habit::Serves(first) => serves(host, course, unit.net, first),
    };
    if unit.own_supply {
        host = host.own_supply();
    }
    if unit.drops_echo {
        host = host.drops_echo();
    }
    if unit.standby {
        host = host.says_power(Power::Standby);
    }
    if unit.says_name {
        host = host.says_name();
    }
    host
}

fn serves(host: HostPlan, course: &Course, place: usize, first: u8) -> HostPlan {
    let net = &course.nets[place];
    let Some(pool) = AddressRange::new(net.address(first), net.address(first + 29)) else {
        return host;
    };
    let own = |l: &&Listed| l.net == place && l.reserved;
    let fixed = |l: &Listed| match (l.mac, l.address) {
        (Some(mac), crate::course::Address::Fixed(address)) => Some((mac, address)),
        _ => None,
    };
    host.habit(Manner::DhcpServer {
        pool,
        reserved: course.listed.iter().filter(own).filter_map(fixed).collect(),
        router: Some(net.address(1)),
    })
}

struct Builder<'a> {
    course: &'a Course,
    plans: Vec<(Plan, Vec<SwitchId>)>,
    ids: Vec<HostId>,
    dice: Dice,
}

impl Builder<'_> {
    fn at(&mut self, net: usize, at: Duration, deed: Deed) {
        self.plans[net].0.at(at, deed);
    }

    /// One deed on a unit when a fault begins, another when it ends.
    fn pair(&mut self, net: usize, fault: &Fault, begins: Deed, ends: Deed) {
        self.at(net, fault.at, begins);
        if let Some(span) = fault.span {
            self.at(net, fault.at + span, ends);
        }
    }

    fn power(&self, unit: usize, on: bool) -> Deed {
        let id = self.ids[unit];
        if on { Deed::PowerOn(id) } else { Deed::PowerOff(id) }
    }

    fn fault(&mut self, fault: &Fault) {
        let net_of = |unit: usize| self.course.units[unit].net;
        match fault.what {
            What::Power(u) => {
                let off = self.course.units[u].on == Start::Off;
                let (begins, ends) = (self.power(u, off), self.power(u, !off));
                self.pair(net_of(u), fault, begins, ends);
            }
            What::Cable(u) => {
                let id = self.ids[u];
                self.pair(net_of(u), fault, Deed::Unplug(id), Deed::Plug(id));
            }
            What::Flaps(u, times, each, cable) => self.flaps(fault, u, times, each, cable),
            What::Switch(net, s) => {
                let id = self.plans[net].1[s];
                self.pair(net, fault, Deed::SwitchOff(id), Deed::SwitchOn(id));
            }
            What::Uplink(net, s) => {
                let id = self.plans[net].1[s];
                self.pair(net, fault, Deed::UnplugUplink(id), Deed::PlugUplink(id));
            }
            What::OurLink(net) => self.pair(net, fault, Deed::UnplugUs, Deed::PlugUs),
            What::OurAddress(net, other) => {
                let own = self.course.nets[net].ours();
                let (begins, ends) = (Deed::OurAddresses(vec![other]), Deed::OurAddresses(vec![own]));
                self.pair(net, fault, begins, ends);
            }
            What::Renumber(u, to, home) | What::Clash(u, to, home) => {
                let id = self.ids[u];
                self.pair(
                    net_of(u),
                    fault,
                    Deed::SetAddress(id, to),
                    Deed::SetAddress(id, home),
                );
            }
            What::Swap(a, b) => {
                let swap = || Deed::SwapAddresses(self.ids[a], self.ids[b]);
                let (begins, ends) = (swap(), swap());
                self.pair(net_of(a), fault, begins, ends);
            }
            What::Replace(u, other) => {
                for (unit, first) in [(u, false), (other, true)] {
                    let (begins, ends) = (self.power(unit, first), self.power(unit, !first));
                    self.pair(net_of(u), fault, begins, ends);
                }
            }
            What::Service(u, port) => {
                let id = self.ids[u];
                let (begins, ends) = (Deed::StopService(id, port), Deed::StartService(id, port));
                self.pair(net_of(u), fault, begins, ends);
            }
            What::Rough(net, whose, loss_ppm, twice_ppm, held_ppm) => {
                let rough = Line {
                    loss_ppm,
                    twice_ppm,
                    held_ppm,
                    ..Line::SOUND
                };
                let deed = |line| whose.map_or(Deed::OurLine(line), |u| Deed::Line(self.ids[u], line));
                let (begins, ends) = (deed(rough), deed(Line::SOUND));
                self.pair(net, fault, begins, ends);
            }
            What::Storm(u, storm, rate) => self.storm(fault, u, storm, rate),
            What::Announce(u) => self.at(net_of(u), fault.at, Deed::Announce(self.ids[u])),
        }
    }

    fn flaps(&mut self, fault: &Fault, u: usize, times: u8, each: Duration, cable: bool) {
        let (net, id) = (self.course.units[u].net, self.ids[u]);
        let mut at = fault.at;
        for n in 1..=times {
            let (off, on) = if cable {
                (Deed::Unplug(id), Deed::Plug(id))
            } else {
                (Deed::PowerOff(id), Deed::PowerOn(id))
            };
            let last = n == times || at + each * 3 >= self.course.calm;
            self.at(net, at, off);
            if !last || fault.span.is_some() {
                self.at(
                    net,
                    (at + each).min(self.course.calm.saturating_sub(Duration::from_millis(500))),
                    on,
                );
            }
            if last {
                return;
            }
            at += each * 2;
        }
    }

    fn storm(&mut self, fault: &Fault, u: usize, storm: Storm, rate: u32) {
        let unit = &self.course.units[u];
        let (net, id, mac) = (unit.net, self.ids[u], unit.mac);
        let Source::Fixed(own) = unit.source else { return };
        let span = fault.span.unwrap_or(Duration::from_secs(5));
        let many = ((span.as_secs_f64() * f64::from(rate)) as u32).min(STORM);
        for n in 0..many {
            let frame = self.storm_frame(net, mac, own.addr(), storm);
            self.at(
                net,
                fault.at + Duration::from_secs(1) * n / rate,
                Deed::Say(id, frame),
            );
        }
    }

    fn storm_frame(&mut self, net: usize, mac: Mac, own: Ipv4Addr, storm: Storm) -> Vec<u8> {
        let at = &self.course.nets[net];
        let free = at.address(self.dice.small(130, 160));
        match storm {
            Storm::Arp => {
                let target = at.address(self.dice.small(1, 255));
                arp::request_frame(mac, own, target, Mac::BROADCAST)
            }
            Storm::Forged => {
                let [_, a, b, c] = self.dice.from(0, u32::MAX).to_be_bytes();
                arp::announcement_frame(Mac::new([2, 0x99, 0, a, b, c]), free)
            }
            Storm::Mdns => mdns::frame(mac, own, &mdns::query(&[])),
        }
    }

    /// At the end whoever is where nobody looks says that it is there; and all others, where nobody will ask.
    fn words(&mut self) {
        for (n, unit) in self.course.units.iter().enumerate() {
            if !self.course.sweeps || self.strays(n) {
                for after in SAY {
                    let deed = Deed::Announce(self.ids[n]);
                    self.plans[unit.net].0.at(self.course.calm + after, deed);
                }
            }
        }
    }

    /// Whether a unit may be on another subnet in the end.
    fn strays(&self, n: usize) -> bool {
        let unit = &self.course.units[n];
        let near = |a: Ipv4Addr| self.course.nets[unit.net].subnet().contains(&a);
        let home = match unit.source {
            Source::Fixed(net) => near(net.addr()),
            Source::Dhcp(_) => false,
        };
        let goes = |f: &Fault| match f.what {
            What::Renumber(u, ..) | What::Clash(u, ..) => u == n,
            What::Swap(a, b) => a == n || b == n,
            _ => false,
        };
        !home || self.course.faults.iter().any(goes)
    }
}

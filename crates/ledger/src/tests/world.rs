//! A small scripted wire: hosts that answer what the ledger asks, in virtual time.

mod dial;
mod says;
mod tap;
mod trial;

use std::collections::{BTreeMap, VecDeque};
use std::net::Ipv4Addr;
use std::time::Duration;

use rig::{AddressSpec, AskWhen, Device, How, Need, Network, Plan, Rig, Role};
use vocab::{
    ArpForm, ArpOp, ArpSeen, Ask, DhcpOffer, Fact, LinkState, Mac, Medium, Mode, Moment, Pace, PassId,
    Sighting, SilentTo, Station,
};

use crate::{
    Change, Finding, FindingKind, Ledger, Purpose, Settings, Severity, Snapshot, Standing, Subject, Vendors,
};

/// How long the scripted scanner waits for an answer.
const PATIENCE: Duration = Duration::from_millis(250);
/// So often somebody is heard on a wire that is alive.
const HUM: Duration = Duration::from_millis(400);
/// One frame at the pace `own`: 1,488 a second.
const SLOT: Duration = Duration::from_nanos(1_000_000_000 / 1_488);
/// The least time between two 0.0.0.0 probes for a silent address.
const SPACING: Duration = Duration::from_secs(10);

pub(super) use super::unit::Unit;
pub(super) use tap::{Noted, Tap};

pub(super) fn ip(text: &str) -> Ipv4Addr {
    text.parse().unwrap()
}

pub(super) fn mac(n: u8) -> Mac {
    Mac::new([0x02, 0x52, 0x43, 0, 0, n])
}

pub(super) fn secs(n: f64) -> Moment {
    Moment::from_nanos((n * 1e9) as u64)
}

/// A device of the rig at 10.40.8.`n` with hardware `n`.
pub(super) fn device(name: &str, n: u8) -> Device {
    Device {
        name: name.to_owned(),
        role: Role::Camera,
        macs: vec![mac(n)],
        address: AddressSpec::Fixed(Ipv4Addr::new(10, 40, 8, n)),
        network: Network::MAIN.to_owned(),
        how: How::Static,
        control: Vec::new(),
        ask: AskWhen::Once,
        need: Need::Show,
        sleeps: false,
        port: None,
        cable_m: None,
        power: None,
        stream_mbps: None,
        boot: Duration::from_secs(75),
        login: None,
        position: Some("gallery, left".to_owned()),
        note: None,
        used_by: Vec::new(),
        channels: BTreeMap::new(),
    }
}

pub(super) fn rig(devices: Vec<Device>) -> Rig {
    Rig {
        title: "Harbour Hall".to_owned(),
        network: Network {
            name: Network::MAIN.to_owned(),
            reach: rig::Reach::Wire,
            subnet: "10.40.8.0/24".parse().unwrap(),
            gateway: None,
            leases: Vec::new(),
            pace: Pace::Own,
            shared: false,
        },
        others: Vec::new(),
        switches: Vec::new(),
        devices,
        plan: Plan::default(),
    }
}

pub(super) fn settings(rig: Rig, purpose: Purpose) -> Settings {
    Settings {
        rig: Some(rig),
        subnet: None,
        gateway: None,
        factory: vec!["192.168.0.20-29".parse().unwrap()],
        vendors: Vendors::NONE,
        purpose,
    }
}

pub(super) fn station() -> Station {
    Station {
        name: "eth0".to_owned(),
        index: 2,
        mac: mac(250),
        addresses: vec!["10.40.8.250/24".parse().unwrap()],
        link_local: None,
        state: LinkState::Up,
        medium: Medium::Wired,
        mode: Mode::Raw,
        others: Vec::new(),
    }
}

#[derive(Debug, Clone)]
enum Event {
    Send(Ask),
    SendPass(PassId, VecDeque<Ipv4Addr>, u64, u64),
    /// DHCP offers are due: when the question left, and whether it may be repeated.
    Offers(Moment, bool),
    See(Fact),
    /// Somebody is heard who matters to nobody.
    Hum,
}

/// The wire, the scanner and the ledger.
pub(super) struct World {
    pub(super) now: Moment,
    pub(super) ledger: Ledger,
    pub(super) units: Vec<Unit>,
    /// DHCP servers, as they answer.
    pub(super) servers: Vec<DhcpOffer>,
    pub(super) station: Station,
    /// Every question that left, with its time.
    pub(super) asked: Vec<(Moment, Ask)>,
    pub(super) changes: Vec<Change>,
    /// Control ports can be dialled at all.
    pub(super) dials: bool,
    /// Somebody is heard now and then, so that our port is known to pass frames.
    pub(super) passes: bool,
    listen_only: bool,
    events: BTreeMap<(Moment, u64), Event>,
    counter: u64,
    pub(super) slot: Moment,
    silent_nobody: BTreeMap<Ipv4Addr, Moment>,
    /// What is written down of it all, and how bad the wire is.
    pub(super) tap: Tap,
}

impl World {
    pub(super) fn new(settings: Settings, units: Vec<Unit>) -> Self {
        Self {
            now: Moment::ZERO,
            ledger: Ledger::new(settings, Moment::ZERO),
            units,
            servers: Vec::new(),
            station: station(),
            asked: Vec::new(),
            changes: Vec::new(),
            dials: true,
            passes: true,
            listen_only: false,
            events: BTreeMap::new(),
            counter: 0,
            slot: Moment::ZERO,
            silent_nobody: BTreeMap::new(),
            tap: Tap::default(),
        }
    }

    /// A board over these devices and units, with the link up.
    pub(super) fn board(devices: Vec<Device>, units: Vec<Unit>) -> Self {
        let mut world = Self::new(settings(rig(devices), Purpose::Board), units);
        world.plug();
        world
    }

    /// The link reports as `station` is now.
    pub(super) fn plug(&mut self) {
        if self.station.state != LinkState::Up {
            self.drop_waiting();
        }
        let station = self.station.clone();
        self.see(Fact::Station(station));
        self.events.retain(|_, e| !matches!(e, Event::Hum));
        if self.passes {
            self.hum_on();
        }
    }

    fn hum_on(&mut self) {
        if self.station.state == LinkState::Up {
            if !self.tap.deaf() {
                self.hum();
            }
            let next = self.now + HUM;
            self.at(next, Event::Hum);
        }
    }

    /// A frame of somebody else comes in that says nothing of anybody.
    pub(super) fn hum(&mut self) {
        self.arp(Mac::ZERO, Mac::ZERO, "0.0.0.0", "10.40.8.200");
    }

    pub(super) fn listen_only(&mut self, on: bool) {
        if on != self.listen_only {
            self.drop_waiting();
        }
        self.listen_only = on;
        self.see(Fact::ListenOnly(on));
    }

    /// What waits to be sent, and the end of what was, is forgotten.
    pub(super) fn drop_waiting(&mut self) {
        self.events.retain(|_, e| matches!(e, Event::See(_) | Event::Hum));
    }

    fn at(&mut self, at: Moment, event: Event) {
        self.counter += 1;
        self.events.insert((at, self.counter), event);
    }

    /// The ledger sees `fact` now.
    pub(super) fn see(&mut self, fact: Fact) {
        self.fold(fact);
        self.after();
    }

    fn fold(&mut self, fact: Fact) {
        let sighting = Sighting { at: self.now, fact };
        self.tap.write(&sighting);
        self.ledger.fold(&sighting);
    }

    /// Takes what the ledger wants asked and has to tell.
    pub(super) fn after(&mut self) {
        self.ledger.tick(self.now);
        while let Some(ask) = self.ledger.next_ask(self.now) {
            self.tap.hand_out(self.now, &ask);
            self.take(ask);
        }
        while let Some(change) = self.ledger.next_change() {
            self.changes.push(change);
        }
        assert!(
            self.ledger.next_wake().is_none_or(|w| w > self.now),
            "busy at {:?}: {:?}",
            self.now,
            self.ledger.next_wake()
        );
    }

    fn take(&mut self, ask: Ask) {
        if let Ask::Pass { id, range, except } = &ask {
            let all: VecDeque<_> = range.addresses().filter(|a| !except.contains(a)).collect();
            let total = all.len() as u64;
            let at = self.now;
            self.at(at, Event::SendPass(*id, all, 0, total));
            self.asked.push((at, ask));
            return;
        }
        let mut at = self.now.max(self.slot);
        if let Ask::Arp {
            address,
            form: ArpForm::Nobody,
            ..
        } = &ask
            && let Some(last) = self.silent_nobody.get(address)
        {
            at = at.max(*last + SPACING);
        } else {
            self.slot = at + SLOT;
        }
        self.at(at, Event::Send(ask));
    }

    /// Lets time run to `to`.
    pub(super) fn run_to(&mut self, to: Moment) {
        for step in 0.. {
            assert!(step < 5_000_000, "no end");
            if !self.step(to) {
                break;
            }
        }
        self.now = self.now.max(to);
        self.ledger.tick(self.now);
        self.after();
    }

    /// Lets happen what is due next, if that is not after `to`; else nothing, and false.
    pub(super) fn step(&mut self, to: Moment) -> bool {
        let event = self.events.first_key_value().map(|((at, _), _)| *at);
        let wake = self.ledger.next_wake();
        let Some(next) = [event, wake].into_iter().flatten().min().filter(|n| *n <= to) else {
            return false;
        };
        self.now = self.now.max(next);
        while let Some(entry) = self.events.first_entry().filter(|e| e.key().0 <= self.now) {
            match entry.remove() {
                Event::See(fact) => self.fold(fact),
                Event::Send(ask) => self.send(&ask),
                Event::Hum => self.hum_on(),
                Event::SendPass(id, left, asked, total) => self.send_pass(id, left, asked, total),
                Event::Offers(sent, may_repeat) => self.offers_due(sent, may_repeat),
            }
        }
        self.after();
        true
    }

    pub(super) fn run(&mut self, seconds: f64) {
        self.run_to(self.now + Duration::from_secs_f64(seconds));
    }

    /// Lets time run until `what` holds, at most `seconds`; returns when that was.
    pub(super) fn run_until(&mut self, seconds: f64, what: impl Fn(&World) -> bool) -> Moment {
        let end = self.now + Duration::from_secs_f64(seconds);
        while !what(self) {
            assert!(
                self.now < end,
                "not within {seconds} s: {:#?}",
                self.snapshot().headline
            );
            self.run(0.01);
        }
        self.now
    }

    fn send_pass(&mut self, id: PassId, mut left: VecDeque<Ipv4Addr>, mut asked: u64, total: u64) {
        if self.station.state != LinkState::Up || self.listen_only {
            return;
        }
        let now = self.now;
        match left.pop_front() {
            Some(address) => {
                let form = self.form(address, ArpForm::Broadcast);
                self.answer(address, form);
                asked += 1;
                if asked.is_multiple_of(64) {
                    self.at(now, Event::See(Fact::PassAsked { id, asked, total }));
                }
                self.at(now + SLOT, Event::SendPass(id, left, asked, total));
            }
            None => self.at(now + PATIENCE, Event::See(Fact::PassDone { id })),
        }
    }

    /// In whose name we may ask for `address`.
    fn form(&self, address: Ipv4Addr, form: ArpForm) -> ArpForm {
        let near = self.station.addresses.iter().any(|n| n.contains(&address));
        if form == ArpForm::Broadcast && !near {
            ArpForm::Nobody
        } else {
            form
        }
    }

    fn answer(&mut self, address: Ipv4Addr, form: ArpForm) -> bool {
        let raw = self.station.mode != Mode::Unprivileged;
        let mut any = false;
        let mut rtt = Duration::from_micros(500);
        for unit in self.units.clone() {
            if !unit.answers(address, form) || self.tap.loses() {
                continue;
            }
            rtt += Duration::from_micros(10);
            let fact = if raw {
                Fact::Arp(ArpSeen {
                    frame_source: unit.source.unwrap_or(unit.mac),
                    sender: unit.mac,
                    address,
                    target: self
                        .station
                        .addresses
                        .first()
                        .map_or(Ipv4Addr::UNSPECIFIED, vocab::Ipv4Net::addr),
                    op: ArpOp::Reply,
                    vlan: None,
                    answers: Some((form, rtt)),
                })
            } else if any {
                continue;
            } else {
                Fact::Neighbour {
                    address,
                    mac: unit.mac,
                    rtt: Some(rtt),
                }
            };
            any = true;
            let at = self.now + rtt;
            self.at(at, Event::See(fact));
        }
        any
    }

    fn send(&mut self, ask: &Ask) {
        if self.station.state != LinkState::Up || self.listen_only {
            return;
        }
        let now = self.now;
        self.asked.push((now, ask.clone()));
        match *ask {
            Ask::Arp { address, form, .. } => {
                let form = self.form(address, form);
                let what = SilentTo::Arp(form);
                self.fold(Fact::Sent { address, what });
                if !self.answer(address, form) {
                    if form == ArpForm::Nobody {
                        self.silent_nobody.insert(address, now);
                    }
                    self.at(
                        now + PATIENCE,
                        Event::See(Fact::Silent {
                            address,
                            what,
                            sent: now,
                        }),
                    );
                }
            }
            Ask::Echo { address, mac, .. } => {
                let what = SilentTo::Echo(mac);
                self.fold(Fact::Sent { address, what });
                let there = self
                    .units
                    .iter()
                    .find(|u| u.on && u.addresses.contains(&address) && mac.is_none_or(|m| m == u.mac));
                let raw = self.station.mode != Mode::Unprivileged;
                let rtt = Duration::from_micros(700);
                let lost = self.tap.loses();
                if let Some((m, ttl)) = there
                    .filter(|u| u.echo && !lost)
                    .map(|u| (u.speaks.unwrap_or(u.mac), u.ttl))
                {
                    let fact = Fact::Echo {
                        address,
                        mac: raw.then_some(m),
                        asked: mac.filter(|_| raw),
                        ttl: raw.then_some(ttl),
                        rtt,
                    };
                    self.at(now + rtt, Event::See(fact));
                } else {
                    self.at(
                        now + PATIENCE,
                        Event::See(Fact::Silent {
                            address,
                            what,
                            sent: now,
                        }),
                    );
                }
            }
            Ask::Control { address, mac, port } => self.dial(address, mac, port),
            Ask::ControlAway {
                address, mac, port, ..
            } => self.dial(address, Some(mac), port),
            Ask::Dhcp { .. } => self.discovers(now, false),
            Ask::Trial { address, mac, trial } => self.try_cable(address, mac, trial),
            Ask::RollCall(_) => {}
            Ask::Pass { .. } => unreachable!(),
        }
    }

    /// A DISCOVER leaves, and who is there answers.
    fn discovers(&mut self, first: Moment, again: bool) {
        let now = self.now;
        self.fold(Fact::DhcpAsked { again });
        let servers = if self.tap.deaf() {
            Vec::new()
        } else {
            self.servers.clone()
        };
        for offer in servers {
            self.at(
                now + Duration::from_millis(80),
                Event::See(Fact::DhcpOffer(offer)),
            );
        }
        self.at(now + Duration::from_secs(5), Event::Offers(first, !again));
    }

    fn offers_due(&mut self, sent: Moment, may_repeat: bool) {
        if may_repeat && self.servers.is_empty() {
            self.discovers(sent, true);
        } else {
            self.fold(Fact::DhcpOver { sent });
        }
    }

    pub(super) fn snapshot(&self) -> Snapshot {
        self.ledger.snapshot(self.now)
    }

    pub(super) fn standing(&self, name: &str) -> Standing {
        self.ledger.standing(name).unwrap()
    }

    pub(super) fn findings(&self, kind: FindingKind) -> Vec<Finding> {
        self.snapshot()
            .findings
            .into_iter()
            .filter(|f| f.kind == kind)
            .collect()
    }

    pub(super) fn severity(&self, kind: FindingKind) -> Option<Severity> {
        self.findings(kind).first().map(|f| f.severity)
    }

    /// The course of `name` through its standings, as put on record.
    pub(super) fn course(&self, name: &str) -> Vec<Standing> {
        let of = |c: &Change| match &c.subject {
            Subject::Device { name: n, to, .. } if n == name => Some(*to),
            _ => None,
        };
        self.changes.iter().filter_map(of).collect()
    }
}

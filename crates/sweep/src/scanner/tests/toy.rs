//! A toy network in virtual time: hosts that answer ARP and echo 50 µs after a frame reaches them.

use std::collections::VecDeque;
use std::net::Ipv4Addr;
use std::time::Duration;

use link::{Dial, Frame};
use vocab::{ArpForm, Ask, Fact, LinkState, Mac, Medium, Mode, Moment, Pace, Sighting, Station};
use wire::icmp::Echo;
use wire::{Arp, What, arp, icmp};

use crate::{Config, Dialing, Hold, Order, Scanner};

/// Our address.
pub(super) const US: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 5);

pub(super) fn mac(n: u8) -> Mac {
    Mac::new([0x02, 0x52, 0x43, 0, 1, n])
}

pub(super) fn own() -> Mac {
    Mac::new([0x02, 0x52, 0x43, 0, 0, 5])
}

pub(super) fn address(n: u8) -> Ipv4Addr {
    Ipv4Addr::new(10, 40, 8, n)
}

pub(super) fn host(n: u8) -> (Ipv4Addr, Mac) {
    (address(n), mac(n))
}

pub(super) fn ms(millis: u64) -> Moment {
    Moment::from_millis(millis)
}

pub(super) fn config() -> Config {
    Config {
        pace: Pace::Own,
        listen_only: false,
        mode: Mode::Raw,
        dialing: Dialing::Os,
        seed: 7,
    }
}

pub(super) fn station() -> Station {
    Station {
        name: "lan0".into(),
        index: 3,
        mac: own(),
        addresses: vec!["10.40.8.5/24".parse().unwrap()],
        link_local: None,
        state: LinkState::Up,
        medium: Medium::Wired,
        mode: Mode::Raw,
        others: Vec::new(),
    }
}

/// Something on its way to the scanner.
enum Coming {
    Frame(Vec<u8>),
    Neighbour(Ipv4Addr, Option<Mac>),
    Pong(Ipv4Addr, u16, usize),
}

/// The scanner and its network.
#[expect(
    clippy::struct_excessive_bools,
    reason = "switches that each test sets by itself"
)]
pub(super) struct Toy {
    pub(super) scanner: Scanner,
    pub(super) now: Moment,
    /// Who is there.
    pub(super) hosts: Vec<(Ipv4Addr, Mac)>,
    /// Every address of our subnets is held by somebody.
    pub(super) everybody: bool,
    /// All frames sent.
    pub(super) frames: Vec<(Moment, Vec<u8>)>,
    /// All dials of the system's.
    pub(super) dials: Vec<(Moment, Dial)>,
    /// What was let in, and when.
    pub(super) admitted: Vec<(Moment, Vec<Ipv4Addr>)>,
    /// What the link says when it is to let something in.
    pub(super) closed_filter: Option<Hold>,
    /// All sightings.
    pub(super) seen: Vec<Sighting>,
    /// What the port says instead of sending.
    pub(super) refuse: Option<Hold>,
    /// The kernel confirms nothing by itself (unprivileged mode).
    pub(super) pongs_only: bool,
    /// As the scanner was told.
    pub(super) listen_only: bool,
    /// Probes that the scanner heard.
    pub(super) foreign_probes: Vec<(Moment, Ipv4Addr)>,
    /// The most frames that ever waited for the scanner.
    pub(super) most_waiting: usize,
    coming: VecDeque<(Moment, Coming)>,
    up: bool,
}

impl Toy {
    /// Time from us to a host, and from a host to us.
    pub(super) const DELAY: Duration = Duration::from_micros(50);

    pub(super) fn new(config: Config) -> Self {
        let mut toy = Self {
            scanner: Scanner::new(config),
            now: Moment::ZERO,
            hosts: Vec::new(),
            everybody: false,
            frames: Vec::new(),
            dials: Vec::new(),
            admitted: Vec::new(),
            closed_filter: None,
            seen: Vec::new(),
            refuse: None,
            pongs_only: false,
            listen_only: config.listen_only,
            foreign_probes: Vec::new(),
            most_waiting: 0,
            coming: VecDeque::new(),
            up: false,
        };
        toy.station(station());
        toy
    }

    pub(super) fn station(&mut self, station: Station) {
        self.up = station.state == LinkState::Up;
        self.scanner.set_station(self.now, station);
    }

    pub(super) fn ask(&mut self, ask: Ask) {
        self.scanner.ask(self.now, ask);
    }

    pub(super) fn hear(&mut self, bytes: &[u8]) {
        self.hear_frame(&Frame {
            bytes: bytes.to_vec(),
            ..Frame::default()
        });
    }

    pub(super) fn hear_frame(&mut self, frame: &Frame) {
        if let Ok(heard) = wire::peek(&frame.bytes)
            && let What::Arp(arp) = heard.what
            && arp.is_probe()
            && heard.source != own()
        {
            self.foreign_probes.push((self.now, arp.target_ip));
        }
        self.scanner.receive(self.now, frame);
        self.collect();
    }

    pub(super) fn run_for(&mut self, span: Duration) {
        self.run(self.now + span);
    }

    /// Lets time pass until `end`.
    pub(super) fn run(&mut self, end: Moment) {
        loop {
            self.most_waiting = self
                .most_waiting
                .max(self.coming.iter().filter(|c| c.0 <= self.now).count());
            while self.coming.front().is_some_and(|c| c.0 <= self.now) {
                match self.coming.pop_front().unwrap().1 {
                    Coming::Frame(bytes) => self.hear(&bytes),
                    Coming::Neighbour(address, mac) => self.scanner.neighbour(self.now, address, mac),
                    Coming::Pong(address, n, data) => self.scanner.echo_reply(self.now, address, n, data),
                }
            }
            self.scanner.tick(self.now);
            while self.step_order().is_some() {}
            self.scanner.tick(self.now);
            while self.step_order().is_some() {}
            self.collect();
            let wake = self.scanner.next_wake();
            if let Some(wake) = wake {
                assert!(wake > self.now, "would spin at {:?}", self.now);
            }
            let next = [wake, self.coming.front().map(|c| c.0)]
                .into_iter()
                .flatten()
                .min();
            match next {
                Some(at) if at <= end => self.now = at,
                _ => break,
            }
        }
        self.now = end;
    }

    /// Carries out one order, if there is one.
    pub(super) fn step_order(&mut self) -> Option<()> {
        let order = self.scanner.next_order(self.now)?;
        assert!(!self.listen_only, "{order:?} under listen-only");
        assert!(self.up, "{order:?} without a link");
        let outcome = self.refuse.map_or(Ok(()), Err);
        match order {
            Order::Frame(bytes) => {
                self.scanner.done(self.now, outcome);
                if outcome.is_ok() {
                    self.frames.push((self.now, bytes.clone()));
                    self.deliver(&bytes);
                }
            }
            Order::Poke(address) => {
                self.scanner.done(self.now, outcome);
                let hosts = self.hosts.clone();
                let there = hosts.iter().any(|h| h.0 == address);
                if !there && !self.pongs_only {
                    // The kernel gives up after three requests.
                    self.come(
                        self.now + Duration::from_secs(3),
                        Coming::Neighbour(address, None),
                    );
                }
                let tells = !self.pongs_only;
                for (_, mac) in hosts.iter().filter(|h| h.0 == address && tells) {
                    self.come(self.now + Self::DELAY * 2, Coming::Neighbour(address, Some(*mac)));
                }
            }
            Order::Ping(address, n) => {
                self.scanner.done(self.now, outcome);
                for (_, mac) in self.hosts.clone().iter().filter(|h| h.0 == address) {
                    let at = self.now + Self::DELAY * 2;
                    self.come(at, Coming::Pong(address, n, Echo::OWN_DATA.len()));
                    self.come(at, Coming::Neighbour(address, Some(*mac)));
                }
            }
            Order::PingSized(address, n, size) => {
                self.scanner.done(self.now, outcome);
                if outcome.is_ok() && self.hosts.iter().any(|h| h.0 == address) {
                    let data = usize::from(size.echo_data());
                    self.come(self.now + Self::DELAY * 2, Coming::Pong(address, n, data));
                }
            }
            Order::Admit(addresses) => {
                self.scanner
                    .done(self.now, self.closed_filter.map_or(Ok(()), Err));
                self.admitted.push((self.now, addresses));
            }
            Order::Dial(dial) => self.dials.push((self.now, dial)),
            Order::DialSend(..) | Order::DialClose(_) => {}
        }
        self.collect();
        Some(())
    }

    /// Something will reach the scanner at `at`.
    fn come(&mut self, at: Moment, what: Coming) {
        let place = self.coming.partition_point(|c| c.0 <= at);
        self.coming.insert(place, (at, what));
    }

    fn deliver(&mut self, bytes: &[u8]) {
        let heard = wire::peek(bytes).unwrap();
        let at = self.now + Self::DELAY * 2;
        let mut hosts = self.hosts.clone();
        if self.everybody
            && let What::Arp(a) = heard.what
        {
            let [_, _, c, d] = a.target_ip.octets();
            hosts.push((a.target_ip, Mac::new([2, 0x52, 0x43, 9, c, d])));
        }
        for (address, mac) in hosts {
            if heard.destination != mac && heard.destination != Mac::BROADCAST {
                continue;
            }
            let reply = match &heard.what {
                // As the kernel answers: the target address is whatever the asker gave as its own.
                What::Arp(a) if a.target_ip == address => {
                    Some(arp::reply_frame(mac, address, a.sender_mac, a.sender_ip))
                }
                What::EchoRequest { from, to, echo } if *to == address => {
                    let path = wire::Path {
                        from_mac: mac,
                        from: address,
                        to_mac: heard.source,
                        to: *from,
                    };
                    Some(icmp::echo_reply_frame(path, echo))
                }
                _ => None,
            };
            if let Some(reply) = reply {
                self.come(at, Coming::Frame(reply));
            }
        }
    }

    fn collect(&mut self) {
        while let Some(sighting) = self.scanner.next_sighting() {
            self.seen.push(sighting);
        }
    }

    pub(super) fn facts<T>(&self, mut pick: impl FnMut(Moment, &Fact) -> Option<T>) -> Vec<T> {
        self.seen.iter().filter_map(|s| pick(s.at, &s.fact)).collect()
    }

    /// Replies seen: address, hardware, and the form of the question they answer.
    pub(super) fn answers(&self) -> Vec<(Ipv4Addr, Mac, Option<ArpForm>)> {
        self.facts(|_, fact| match fact {
            Fact::Arp(seen) => Some((seen.address, seen.sender, seen.answers.map(|a| a.0))),
            _ => None,
        })
    }

    /// ARP packets that the scanner sent: when, to whom, what.
    pub(super) fn arps(&self) -> Vec<(Moment, Mac, Arp)> {
        let arp = |(at, bytes): &(Moment, Vec<u8>)| {
            let heard = wire::peek(bytes).ok()?;
            let What::Arp(arp) = heard.what else { return None };
            Some((*at, heard.destination, arp))
        };
        self.frames.iter().filter_map(arp).collect()
    }
}

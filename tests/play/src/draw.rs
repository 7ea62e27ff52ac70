//! Draws a rig, and what really stands there, from a seed.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{ControlPort, ControlWord, Ipv4Net, Mac};

use crate::course::{Address, Ask, Course, Habit, Listed, Net, Pace, Source, Start, Switch, Unit};
use crate::dice::Dice;
use crate::happen;

const ROLES: [&str; 11] = [
    "camera", "camera", "camera", "camera", "panel", "switcher", "encoder", "decoder", "recorder", "display",
    "computer",
];
const WORDS: [ControlWord; 7] = [
    ControlWord::ViscaUdp,
    ControlWord::ViscaRawUdp,
    ControlWord::ViscaTcp,
    ControlWord::Rtsp,
    ControlWord::Http,
    ControlWord::Onvif,
    ControlWord::Tcp,
];
/// Where the first device of a network is; the file's addresses follow from here.
const FIRST: u8 = 20;
/// Where strangers are.
const STRANGERS: u8 = 160;
/// Where the pool of a network's own server begins.
pub const POOL: u8 = 100;
/// The address that the routers of group 7 share (RFC 9568 section 7.3).
const SHARED: Mac = Mac::new([0, 0, 0x5e, 0, 1, 7]);

/// The course that follows from `seed`.
pub fn draw(seed: u64) -> Course {
    let mut maker = Maker {
        dice: Dice::new(seed),
        course: Course {
            seed,
            nets: Vec::new(),
            units: Vec::new(),
            listed: Vec::new(),
            faults: Vec::new(),
            acts: Vec::new(),
            calm: Duration::ZERO,
            sweeps: false,
            pace: Pace::Own,
        },
        strangers: [0; 2],
    };
    maker.networks();
    let many = match maker.dice.from(0, 10) {
        0..=5 => maker.dice.from(1, 11),
        6..=8 => maker.dice.from(11, 26),
        _ => maker.dice.from(26, 61),
    };
    for _ in 0..many {
        maker.device();
    }
    for net in 0..maker.course.nets.len() {
        for _ in 0..maker.dice.from(0, 5) {
            maker.stranger(net);
        }
    }
    maker.channels();
    let Maker {
        mut dice, mut course, ..
    } = maker;
    course.sweeps = dice.in_hundred(50);
    happen::draw(&mut course, &mut dice);
    course
}

struct Maker {
    dice: Dice,
    course: Course,
    /// How many strangers each network has.
    strangers: [u8; 2],
}

/// A unit of which nothing is odd.
fn plain(name: String, net: usize, mac: Mac, at: Ipv4Net) -> Unit {
    Unit {
        name,
        net,
        switch: 0,
        mac,
        source: Source::Fixed(at),
        extra: Vec::new(),
        settings: Duration::from_secs(4),
        interim: None,
        probes: 3,
        ports: Vec::new(),
        habit: Habit::Plain,
        on: Start::Settled,
        own_supply: false,
        drops_echo: false,
        sleeps: false,
        standby: false,
        says_name: false,
        second_port: None,
    }
}

impl Maker {
    fn networks(&mut self) {
        let several = self.dice.in_hundred(15);
        for net in 0..=usize::from(several) {
            let number = 8 + net as u8;
            let boot = self.dice.millis(500, 6_000);
            let switches = (0..self.dice.from(1, 4)).map(|n| Switch { powers: n > 0, boot });
            let listens = if self.dice.in_hundred(15) { 15_000 } else { 0 };
            let leases = self.dice.in_hundred(40);
            self.course.nets.push(Net {
                number,
                switches: switches.collect(),
                leases,
                listens: Duration::from_millis(listens),
            });
            self.gateway(net, leases);
        }
        self.course.pace = match self.dice.from(0, 20) {
            0 => Pace::House,
            1 => Pace::Number(self.dice.from(20, 400)),
            _ => Pace::Own,
        };
    }

    fn gateway(&mut self, net: usize, leases: bool) {
        let at = &self.course.nets[net];
        let virtual_router = self.dice.in_hundred(10);
        let own = Mac::new([2, 0x52, 0x43, 0xfd, net as u8, 1]);
        let mac = if virtual_router { SHARED } else { own };
        let mut gateway = plain(format!("Gateway {net}"), net, mac, at.at(1));
        gateway.own_supply = true;
        // Now and then the server is away, though the file has leases.
        if leases && !self.dice.in_hundred(10) {
            gateway.habit = Habit::Serves(POOL);
        }
        if virtual_router {
            let mut first = plain(format!("First router {net}"), net, own, at.at(2));
            first.own_supply = true;
            self.course.units.push(first);
        }
        self.course.units.push(gateway);
    }

    fn foreign(&mut self, n: u8) -> Ipv4Net {
        let far = Ipv4Addr::new(10, 99, 1, n);
        let factory = Ipv4Addr::new(192, 168, 0, 20 + n % 10);
        let own = Ipv4Addr::new(169, 254, 3, n);
        let prefixes = [(far, 24), (factory, 24), (own, 16)];
        let (address, prefix) = self.dice.one(&prefixes);
        Ipv4Net::new_assert(address, prefix)
    }

    fn ports(&mut self) -> Vec<ControlPort> {
        let mut all: Vec<ControlPort> = Vec::new();
        for _ in 0..self.dice.one(&[0, 1, 1, 1, 2, 2, 3]) {
            let word = self.dice.one(&WORDS);
            let port = word.usual_port().unwrap_or(9_000);
            if all.iter().all(|p| p.port != port) {
                all.push(ControlPort { word, port });
            }
        }
        all
    }

    fn device(&mut self) {
        let i = self.course.listed.len() as u8;
        let net = self.dice.place(self.course.nets.len());
        let at = self.course.nets[net].clone();
        let boot = self.dice.from(15, 46);
        let role = self.dice.one(&ROLES);
        let address = if self.dice.in_hundred(2) {
            Address::None
        } else if at.leases && self.dice.in_hundred(20) {
            Address::Dhcp
        } else {
            Address::Fixed(at.address(FIRST + i))
        };
        let fixed = matches!(address, Address::Fixed(_));
        let reserved = fixed && at.leases && self.dice.in_hundred(20);
        let mac = Mac::new([2, 0x52, 0x43, 0, net as u8, i]);
        let bare = fixed && !reserved && self.dice.in_hundred(15);
        let switch = self.dice.place(at.switches.len());
        let listed = Listed {
            name: format!("{} {i}", capital(role)),
            role,
            net,
            mac: (!bare && address != Address::None).then_some(mac),
            address,
            reserved,
            control: self.ports(),
            ask: self
                .dice
                .weighed(&[(8, Ask::Once), (3, Ask::Watch), (1, Ask::Never)]),
            need: self.dice.weighed(&[(8, "show"), (1, "spare"), (1, "later")]),
            sleeps: self.dice.in_hundred(5),
            boot: Duration::from_secs(u64::from(boot)),
            port: self.dice.in_hundred(60).then_some((switch, i + 1)),
            channels: Vec::new(),
        };
        if address != Address::None {
            self.stands_for(&listed, i, mac, switch);
        }
        self.course.listed.push(listed);
    }

    /// What really is where the file expects a device.
    fn stands_for(&mut self, listed: &Listed, i: u8, mac: Mac, switch: usize) {
        let at = self.course.nets[listed.net].clone();
        let own = match listed.address {
            Address::Fixed(address) => Ipv4Net::new_assert(address, 24),
            Address::Dhcp | Address::None => at.at(FIRST + i),
        };
        let mut unit = plain(listed.name.clone(), listed.net, mac, own);
        unit.switch = switch;
        unit.settings = self.dice.millis(2_500, 12_000);
        unit.probes = self.dice.one(&[0, 3, 3]);
        if listed.address == Address::Dhcp || listed.reserved {
            let fallback = Ipv4Net::new_assert(Ipv4Addr::new(169, 254, 7, 1 + i), 16);
            unit.source = Source::Dhcp(self.dice.in_hundred(70).then_some(fallback));
        }
        self.speaks(&mut unit, listed);
        unit.own_supply = self.dice.in_hundred(30);
        unit.drops_echo = self.dice.in_hundred(6);
        unit.sleeps = self.dice.in_hundred(2);
        unit.standby = self.dice.in_hundred(5);
        unit.says_name = self.dice.in_hundred(20);
        if self.dice.in_hundred(6) {
            unit.extra
                .push(Ipv4Net::new_assert(Ipv4Addr::new(169, 254, 5, 1 + i), 16));
        }
        if self.dice.in_hundred(10) {
            let interim = Ipv4Net::new_assert(Ipv4Addr::new(169, 254, 9, 1 + i), 16);
            unit.interim = Some((interim, self.dice.millis(500, 8_000)));
        }
        unit.on = self
            .dice
            .weighed(&[(85, Start::Settled), (9, Start::PoweredOn), (6, Start::Off)]);
        match self.dice.from(0, 100) {
            // It is in its case.
            0..=3 => return,
            4..=6 => unit.source = Source::Fixed(self.foreign(1 + i)),
            7..=9 => unit.source = Source::Fixed(at.at(200 + i % 25)),
            10..=12 => unit.mac = Mac::new([2, 0x52, 0x43, 0x77, listed.net as u8, i]),
            13..=14 => {
                let name = format!("Copy of {}", listed.name);
                let other = Mac::new([2, 0x61, 0, 0, listed.net as u8, i]);
                let copy = plain(name, listed.net, other, own);
                self.course.units.push(copy);
            }
            15 if !unit.drops_echo && !unit.sleeps => {
                unit.second_port = Some(Mac::new([2, 0x52, 0x43, 0x66, listed.net as u8, i]));
            }
            _ => {}
        }
        self.course.units.push(unit);
    }

    /// The ports of the file, most of which speak.
    fn speaks(&mut self, unit: &mut Unit, listed: &Listed) {
        let slow = self.dice.in_hundred(6);
        for port in &listed.control {
            let most = listed.boot.as_millis() as u32 - 1_000;
            let after = if slow {
                listed.boot + self.dice.millis(2_000, 12_000)
            } else {
                self.dice.millis(most / 2, most)
            };
            match self.dice.from(0, 100) {
                0..=2 => unit.ports.push((*port, None)),
                3..=4 => {}
                _ => unit.ports.push((*port, Some(after))),
            }
        }
    }

    fn stranger(&mut self, net: usize) {
        let at = self.course.nets[net].clone();
        self.strangers[net] += 1;
        let n = self.strangers[net];
        let alike = self.dice.in_hundred(30);
        let vendor = if alike { 0x52 } else { 0x60 };
        let mac = Mac::new([2, vendor, 0x43, 0x99, net as u8, n]);
        let mut unit = plain(format!("Stranger {net}.{n}"), net, mac, at.at(STRANGERS + n));
        unit.switch = self.dice.place(at.switches.len());
        unit.own_supply = self.dice.in_hundred(60);
        unit.says_name = self.dice.in_hundred(50);
        match self.dice.from(0, 20) {
            0 => unit.habit = Habit::ProxyArp,
            1 => unit.habit = Habit::Calls(at.address(FIRST), at.address(250)),
            2 => unit.source = Source::Dhcp(None),
            3 => unit.source = Source::Fixed(self.foreign(100 + n)),
            4 => unit.extra.push(at.at(180 + n)),
            5 if at.leases => unit.habit = Habit::Serves(POOL + 30),
            _ => {}
        }
        if alike && self.dice.in_hundred(50) {
            let port = ControlPort {
                word: ControlWord::ViscaUdp,
                port: 52_381,
            };
            unit.ports.push((port, Some(Duration::from_secs(8))));
        }
        unit.on = self
            .dice
            .weighed(&[(8, Start::Settled), (1, Start::PoweredOn), (1, Start::Off)]);
        self.course.units.push(unit);
    }

    /// Panels call some of the devices with fixed addresses.
    fn channels(&mut self) {
        let fixed = |l: &Listed| matches!(l.address, Address::Fixed(_)) && l.role == "camera";
        let heads: Vec<usize> = (0..self.course.listed.len())
            .filter(|n| fixed(&self.course.listed[*n]))
            .collect();
        for listed in self.course.listed.iter_mut().filter(|l| l.role == "panel") {
            listed.channels = heads.iter().copied().take(4).collect();
        }
    }
}

fn capital(word: &str) -> String {
    let (first, rest) = word.split_at(1);
    first.to_uppercase() + rest
}

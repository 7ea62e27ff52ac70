//! The rig of the courses, and how each act is carried out on the scripted wire.

use std::net::Ipv4Addr;
use std::time::Duration;

use rig::{AddressSpec, Device, Need, PoeTypes, Rig, Switch, SwitchPort};
use vocab::{ControlPort, ControlState, ControlWord, DhcpOffer, Fact, Level, LinkState, Mac};

use super::acts::{Act, Course, Place};
use crate::tests::world::{Tap, Unit, World, device, ip, mac, rig, settings};
use crate::{Purpose, Restarted};

/// Devices of the rig.
pub(super) const DEVICES: usize = 8;
/// Hosts: one for each device, the gateway, and two that are on no list.
pub(super) const UNITS: usize = DEVICES + 3;
/// How long a start may take.
pub(super) const BOOT: Duration = Duration::from_secs(20);
/// The port that some of them are driven by.
pub(super) const HTTP: ControlPort = ControlPort {
    word: ControlWord::Http,
    port: 80,
};
const GATEWAY: &str = "10.40.8.1";

/// The hardware of host number `unit`.
pub(super) fn hardware(unit: usize) -> Mac {
    match unit {
        DEVICES => mac(1),
        n if n < DEVICES => mac(21 + n as u8),
        n => mac(91 + n as u8),
    }
}

/// The switch that host number `unit` hangs on.
const fn switch_of(unit: usize) -> u8 {
    match unit {
        2..=5 => 1,
        6 | 7 => 2,
        _ => 0,
    }
}

/// The device of that number.
fn listed(n: usize, ported: bool, leases: bool) -> Device {
    let mut one = device(&format!("Unit {n}"), 21 + n as u8);
    one.boot = BOOT;
    one.port = ported.then(|| SwitchPort {
        switch: format!("S{}", switch_of(n)),
        port: 1 + n as u32,
    });
    match n {
        0 | 6 => one.control = vec![HTTP],
        2 => one.macs.clear(),
        3 | 7 if leases => one.address = AddressSpec::Dhcp,
        4 => {
            one.need = Need::Spare;
            one.sleeps = true;
        }
        5 => one.macs.push(mac(201)),
        _ => {}
    }
    one
}

fn switch(name: &str, uplink: Option<&str>) -> Switch {
    Switch {
        name: name.to_owned(),
        ports: None,
        budget_w: None,
        poe: PoeTypes::Unsaid,
        uplink_mbps: None,
        uplink: uplink.map(|switch| SwitchPort {
            switch: switch.to_owned(),
            port: 8,
        }),
        address: None,
        network: rig::Network::MAIN.to_owned(),
        macs: Vec::new(),
    }
}

fn the_rig(ported: bool, leases: bool) -> Rig {
    let mut all = rig((0..DEVICES).map(|n| listed(n, ported, leases)).collect());
    all.network.gateway = Some(ip(GATEWAY));
    if ported {
        all.switches = vec![
            switch("S0", None),
            switch("S1", Some("S0")),
            switch("S2", Some("S1")),
        ];
    }
    all
}

/// The wire, with what only its maker knows.
pub(super) struct Stage {
    pub(super) world: World,
    pub(super) rig: Rig,
    /// Which hosts are switched on; one on a switch without power is off even so.
    on: [bool; UNITS],
    dark: [bool; 3],
    level: Level,
    crowd: u32,
}

impl Stage {
    /// All is on, and our link comes up.
    pub(super) fn new(course: &Course) -> Self {
        let rig = the_rig(course.ported, course.leases);
        let mut units: Vec<Unit> = (0..UNITS)
            .map(|n| Unit::new(0, &Place::Of(n).address(n).to_string()))
            .collect();
        for (n, unit) in units.iter_mut().enumerate() {
            unit.mac = hardware(n);
            unit.ports.insert(HTTP, ControlState::Answered);
        }
        units[DEVICES].addresses = vec![ip(GATEWAY)];
        let mut world = World::new(settings(rig.clone(), Purpose::Board), units);
        world.tap = Tap::keeping(course.chance);
        let mut stage = Self {
            world,
            rig,
            on: std::array::from_fn(|n| n <= DEVICES),
            dark: [false; 3],
            level: Level::All,
            crowd: 0,
        };
        stage.act(Act::Server(0, true));
        stage.world.plug();
        stage
    }

    /// Whether what hosts send comes in.
    fn hears(&self) -> bool {
        !self.world.tap.deaf() && self.world.station.state == LinkState::Up
    }

    fn powered(&self, unit: usize) -> bool {
        self.world.units[unit].on
    }

    /// Gives power to those who have it.
    fn power(&mut self) {
        for (n, unit) in self.world.units.iter_mut().enumerate() {
            unit.on = self.on[n] && !self.dark[usize::from(switch_of(n))];
        }
    }

    fn says(&mut self, unit: usize, address: Ipv4Addr, target: Ipv4Addr) {
        if self.powered(unit) && self.hears() {
            let mac = self.world.units[unit].mac;
            self.world
                .arp(mac, mac, &address.to_string(), &target.to_string());
        }
    }

    /// A host announces all that it holds.
    pub(super) fn announces(&mut self, unit: usize) {
        for address in self.world.units[unit].addresses.clone() {
            self.says(unit, address, address);
        }
    }

    fn dims(&mut self, switch: u8, dark: bool) {
        // What hangs on S2 hangs on S1, too.
        for s in switch..3 {
            self.dark[usize::from(s)] = dark;
        }
    }

    fn servers(&mut self, n: u8, on: bool) {
        let server = Ipv4Addr::new(10, 40, 8, 1 + n);
        self.world.servers.retain(|s| s.server != server);
        if on {
            self.world.servers.push(DhcpOffer {
                server,
                mac: mac(1 + n),
                offered: ip("10.40.8.100"),
                mask: Some(ip("255.255.255.0")),
                router: Some(server),
                lease_s: Some(600),
            });
        }
    }

    /// One act happens now.
    pub(super) fn act(&mut self, act: Act) {
        let now = self.world.now;
        match act {
            Act::On(u) => self.on[u] = true,
            Act::Off(u) => self.on[u] = false,
            Act::Goes(u, place) => self.world.units[u].addresses = vec![place.address(u)],
            Act::Adds(u, place) => {
                let all = &mut self.world.units[u].addresses;
                if all.len() < 3 && !all.contains(&place.address(u)) {
                    all.push(place.address(u));
                }
            }
            Act::Starts(u) => {
                self.on[u] = true;
                self.power();
                for address in self.world.units[u].addresses.clone() {
                    self.says(u, Ipv4Addr::UNSPECIFIED, address);
                }
                self.announces(u);
            }
            Act::Discovers(u) => {
                if self.powered(u) && self.hears() {
                    self.world.discover(hardware(u));
                }
            }
            Act::Boasts(u, place) => self.says(u, place.address(u), place.address(u)),
            Act::Forged(u, place) => {
                if self.hears() {
                    let address = place.address(u).to_string();
                    self.world.arp(mac(77), hardware(u), &address, &address);
                }
            }
            Act::Ports(u, state) => {
                self.world.units[u].ports.insert(HTTP, state);
            }
            Act::Echo(u, on) => self.world.units[u].echo = on,
            Act::Switch(s, on) => self.dims(s, !on),
            Act::Server(n, on) => self.servers(n, on),
            Act::Link(state) => {
                self.world.station.state = state;
                self.world.plug();
            }
            Act::Near(near) => {
                let own = if near { "10.40.8.250/24" } else { "172.16.9.9/24" };
                self.world.station.addresses = vec![own.parse().unwrap()];
                self.world.plug();
            }
            Act::Gap(gap) => self.world.see(Fact::Gap(gap)),
            Act::Level(level) => {
                // What waits to be sent is forgotten where a level becomes quieter, and only then.
                if level != self.level {
                    self.level = level;
                    if level == Level::Watch {
                        self.world.drop_waiting();
                    }
                    self.world.see(Fact::WatchOnly(level == Level::Watch));
                    self.world.listen_only(level == Level::Silent);
                }
            }
            Act::Loss(percent) => self.world.tap.lose(percent),
            Act::Restart(d, on) => self.restarts(&Restarted::Device(format!("Unit {d}")), on),
            Act::RestartSwitch(s, on) => self.restarts(&Restarted::Switch(format!("S{s}")), on),
            Act::Sweep => self.world.ledger.sweep_now(now),
            Act::AskPorts(d) => {
                let _ = self.world.ledger.ask_control(now, &format!("Unit {d}"));
            }
            Act::Match(d, u) => self.accepts(d, u),
            Act::Crowd(many) => self.crowds(many),
        }
        self.power();
        self.world.after();
    }

    fn restarts(&mut self, what: &Restarted, on: bool) {
        let now = self.world.now;
        if on {
            let _ = self.world.ledger.expect_restart(now, what);
        } else {
            self.world.ledger.expect_no_restart(now, what);
        }
    }

    fn accepts(&mut self, d: usize, u: usize) {
        let mac = hardware(u);
        let taken = self
            .rig
            .devices
            .iter()
            .enumerate()
            .any(|(n, one)| n != d && one.macs.contains(&mac));
        if !taken && u != DEVICES {
            self.rig.devices[d].macs = vec![mac];
            let now = self.world.now;
            self.world.ledger.take_rig(self.rig.clone(), now);
        }
    }

    fn crowds(&mut self, many: u16) {
        for _ in 0..many {
            self.crowd += 1;
            if self.hears() {
                let [_, a, b, c] = self.crowd.to_be_bytes();
                let at = format!("10.40.8.{}", 130 + c % 60);
                let who = Mac::new([0x02, 0x99, 0, a, b, c]);
                self.world.arp(who, who, &at, &at);
            }
        }
    }

    /// All that is odd about the wire and this computer ends.
    pub(super) fn heal(&mut self) {
        for act in [
            Act::Loss(0),
            Act::Near(true),
            Act::Link(LinkState::Up),
            Act::Level(Level::All),
        ] {
            self.act(act);
        }
    }

    /// Who really holds `address`, as far as the wire reaches.
    pub(super) fn holders(&self, address: Ipv4Addr) -> Vec<Mac> {
        let holds = |u: &usize| self.powered(*u) && self.world.units[*u].addresses.contains(&address);
        (0..UNITS).filter(holds).map(hardware).collect()
    }

    /// Where the hardware `macs` really is, as far as the wire reaches.
    pub(super) fn places(&self, macs: &[Mac]) -> Vec<Ipv4Addr> {
        let is = |u: &usize| self.powered(*u) && macs.contains(&hardware(*u));
        let units = (0..UNITS).filter(is);
        units
            .flat_map(|u| self.world.units[u].addresses.clone())
            .collect()
    }

    /// What the control port of the host with one of `macs` really does.
    pub(super) fn port(&self, macs: &[Mac]) -> Option<ControlState> {
        let is = |u: &usize| self.powered(*u) && macs.contains(&hardware(*u));
        (0..UNITS)
            .find(is)
            .and_then(|u| self.world.units[u].ports.get(&HTTP).copied())
    }
}

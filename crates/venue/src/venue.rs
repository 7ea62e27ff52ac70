//! The loop of events.

use std::sync::Arc;
use std::time::Duration;

use link::{Frame, FramePort, PortError};
use vocab::{Moment, Station};

use crate::builder::{Deed, HostId, HostPlan, Line, Plan, Start, SwitchId, SwitchPlan};
use crate::chance::Chance;
use crate::events::{Agenda, Event};
use crate::host::{Host, Outbox};
use crate::ours::Ours;
use crate::packet::Packet;
use crate::port::{Cable, End};
use crate::scene::{self, Scene};
use crate::switch::{Switch, SwitchPort, Way};

/// How long a host takes to answer (common practice, no source): evenly within these.
const WORK: (Duration, Duration) = (Duration::from_micros(40), Duration::from_micros(300));
/// Our own system is quicker.
const OUR_WORK: Duration = Duration::from_micros(20);

/// A simulated network with our computer's jack.
pub struct Venue {
    pub(crate) now: Moment,
    pub(crate) chance: Chance,
    pub(crate) agenda: Agenda,
    pub(crate) ours: Ours,
    pub(crate) hosts: Vec<Host>,
    pub(crate) switches: Vec<Switch>,
    pub(crate) cables: Vec<Cable>,
    deeds: Vec<Option<Deed>>,
    sent: Sent,
}

/// What was sent at our jack so far, by whoever sends through it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Sent {
    /// Frames of all kinds.
    pub frames: u64,
    /// Those of them that went to everybody.
    pub broadcasts: u64,
}

impl Venue {
    /// The venue of `scene`; every chance in it is drawn from `seed`.
    pub fn new(scene: &Scene, seed: u64) -> Self {
        Self::from_plan(scene.plan(), seed)
    }

    /// The other networks of a plan, each a venue by itself, by the names that the rig gives them.
    pub fn beside(plan: &Plan, seed: u64) -> Vec<(&'static str, Self)> {
        let seeds = (1..).map(|n| seed.rotate_left(32).wrapping_add(n));
        let plans = plan.beside.iter().cloned().zip(seeds);
        plans
            .map(|((name, plan), seed)| (name, Self::from_plan(plan, seed)))
            .collect()
    }

    /// A network with nothing on it but our computer, which has no address there.
    pub fn empty(name: &str) -> Self {
        let mut plan = Plan::new(SwitchPlan::new("Switch"), scene::OURS, &[]);
        plan.computer.port = format!("rehearsal-{name}");
        Self::from_plan(plan, 0)
    }

    /// A venue of one's own. What the plan plugs into a switch that it does not have goes to the
    /// first one.
    pub fn from_plan(plan: Plan, seed: u64) -> Self {
        let mut venue = Self {
            now: Moment::ZERO,
            chance: Chance::new(seed),
            agenda: Agenda::default(),
            ours: Ours::new(plan.computer.clone(), 0),
            hosts: Vec::new(),
            switches: plan.switches.into_iter().map(Switch::new).collect(),
            cables: Vec::new(),
            deeds: Vec::new(),
            sent: Sent::default(),
        };
        venue.plug(
            End::Jack,
            plan.computer.switch,
            plan.computer.line,
            plan.computer.isolated,
        );
        for switch in 0..venue.switches.len() {
            // An uplink to itself or to a later switch could close a ring.
            if let Some(up) = venue.switches[switch].plan.uplink.filter(|up| up.0 < switch) {
                let port = venue.switches[switch].ports.len();
                let isolated = venue.switches[switch].plan.isolated;
                let cable = venue.plug(End::Port { switch, port }, up, Line::SOUND, isolated);
                venue.switches[switch].ports.push(SwitchPort {
                    cable,
                    is_b: false,
                    passes_from: None,
                    isolated: false,
                });
            }
        }
        for host in plan.hosts {
            venue.add_host(host);
        }
        for cable in 0..venue.cables.len() {
            venue.refresh_cable(cable, true);
        }
        for switch in 0..venue.switches.len() {
            venue.plan_says(switch);
        }
        for host in 0..venue.hosts.len() {
            venue.refresh_power(host);
            venue.rouse(host);
        }
        for (number, (after, deed)) in plan.deeds.into_iter().enumerate() {
            venue.deeds.push(Some(deed));
            venue.agenda.put(Moment::ZERO + after, Event::Deed(number));
        }
        venue.ours.changed = false;
        venue
    }

    /// Plans one more thing to happen at `at`, or now if that is past.
    pub fn plan(&mut self, at: Moment, deed: Deed) {
        self.agenda.put(at.max(self.now), Event::Deed(self.deeds.len()));
        self.deeds.push(Some(deed));
    }

    /// Every host, in the order of the plan.
    pub fn hosts(&self) -> impl Iterator<Item = HostId> {
        (0..self.hosts.len()).map(HostId)
    }

    /// Every switch, in the order of the plan.
    pub fn switches(&self) -> impl Iterator<Item = SwitchId> {
        (0..self.switches.len()).map(SwitchId)
    }

    /// What was sent at our jack so far.
    pub const fn sent(&self) -> Sent {
        self.sent
    }

    /// Our computer as it is now.
    pub fn station(&self) -> Station {
        self.ours.station()
    }

    /// Our computer, if it changed since the last call.
    pub fn next_station(&mut self) -> Option<Station> {
        std::mem::take(&mut self.ours.changed).then(|| self.ours.station())
    }

    /// The host of that name, also one that came later.
    pub fn named(&self, name: &str) -> Option<HostId> {
        self.hosts.iter().position(|h| h.plan.name == name).map(HostId)
    }

    /// Lets everything happen that is due up to `now`. An earlier time than the last counts as the last.
    pub fn advance(&mut self, now: Moment) {
        let until = self.now.max(now);
        while let Some((at, event)) = self.agenda.take(until) {
            self.now = self.now.max(at);
            self.happen(event);
        }
        self.now = until;
    }

    /// When something is due next.
    pub fn next_wake(&self) -> Option<Moment> {
        self.agenda.next_at()
    }

    fn plug(&mut self, a: End, switch: SwitchId, line: Line, isolated: bool) -> usize {
        let switch = if switch.0 < self.switches.len() {
            switch.0
        } else {
            0
        };
        let cable = self.cables.len();
        let port = self.switches[switch].ports.len();
        self.switches[switch].ports.push(SwitchPort {
            cable,
            is_b: true,
            passes_from: None,
            isolated,
        });
        self.cables.push(Cable::new(a, End::Port { switch, port }, line));
        cable
    }

    fn add_host(&mut self, plan: HostPlan) -> usize {
        let host = self.hosts.len();
        let cable = self.plug(End::Host(host), plan.switch, plan.line, plan.odd.isolated);
        let seed = self.chance.next();
        self.hosts.push(Host::new(plan, cable, seed));
        host
    }

    fn happen(&mut self, event: Event) {
        match event {
            Event::Deed(number) => {
                if let Some(deed) = self.deeds.get_mut(number).and_then(Option::take) {
                    self.perform(deed);
                }
            }
            Event::SwitchUp { switch, life } => {
                if self.switches[switch].powered && self.switches[switch].life == life {
                    self.switches[switch].up = true;
                    self.refresh_switch(switch);
                    self.say_plugged(switch, life);
                }
            }
            Event::Says { switch, life } => self.say_plugged(switch, life),
            Event::Host(host) => {
                self.hosts[host].woken_at = None;
                if self.hosts[host].due().is_some_and(|at| at <= self.now) {
                    self.with_host(host, Host::tick);
                    self.refresh_cable(self.hosts[host].cable, false);
                }
                self.rouse(host);
            }
            Event::Leave { host, life, packet } => {
                if self.hosts[host].life == life {
                    let now = self.now;
                    self.hosts[host].spoke.get_or_insert(now);
                    self.transmit(self.hosts[host].cable, true, &packet);
                }
            }
            Event::OurLoss => self.tell_our_loss(),
            Event::OurReply(packet) => self.transmit(self.ours.cable, true, &packet),
            Event::Arrive {
                cable,
                to_b,
                life,
                packet,
            } => {
                if self.cables[cable].carrier && self.cables[cable].life == life {
                    self.deliver(cable, to_b, &packet);
                }
            }
            Event::Relay {
                switch,
                port,
                life,
                packet,
            } => {
                if self.switches[switch].up && self.switches[switch].life == life {
                    self.relay(switch, port, &packet);
                }
            }
        }
    }

    fn perform(&mut self, deed: Deed) {
        match deed {
            Deed::PowerOff(id) => self.switch_host(id.0, false),
            Deed::PowerOn(id) => self.switch_host(id.0, true),
            Deed::SwitchOff(id) => self.power_switch(id.0, false),
            Deed::SwitchOn(id) => self.power_switch(id.0, true),
            Deed::Unplug(id) => self.set_plugged(self.hosts.get(id.0).map(|h| h.cable), false),
            Deed::Plug(id) => self.set_plugged(self.hosts.get(id.0).map(|h| h.cable), true),
            Deed::UnplugUplink(id) => self.set_plugged(self.uplink_of(id), false),
            Deed::PlugUplink(id) => self.set_plugged(self.uplink_of(id), true),
            Deed::UnplugUs => self.set_plugged(Some(self.ours.cable), false),
            Deed::PlugUs => self.set_plugged(Some(self.ours.cable), true),
            Deed::SetAddress(id, address) => {
                self.with_host(id.0, |h, now, _, _| h.set_address(address, now));
            }
            Deed::SwapAddresses(a, b) => self.swap_addresses(a.0, b.0),
            Deed::AddHost(mut plan) => {
                // It is plugged in now: nothing of it can have been up before.
                if plan.start == Start::Settled {
                    plan.start = Start::PoweredOn;
                }
                let host = self.add_host(*plan);
                self.refresh_power(host);
                self.rouse(host);
            }
            Deed::Say(id, frame) => self.with_host(id.0, |_, _, _, out| out.now(frame)),
            Deed::Hear(frame) => {
                if let Some(packet) = Packet::new(frame).filter(|_| self.ours.carrier) {
                    self.deliver_to_us(&packet);
                }
            }
            Deed::Announce(id) => self.with_host(id.0, |h, _, _, out| h.announce(out)),
            Deed::StopService(id, port) => {
                self.with_host(id.0, |h, now, _, out| h.stop_service(port, now, out));
            }
            Deed::Push {
                panel,
                channel,
                speed,
                span,
            } => self.push_stick(panel, channel, speed, span),
            Deed::LetGo { panel, channel } => self.stick(panel, channel, None),
            Deed::Camera(id, camera) => self.set_camera(id, *camera),
            Deed::Wire(panel, channel, to) => self.wire(panel, channel, to),
            Deed::Lamp(id, lit) => self.set_lamp(id, lit),
            Deed::StartService(id, port) => self.with_host(id.0, |h, _, _, _| h.services.start(port)),
            Deed::Line(id, line) => {
                if let Some(host) = self.hosts.get(id.0) {
                    self.cables[host.cable].line = line;
                }
            }
            Deed::OurLine(line) => self.cables[self.ours.cable].line = line,
            Deed::OurAddresses(addresses) => {
                self.ours.changed |= self.ours.plan.addresses != addresses;
                self.ours.plan.addresses = addresses;
            }
        }
    }

    fn switch_host(&mut self, host: usize, on: bool) {
        if host < self.hosts.len() {
            self.hosts[host].switched_on = on;
            self.refresh_power(host);
            self.rouse(host);
        }
    }

    fn power_switch(&mut self, switch: usize, on: bool) {
        let Some(s) = self.switches.get_mut(switch).filter(|s| s.powered != on) else {
            return;
        };
        s.powered = on;
        if on {
            let (at, life) = (self.now + s.plan.boot, s.life);
            self.agenda.put(at, Event::SwitchUp { switch, life });
        } else {
            s.up = false;
            s.life += 1;
            self.refresh_switch(switch);
        }
    }

    /// A switch came up or went down: so do its links and what it powers.
    fn refresh_switch(&mut self, switch: usize) {
        for port in 0..self.switches[switch].ports.len() {
            let cable = self.switches[switch].ports[port].cable;
            self.refresh_cable(cable, false);
            if let End::Host(host) = self.cables[cable].a {
                self.refresh_power(host);
                self.rouse(host);
            }
        }
    }

    fn set_plugged(&mut self, cable: Option<usize>, plugged: bool) {
        let Some(cable) = cable else { return };
        self.cables[cable].plugged = plugged;
        self.refresh_cable(cable, false);
        if let End::Host(host) = self.cables[cable].a {
            self.refresh_power(host);
            self.rouse(host);
        }
    }

    /// The cable by which a switch hangs on another.
    fn uplink_of(&self, switch: SwitchId) -> Option<usize> {
        let ports = &self.switches.get(switch.0)?.ports;
        ports.iter().find(|port| !port.is_b).map(|port| port.cable)
    }

    fn swap_addresses(&mut self, a: usize, b: usize) {
        use crate::builder::Source::Fixed;
        let source = |v: &Self, h: usize| v.hosts.get(h).map(|h| h.plan.source);
        if let (Some(Fixed(of_a)), Some(Fixed(of_b))) = (source(self, a), source(self, b)) {
            self.with_host(a, |h, now, _, _| h.set_address(of_b, now));
            self.with_host(b, |h, now, _, _| h.set_address(of_a, now));
        }
    }

    /// A host has power if it is switched on and its supply, its own or the switch, has power.
    fn refresh_power(&mut self, host: usize) {
        let cable = &self.cables[self.hosts[host].cable];
        let End::Port { switch, .. } = cable.b else { return };
        let switch = &self.switches[switch];
        let supplied =
            self.hosts[host].plan.own_supply || !switch.plan.powers || (switch.up && cable.plugged);
        let on = supplied && self.hosts[host].switched_on;
        let (cable, now) = (self.hosts[host].cable, self.now);
        self.hosts[host].set_power(on, now);
        self.refresh_cable(cable, false);
    }

    /// Works out whether a cable carries and tells both ends. `quiet`: before the run began.
    fn refresh_cable(&mut self, number: usize, quiet: bool) {
        let cable = &self.cables[number];
        let (a, b) = (cable.a, cable.b);
        let carries = cable.plugged && self.is_alive(a) && self.is_alive(b);
        if carries == cable.carrier {
            return;
        }
        let cable = &mut self.cables[number];
        cable.carrier = carries;
        cable.life += u32::from(!carries);
        for end in [a, b] {
            match end {
                End::Jack if carries => {
                    self.ours.changed |= !self.ours.carrier;
                    self.ours.carrier = true;
                }
                End::Jack if self.ours.plan.tells_late.is_zero() => self.tell_our_loss(),
                End::Jack => {
                    let at = self.now + self.ours.plan.tells_late;
                    self.agenda.put(at, Event::OurLoss);
                }
                End::Host(host) => {
                    self.hosts[host].set_carrier(carries, quiet, self.now);
                    self.rouse(host);
                }
                End::Port { switch, port } => {
                    let switch = &mut self.switches[switch];
                    let new = a == End::Jack && self.ours.plan.fresh;
                    let listens = if quiet && !new {
                        Duration::ZERO
                    } else {
                        switch.plan.listens
                    };
                    switch.ports[port].passes_from = carries.then(|| self.now + listens);
                    switch.forget_port(port);
                }
            }
        }
    }

    fn tell_our_loss(&mut self) {
        if !self.cables[self.ours.cable].carrier {
            self.ours.changed |= self.ours.carrier;
            self.ours.carrier = false;
        }
    }

    fn is_alive(&self, end: End) -> bool {
        match end {
            End::Jack => true,
            End::Host(host) => self.hosts[host].port_up,
            End::Port { switch, .. } => self.switches[switch].up,
        }
    }

    /// Puts a host's next own deed into the agenda, unless an earlier entry wakes it anyway.
    fn rouse(&mut self, host: usize) {
        let h = &mut self.hosts[host];
        if let Some(due) = h.due()
            && h.woken_at.is_none_or(|at| due < at)
        {
            h.woken_at = Some(due);
            self.agenda.put(due.max(self.now), Event::Host(host));
        }
    }

    /// Lets a host do something and sends what it has to say.
    fn with_host(&mut self, host: usize, act: impl FnOnce(&mut Host, Moment, &mut Chance, &mut Outbox)) {
        let Some(h) = self.hosts.get_mut(host) else { return };
        let mut out = Outbox::default();
        act(h, self.now, &mut self.chance, &mut out);
        let life = h.life;
        for packet in out.in_order.into_iter().filter_map(Packet::new) {
            let at = (self.now + self.chance.between(WORK.0, WORK.1)).max(h.last_leave);
            h.last_leave = at;
            self.agenda.put(at, Event::Leave { host, life, packet });
        }
        for (late, frame) in out.later {
            if let Some(packet) = Packet::new(frame) {
                self.agenda
                    .put(self.now + late, Event::Leave { host, life, packet });
            }
        }
        self.rouse(host);
    }

    pub(crate) fn transmit(&mut self, cable: usize, to_b: bool, packet: &Arc<Packet>) {
        let bytes = packet.bytes.len();
        let copies = self.cables[cable].carry(to_b, bytes, self.now, &mut self.chance);
        let life = self.cables[cable].life;
        for at in copies.into_iter().flatten() {
            if at > self.now {
                self.agenda.put(
                    at,
                    Event::Arrive {
                        cable,
                        to_b,
                        life,
                        packet: Arc::clone(packet),
                    },
                );
            } else {
                self.deliver(cable, to_b, packet);
            }
        }
    }

    fn deliver(&mut self, cable: usize, to_b: bool, packet: &Arc<Packet>) {
        let end = if to_b {
            self.cables[cable].b
        } else {
            self.cables[cable].a
        };
        match end {
            End::Jack => self.deliver_to_us(packet),
            End::Host(host) => {
                if self.hosts[host].cares(packet) {
                    self.with_host(host, |h, now, chance, out| h.hear(packet, now, chance, out));
                }
            }
            End::Port { switch, port } => {
                let s = &mut self.switches[switch];
                let at = self.now + s.plan.latency + self.chance.within(s.plan.jitter);
                s.last_relay = s.last_relay.max(at);
                let (at, life) = (s.last_relay, s.life);
                self.agenda.put(
                    at,
                    Event::Relay {
                        switch,
                        port,
                        life,
                        packet: Arc::clone(packet),
                    },
                );
            }
        }
    }

    fn deliver_to_us(&mut self, packet: &Arc<Packet>) {
        if let Some(reply) = self.ours.hear(packet) {
            self.agenda.put(self.now + OUR_WORK, Event::OurReply(reply));
        }
    }

    fn relay(&mut self, switch: usize, port: usize, packet: &Arc<Packet>) {
        let way = self.switches[switch].way(packet.from, packet.to, port, self.now);
        let ports = match way {
            Way::Nowhere => return,
            Way::Out(out) => out..out + 1,
            Way::Flood => 0..self.switches[switch].ports.len(),
        };
        for out in ports {
            if !self.switches[switch].passes_between(port, out) {
                continue;
            }
            let p = &self.switches[switch].ports[out];
            let cable = &self.cables[p.cable];
            // A shortcut for floods: on a sound cable nothing is drawn, and the frame comes out at
            // once at a host that will do nothing with it.
            let idle = match cable.a {
                End::Host(host) => cable.line == Line::SOUND && !self.hosts[host].cares(packet),
                _ => false,
            };
            if !idle && p.passes(self.now) {
                self.transmit(p.cable, !p.is_b, packet);
            }
        }
    }
}

impl FramePort for Venue {
    /// Sends at the time of the last [`Venue::advance`].
    fn send(&mut self, frame: &[u8]) -> Result<(), PortError> {
        if !self.ours.carrier {
            return Err(PortError::Down);
        }
        if let Some(packet) = Packet::new(frame.to_vec()) {
            self.sent.frames += 1;
            self.sent.broadcasts += u64::from(packet.to == vocab::Mac::BROADCAST);
            self.transmit(self.ours.cable, true, &packet);
        }
        Ok(())
    }

    fn receive(&mut self, frame: &mut Frame) -> Result<bool, PortError> {
        let Some(packet) = self.ours.inbox.pop_front() else {
            return Ok(false);
        };
        frame.bytes.clear();
        frame.bytes.extend_from_slice(&packet.bytes);
        frame.vlan = None;
        frame.checksum_unfinished = false;
        Ok(true)
    }
}

//! One host: power, link, ARP as kernels do it, and its stack behind that.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{ArpOp, Ipv4Net, Mac, Moment};
use wire::persona::Persona;
use wire::visca::Version;
use wire::{Arp, Ethernet, Icmp, Ipv4, Udp, arp, ethernet, ipv4};

use crate::boot::Addressing;
use crate::builder::{Habit, HostPlan, Source, Start};
use crate::chance::Chance;
use crate::dhcp;
use crate::neighbours::{Neighbours, Room};
use crate::packet::{Glance, Packet};
use crate::proxy::Calls;
use crate::service::{Services, Uptime};
use crate::stack::Stack;

/// Frames that a host sends: in order after a short while of work, or freely later.
#[derive(Debug, Default)]
pub(crate) struct Outbox {
    pub(crate) in_order: Vec<Vec<u8>>,
    pub(crate) later: Vec<(Duration, Vec<u8>)>,
}

impl Outbox {
    pub(crate) fn now(&mut self, frame: Vec<u8>) {
        self.in_order.push(frame);
    }

    pub(crate) fn later(&mut self, delay: Duration, frame: Vec<u8>) {
        self.later.push((delay, frame));
    }
}

/// A host.
#[expect(
    clippy::struct_excessive_bools,
    reason = "four facts that hold independently of each other"
)]
pub(crate) struct Host {
    pub(crate) plan: HostPlan,
    /// Whether it is switched on, power supply aside.
    pub(crate) switched_on: bool,
    pub(crate) uptime: Uptime,
    /// Its own port is up.
    pub(crate) port_up: bool,
    /// The cable carries.
    pub(crate) carrier: bool,
    /// Counts its losses of power.
    pub(crate) life: u32,
    /// The cable that it hangs on.
    pub(crate) cable: usize,
    /// Its frames leave in order.
    pub(crate) last_leave: Moment,
    /// The earliest entry in the agenda that wakes it.
    pub(crate) woken_at: Option<Moment>,
    pub(crate) addressing: Addressing,
    /// The addresses that it holds now.
    pub(crate) held: Vec<Ipv4Net>,
    /// They are its own, not those of the first moments.
    pub(crate) settled_addresses: bool,
    pub(crate) neighbours: Neighbours<Vec<u8>>,
    pub(crate) calls: Calls,
    pub(crate) services: Services,
    persona: Persona,
    server: Option<dhcp::Server>,
    stack: Option<Box<Stack>>,
    stack_due: Option<Moment>,
    seed: u64,
    /// When its first frame left since it has power.
    pub(crate) spoke: Option<Moment>,
    /// When it took its own address.
    pub(crate) settled_at: Option<Moment>,
    /// When it asks next who listens to multicast groups.
    pub(crate) query_at: Option<Moment>,
}

impl Host {
    pub(crate) fn new(plan: HostPlan, cable: usize, seed: u64) -> Self {
        let mut host = Self {
            switched_on: plan.start != Start::Off,
            uptime: Uptime::Off,
            port_up: false,
            carrier: false,
            life: 0,
            cable,
            last_leave: Moment::ZERO,
            woken_at: None,
            addressing: Addressing::Idle,
            held: Vec::new(),
            settled_addresses: false,
            neighbours: Neighbours::new(Room::HOST),
            calls: Calls::new(&plan.habit),
            services: Services::new(&plan),
            persona: persona(&plan),
            server: dhcp::Server::new(&plan.habit),
            stack: None,
            stack_due: None,
            seed,
            spoke: None,
            settled_at: None,
            query_at: plan.odd.queries.then_some(Moment::ZERO),
            plan,
        };
        if host.plan.start == Start::Settled {
            host.uptime = Uptime::Long;
            host.port_up = true;
            if let Source::Fixed(own) = host.plan.source {
                host.settle(own, Moment::ZERO);
            }
            host.addressing = Addressing::Idle;
        }
        host
    }

    pub(crate) fn is_long_up(&self) -> bool {
        self.uptime == Uptime::Long
    }

    pub(crate) fn powered(&self) -> bool {
        self.uptime != Uptime::Off
    }

    /// Power comes or goes.
    pub(crate) fn set_power(&mut self, on: bool, now: Moment) {
        if on == self.powered() {
            return;
        }
        if on {
            self.uptime = Uptime::Since(now);
            return;
        }
        self.life += 1;
        self.uptime = Uptime::Off;
        self.port_up = false;
        self.set_carrier(false, true, now);
        self.held.clear();
        self.settled_addresses = false;
        (self.spoke, self.settled_at) = (None, None);
        self.drop_stack();
        self.services.managed.lose_power();
        self.services.restart_camera(self.plan.camera.as_ref());
        self.calls = Calls::new(&self.plan.habit);
    }

    /// All its connections are gone.
    pub(crate) fn drop_stack(&mut self) {
        self.stack = None;
        self.stack_due = None;
        self.services.forget_sockets();
    }

    /// The cable begins or ceases to carry. `quiet`: as it was all the time before the run.
    pub(crate) fn set_carrier(&mut self, carries: bool, quiet: bool, now: Moment) {
        if carries == self.carrier {
            return;
        }
        self.carrier = carries;
        self.neighbours.clear();
        if !carries {
            if !self.settled_addresses {
                self.hold(Vec::new());
            }
            self.addressing = Addressing::Idle;
        } else if quiet && self.settled_addresses {
            self.addressing = Addressing::Settled;
        } else {
            self.begin_addressing(now);
        }
    }

    /// Holds exactly these addresses from now on.
    pub(crate) fn hold(&mut self, addresses: Vec<Ipv4Net>) {
        self.held = addresses;
        if let Some(stack) = &mut self.stack {
            stack.set_addresses(&self.held);
        }
    }

    /// Somebody types in another address.
    pub(crate) fn set_address(&mut self, address: Ipv4Net, now: Moment) {
        self.plan.source = Source::Fixed(address);
        if self.carrier
            && !matches!(
                self.addressing,
                Addressing::Wait { .. } | Addressing::Interim { .. }
            )
        {
            self.neighbours.clear();
            self.settle(address, now);
        } else if self.settled_addresses {
            self.settle(address, now);
            self.addressing = Addressing::Idle;
        }
    }

    /// Whether its IP stack is up.
    pub(crate) fn talks_ip(&self, now: Moment) -> bool {
        self.carrier
            && !self.plan.odd.sleeps
            && !self.held.is_empty()
            && self.uptime.reached(self.plan.boot.echo, now)
    }

    /// The ports that speak now.
    pub(crate) fn open_ports(&self, now: Moment) -> Vec<vocab::ControlPort> {
        if !self.talks_ip(now) {
            return Vec::new();
        }
        self.services.open(|after| self.uptime.reached(after, now))
    }

    /// From now on a port refuses.
    pub(crate) fn stop_service(&mut self, port: vocab::ControlPort, now: Moment, out: &mut Outbox) {
        self.services.stop(port, self.stack.as_deref_mut());
        self.run_stack(now, out);
    }

    /// When it has something to do by itself.
    pub(crate) fn due(&self) -> Option<Moment> {
        if !self.powered() {
            return None;
        }
        if !self.port_up {
            return Some(self.uptime.at(self.plan.boot.link));
        }
        if !self.carrier {
            return [self.stack_due, self.act_due()].into_iter().flatten().min();
        }
        let calls = self.calls.due().filter(|_| self.settled_addresses);
        [
            self.addressing.due(),
            self.neighbours.due(),
            calls,
            self.query_due(),
            self.stack_due,
            self.act_due(),
        ]
        .into_iter()
        .flatten()
        .min()
    }

    /// Does what is due.
    pub(crate) fn tick(&mut self, now: Moment, chance: &mut Chance, out: &mut Outbox) {
        if !self.powered() {
            return;
        }
        if !self.port_up {
            self.port_up = self.uptime.reached(self.plan.boot.link, now);
        }
        if self.stack_due.is_some_and(|at| at <= now) {
            self.run_stack(now, out);
        }
        self.act(now);
        if !self.carrier {
            return;
        }
        self.tick_addressing(now, chance, out);
        self.query(now, out);
        if self.settled_addresses && self.calls.due().is_some_and(|at| at <= now) {
            self.tick_calls(now, chance, out);
        }
        if self.neighbours.due().is_some_and(|at| at <= now) {
            for address in self.neighbours.retry(now) {
                self.ask(address, out);
            }
        }
    }

    /// Whether [`Host::hear`] would do anything with this frame: a look that costs next to nothing,
    /// because every broadcast comes to every host.
    pub(crate) fn cares(&self, packet: &Packet) -> bool {
        if !self.carrier {
            return false;
        }
        match &packet.glance {
            Glance::Arp(arp) if packet.to.is_group() => {
                self.held.iter().any(|net| net.addr() == arp.target_ip)
                    || matches!(self.addressing, Addressing::Probing { .. })
                    || matches!(self.plan.habit, Habit::ProxyArp | Habit::ClaimsAll(_))
                    || self.answers_for(arp.target_ip)
                    || self.neighbours.differs(arp.sender_ip, arp.sender_mac)
            }
            Glance::Arp(_) | Glance::Ipv4 => self.is_to_us(packet.to) || packet.to.is_group(),
            Glance::Ipv6 => self.plan.ipv6 && (packet.to == self.plan.mac || packet.to.is_group()),
            Glance::Other => false,
        }
    }

    /// A frame reaches its port.
    pub(crate) fn hear(&mut self, packet: &Packet, now: Moment, chance: &mut Chance, out: &mut Outbox) {
        let to_us = self.is_to_us(packet.to) || packet.to.is_group();
        if !self.carrier || !to_us || self.services.is_dead() {
            return;
        }
        match &packet.glance {
            Glance::Arp(arp) => self.hear_arp(arp, packet.to, now, chance, out),
            Glance::Ipv4 => self.hear_ip(packet, now, chance, out),
            Glance::Ipv6 => self.hear_six(packet, now, chance, out),
            Glance::Other => {}
        }
    }

    /// RFC 826's algorithm, for every local address whatever the asker's subnet, and for probes
    /// too (RFC 5227, section 2.5).
    fn hear_arp(&mut self, arp: &Arp, to: Mac, now: Moment, chance: &mut Chance, out: &mut Outbox) {
        self.watch_for_clash(arp, now);
        let named = !arp.sender_ip.is_unspecified();
        if named {
            self.neighbours.correct(arp.sender_ip, arp.sender_mac, now);
        }
        self.answer_for_sleeper(arp, out);
        self.claim_all(arp, out);
        if !self.held.iter().any(|net| net.addr() == arp.target_ip) {
            return self.answer_as_proxy(arp, chance, out);
        }
        // Somebody else's announcement of our own address gets no reply: a kernel takes its
        // sender for one of its own addresses and drops it (inferred from Linux's route lookup).
        let claims_ours = named && self.held.iter().any(|net| net.addr() == arp.sender_ip);
        if arp.op == ArpOp::Request && arp.sender_mac.is_host() && !claims_ours {
            self.reply(arp, to, out);
        }
        if named && arp.sender_mac.is_host() && !claims_ours {
            for packet in self.neighbours.learn(arp.sender_ip, arp.sender_mac, now) {
                out.now(self.framed(arp.sender_mac, &packet));
            }
        }
    }

    fn hear_ip(&mut self, packet: &Packet, now: Moment, chance: &mut Chance, out: &mut Outbox) {
        let Ok(ip) = Ipv4::parse(packet.payload()) else {
            return;
        };
        let to_all = packet.to.is_group();
        let udp = ip.protocol == ipv4::UDP;
        if udp && (self.hear_dhcp(&ip, now, chance, out) || self.hear_question(packet, &ip, now, chance, out))
        {
            return;
        }
        let odd = ip.source.is_unspecified() || ip.source.is_multicast() || ip.source.is_broadcast();
        if !self.talks_ip(now) || odd {
            return;
        }
        let uptime = self.uptime;
        let reached = |after| uptime.reached(after, now);
        if to_all {
            // Echo to everybody may go unanswered (RFC 1122, 3.2.2.6), and mostly does.
            let port = Udp::parse(ip.payload).ok().map(|udp| udp.destination_port);
            let heard = ip.protocol == ipv4::UDP
                && self.is_broadcast(ip.destination)
                && port.is_some_and(|p| self.services.hears_broadcast(p, reached));
            if !heard {
                return;
            }
        } else if !self.held.iter().any(|net| net.addr() == ip.destination) {
            return;
        }
        if ip.protocol == ipv4::ICMP
            && let Ok(Icmp::EchoRequest(echo)) = Icmp::parse(ip.payload)
            && (self.plan.drops_echo || self.plan.odd.echo_most.is_some_and(|most| echo.data.len() > most))
        {
            return;
        }
        let (seed, held) = (self.seed ^ u64::from(self.life), &self.held);
        let stack = self.stack.get_or_insert_with(|| {
            let mut stack = Box::new(Stack::new(seed, now));
            stack.set_addresses(held);
            stack
        });
        if self.services.admit(&ip, stack, reached) {
            stack.take(packet.payload());
            self.run_stack(now, out);
        }
    }

    /// DHCP is read before there is an address. True if it was that.
    fn hear_dhcp(&mut self, ip: &Ipv4<'_>, now: Moment, chance: &mut Chance, out: &mut Outbox) -> bool {
        let Ok(udp) = Udp::parse(ip.payload) else {
            return false;
        };
        match (udp.destination_port, &mut self.addressing, &mut self.server) {
            (dhcp::CLIENT, Addressing::Asking(client), _) => {
                if let Some(lease) = client.hear(udp.payload, self.plan.mac, &self.plan.name, now, out) {
                    self.plan.gateway = lease.router.or(self.plan.gateway);
                    self.claim(lease.address, self.plan.boot.probes.min(1), now, chance);
                }
                true
            }
            (dhcp::SERVER, _, Some(server)) => {
                if let Some(own) = self.held.first()
                    && let Some((late, frame)) = server.hear(udp.payload, self.plan.mac, *own, chance)
                {
                    out.later(late, frame);
                }
                true
            }
            _ => false,
        }
    }

    fn is_broadcast(&self, address: Ipv4Addr) -> bool {
        address.is_broadcast() || self.held.iter().any(|net| net.broadcast() == address)
    }

    /// Lets the stack work, its services speak, and its packets go out.
    fn run_stack(&mut self, now: Moment, out: &mut Outbox) {
        self.services.managed.see(self.view());
        let Some(stack) = &mut self.stack else {
            self.stack_due = None;
            return;
        };
        stack.poll(now);
        self.services.serve(&self.persona, stack, now);
        stack.poll(now);
        self.stack_due = [stack.due(now), self.services.due()].into_iter().flatten().min();
        for packet in stack.outgoing() {
            self.send_ip(packet, now, out);
        }
    }

    /// Routes a packet: on the link, by the gateway, or nowhere.
    fn send_ip(&mut self, mut packet: Vec<u8>, now: Moment, out: &mut Outbox) {
        self.mark(&mut packet);
        let Ok(ip) = Ipv4::parse_unverified(&packet) else {
            return;
        };
        let to = ip.destination;
        if self.is_broadcast(to) {
            return out.now(self.framed(Mac::BROADCAST, &packet));
        }
        let on_link = |a: Ipv4Addr| self.held.iter().any(|net| net.contains(&a));
        let hop = if on_link(to) {
            Some(to)
        } else {
            self.plan.gateway.filter(|g| on_link(*g))
        };
        let Some(hop) = hop else { return };
        if let Some(mac) = self.neighbours.get(hop, now) {
            out.now(self.framed(mac, &packet));
        } else if self.neighbours.wait(hop, packet, now) {
            self.ask(hop, out);
        }
    }

    fn ask(&self, address: Ipv4Addr, out: &mut Outbox) {
        let own = self
            .held
            .iter()
            .find(|net| net.contains(&address))
            .or(self.held.first());
        if let Some(own) = own {
            out.now(arp::request_frame(
                self.plan.mac,
                own.addr(),
                address,
                Mac::BROADCAST,
            ));
        }
    }

    fn framed(&self, to: Mac, packet: &[u8]) -> Vec<u8> {
        let head = Ethernet {
            destination: to,
            source: self.plan.mac,
            vlan: None,
            ethertype: ethernet::IPV4,
            payload: packet,
        };
        head.emit()
    }
}

/// A plain device: invented codes, no login, and where the plan has that port the ONVIF service, which tells its name.
fn persona(plan: &HostPlan) -> Persona {
    Persona {
        version: Version {
            vendor: 0x5243,
            model: 1,
            rom: 0x0100,
        },
        power: plan.power,
        server: plan.server.clone(),
        title: plan.title.clone(),
        host_name: plan.name.to_lowercase().replace(' ', "-"),
        login: false,
        onvif: plan
            .services
            .iter()
            .any(|(p, _)| p.word == vocab::ControlWord::Onvif),
    }
}

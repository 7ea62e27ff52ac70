//! A bench around one venue: jumps from wake to wake, keeps what the jack heard, and a client
//! stack (smoltcp, on Ethernet) that dials through the jack.

#![allow(dead_code, unreachable_pub, clippy::unwrap_used)]

use std::collections::VecDeque;
use std::net::Ipv4Addr;
use std::time::Duration;

use link::{Frame, FramePort};
use smoltcp::iface::{Config, Interface, SocketSet};
use smoltcp::phy::{Device, DeviceCapabilities, Medium, RxToken, TxToken};
use smoltcp::socket::{tcp, udp};
use smoltcp::time::Instant;
use smoltcp::wire::{EthernetAddress, IpAddress, IpCidr, Ipv4Cidr};
use venue::{HostPlan, Plan, SwitchPlan, Venue};
use vocab::{ArpOp, ControlPort, Ipv4Net, Mac, Moment};
use wire::{Arp, Ethernet, arp};

pub const OURS: Mac = Mac::new([0x02, 0x52, 0x43, 0xfe, 0, 1]);
pub const OUR_IP: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 230);

pub fn mac(n: u8) -> Mac {
    Mac::new([0x02, 0x52, 0x43, 0, 0, n])
}

pub fn ip(n: u8) -> Ipv4Addr {
    Ipv4Addr::new(10, 40, 8, n)
}

pub fn net(n: u8) -> Ipv4Net {
    Ipv4Net::new_assert(ip(n), 24)
}

pub fn word(text: &str) -> ControlPort {
    text.parse().unwrap()
}

pub fn secs(n: u64) -> Duration {
    Duration::from_secs(n)
}

/// One switch and our computer on it.
pub fn plan() -> Plan {
    Plan::new(SwitchPlan::new("S1"), OURS, &[net(230)])
}

/// A settled host at the `n`th address.
pub fn host(plan: &Plan, n: u8) -> HostPlan {
    HostPlan::new(&format!("Host {n}"), mac(n), plan.first_switch()).fixed(net(n))
}

pub struct Bench {
    pub venue: Venue,
    pub now: Moment,
    /// Every frame that the jack heard, with its time.
    pub heard: Vec<(Moment, Vec<u8>)>,
}

impl Bench {
    pub fn new(plan: Plan, seed: u64) -> Self {
        Self::of(Venue::from_plan(plan, seed))
    }

    pub fn of(venue: Venue) -> Self {
        Self {
            venue,
            now: Moment::ZERO,
            heard: Vec::new(),
        }
    }

    /// Goes on for `span`, stopping at every wake-up, so that frames get their real time.
    pub fn run(&mut self, span: Duration) {
        let until = self.now + span;
        loop {
            let next = self
                .venue
                .next_wake()
                .unwrap_or(Moment::FAR)
                .max(self.now)
                .min(until);
            self.now = next;
            self.venue.advance(next);
            self.take();
            if next == until && self.venue.next_wake().is_none_or(|at| at > until) {
                return;
            }
        }
    }

    pub fn run_to(&mut self, seconds: u64) {
        self.run(Moment::from_secs(seconds).since(self.now));
    }

    fn take(&mut self) {
        let mut frame = Frame::default();
        while self.venue.receive(&mut frame).unwrap() {
            self.heard.push((self.now, frame.bytes.clone()));
        }
    }

    pub fn send(&mut self, frame: &[u8]) {
        self.venue.send(frame).unwrap();
    }

    /// ARP packets heard so far, with their times; empties the list.
    pub fn arps(&mut self) -> Vec<(Moment, Arp)> {
        std::mem::take(&mut self.heard)
            .into_iter()
            .filter_map(|(at, bytes)| {
                let frame = Ethernet::parse(&bytes).unwrap();
                (frame.ethertype == wire::ethernet::ARP).then(|| (at, Arp::parse(frame.payload).unwrap()))
            })
            .collect()
    }

    /// Asks for `address` and gives the MACs that answer within a second, in their order.
    pub fn who_has(&mut self, address: Ipv4Addr, sender: Ipv4Addr) -> Vec<Mac> {
        self.heard.clear();
        self.send(&arp::request_frame(OURS, sender, address, Mac::BROADCAST));
        self.run(secs(1));
        let replies = self
            .arps()
            .into_iter()
            .filter(|(_, a)| a.op == ArpOp::Reply && a.sender_ip == address);
        replies.map(|(_, a)| a.sender_mac).collect()
    }

    /// Pings `to` at `mac`; the time of the reply's coming, if it comes within a second.
    pub fn ping(&mut self, to: Ipv4Addr, mac: Mac) -> Option<Duration> {
        self.ping_as(to, mac, OUR_IP)
    }

    pub fn ping_as(&mut self, to: Ipv4Addr, mac: Mac, from: Ipv4Addr) -> Option<Duration> {
        self.heard.clear();
        let path = wire::Path {
            from_mac: OURS,
            from,
            to_mac: mac,
            to,
        };
        let echo = wire::icmp::Echo {
            identifier: 7,
            sequence: 1,
            data: b"head count",
        };
        self.send(&wire::icmp::echo_request_frame(path, &echo));
        let start = self.now;
        self.run(secs(1));
        self.heard.iter().find_map(|(at, bytes)| {
            let frame = Ethernet::parse(bytes).unwrap();
            let packet = wire::Ipv4::parse(frame.payload).ok()?;
            match wire::Icmp::parse(packet.payload).ok()? {
                wire::Icmp::EchoReply(reply) if reply == echo && packet.source == to => Some(at.since(start)),
                _ => None,
            }
        })
    }
}

/// What a dial came to.
#[derive(Debug, PartialEq, Eq)]
pub enum Came {
    Answer(Vec<u8>),
    Accepted,
    Refused,
    Silence,
}

/// A computer's stack on our jack, for one dial at a time.
pub struct Dialer {
    iface: Interface,
    jack: Jack,
    next_port: u16,
}

impl Dialer {
    pub fn new() -> Self {
        let mut jack = Jack::default();
        let mut iface = Interface::new(
            Config::new(EthernetAddress(OURS.octets()).into()),
            &mut jack,
            Instant::ZERO,
        );
        iface.update_ip_addrs(|list| list.push(IpCidr::Ipv4(Ipv4Cidr::new(OUR_IP, 24))).unwrap());
        Self {
            iface,
            jack,
            next_port: 50_000,
        }
    }

    fn port(&mut self) -> u16 {
        self.next_port += 1;
        self.next_port
    }

    /// Runs stack and venue together until `done` or for `span`.
    fn drive(
        &mut self,
        bench: &mut Bench,
        sockets: &mut SocketSet<'_>,
        span: Duration,
        mut done: impl FnMut(&mut SocketSet<'_>) -> bool,
    ) {
        let until = bench.now + span;
        for _ in 0..100_000 {
            let at = Instant::from_micros(i64::try_from(bench.now.as_micros()).unwrap());
            self.jack
                .incoming
                .extend(bench.heard.drain(..).map(|(_, bytes)| bytes));
            self.iface.poll(at, &mut self.jack, sockets);
            for frame in self.jack.outgoing.drain(..) {
                bench.venue.send(&frame).unwrap();
            }
            if done(sockets) || bench.now >= until {
                return;
            }
            let own = self
                .iface
                .poll_delay(at, sockets)
                .map_or(until, |d| bench.now + d.into());
            let next = bench.venue.next_wake().unwrap_or(Moment::FAR).min(own).min(until);
            let next = next.max(bench.now + Duration::from_micros(1));
            bench.run(next.since(bench.now));
        }
        panic!("the bench does not come to an end");
    }

    pub fn tcp(&mut self, bench: &mut Bench, to: Ipv4Addr, port: u16, request: &[u8]) -> Came {
        self.tcp_until(bench, to, port, request, |_| true)
    }

    /// The same, listening until what came is `enough`, or nothing came for 3 s.
    pub fn tcp_until(
        &mut self,
        bench: &mut Bench,
        to: Ipv4Addr,
        port: u16,
        request: &[u8],
        mut enough: impl FnMut(&[u8]) -> bool,
    ) -> Came {
        let buffer = || tcp::SocketBuffer::new(vec![0; 4096]);
        let mut sockets = SocketSet::new(Vec::new());
        let handle = sockets.add(tcp::Socket::new(buffer(), buffer()));
        let local = self.port();
        let socket = sockets.get_mut::<tcp::Socket>(handle);
        socket
            .connect(self.iface.context(), (IpAddress::Ipv4(to), port), local)
            .unwrap();
        self.drive(bench, &mut sockets, secs(3), |s| {
            let s = s.get::<tcp::Socket>(handle);
            s.may_send() || s.state() == tcp::State::Closed
        });
        let socket = sockets.get_mut::<tcp::Socket>(handle);
        match socket.state() {
            tcp::State::Closed => return Came::Refused,
            tcp::State::SynSent => return Came::Silence,
            _ => {}
        }
        socket.send_slice(request).unwrap();
        let mut answer = Vec::new();
        loop {
            self.drive(bench, &mut sockets, secs(3), |s| {
                s.get::<tcp::Socket>(handle).can_recv()
            });
            let socket = sockets.get_mut::<tcp::Socket>(handle);
            let before = answer.len();
            while socket.can_recv() {
                socket
                    .recv(|bytes| (bytes.len(), answer.extend_from_slice(bytes)))
                    .unwrap();
            }
            if answer.len() == before || enough(&answer) {
                break;
            }
        }
        sockets.get_mut::<tcp::Socket>(handle).close();
        self.drive(bench, &mut sockets, secs(2), |s| {
            s.get::<tcp::Socket>(handle).state() == tcp::State::TimeWait
        });
        if answer.is_empty() {
            Came::Accepted
        } else {
            Came::Answer(answer)
        }
    }

    pub fn udp(&mut self, bench: &mut Bench, to: Ipv4Addr, port: u16, request: &[u8]) -> Came {
        let buffer = || udp::PacketBuffer::new(vec![udp::PacketMetadata::EMPTY; 4], vec![0; 2048]);
        let mut sockets = SocketSet::new(Vec::new());
        let mut socket = udp::Socket::new(buffer(), buffer());
        socket.bind(self.port()).unwrap();
        socket.send_slice(request, (IpAddress::Ipv4(to), port)).unwrap();
        let handle = sockets.add(socket);
        self.jack.refusal = false;
        self.drive(bench, &mut sockets, secs(3), |s| {
            s.get::<udp::Socket>(handle).can_recv()
        });
        if let Ok((bytes, _)) = sockets.get_mut::<udp::Socket>(handle).recv() {
            return Came::Answer(bytes.to_vec());
        }
        if self.jack.refusal {
            Came::Refused
        } else {
            Came::Silence
        }
    }

    /// Asks a control port as the scanner does and lets wire judge the answer.
    pub fn control(
        &mut self,
        bench: &mut Bench,
        to: Ipv4Addr,
        port: ControlPort,
    ) -> (Came, wire::control::Verdict) {
        let request = wire::control::request(port, to, 1);
        let came = if request.transport_is_udp {
            self.udp(bench, to, port.port, &request.first_bytes)
        } else {
            self.tcp(bench, to, port.port, &request.first_bytes)
        };
        let mut judge = wire::control::Judge::new(port, 1);
        let verdict = match &came {
            Came::Answer(bytes) => match judge.feed(bytes) {
                wire::control::Verdict::More => judge.on_close(),
                verdict => verdict,
            },
            Came::Accepted => judge.on_open(),
            Came::Refused | Came::Silence => wire::control::Verdict::More,
        };
        (came, verdict)
    }
}

#[derive(Default)]
struct Jack {
    incoming: VecDeque<Vec<u8>>,
    outgoing: Vec<Vec<u8>>,
    refusal: bool,
}

impl Device for Jack {
    type RxToken<'a> = Rx;
    type TxToken<'a> = Tx<'a>;

    fn receive(&mut self, _: Instant) -> Option<(Rx, Tx<'_>)> {
        let frame = self.incoming.pop_front()?;
        if let Ok(head) = Ethernet::parse(&frame)
            && let Ok(packet) = wire::Ipv4::parse(head.payload)
            && packet.protocol == wire::ipv4::ICMP
            && packet.payload.starts_with(&[3, wire::Icmp::PORT_UNREACHABLE])
        {
            self.refusal = true;
        }
        Some((Rx(frame), Tx(&mut self.outgoing)))
    }

    fn transmit(&mut self, _: Instant) -> Option<Tx<'_>> {
        Some(Tx(&mut self.outgoing))
    }

    fn capabilities(&self) -> DeviceCapabilities {
        let mut caps = DeviceCapabilities::default();
        caps.medium = Medium::Ethernet;
        caps.max_transmission_unit = 1514;
        caps
    }
}

struct Rx(Vec<u8>);

impl RxToken for Rx {
    fn consume<R, F: FnOnce(&[u8]) -> R>(self, f: F) -> R {
        f(&self.0)
    }
}

struct Tx<'a>(&'a mut Vec<Vec<u8>>);

impl TxToken for Tx<'_> {
    fn consume<R, F: FnOnce(&mut [u8]) -> R>(self, len: usize, f: F) -> R {
        let mut frame = vec![0; len];
        let result = f(&mut frame);
        self.0.push(frame);
        result
    }
}

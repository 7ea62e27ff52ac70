//! The scanner's public face, end to end over frames, against a device with an independent TCP/IP
//! stack (smoltcp): ARP, and control ports over TCP and UDP, in virtual time.

#![expect(clippy::unwrap_used, reason = "in a test it is a failure like any other")]

use std::collections::VecDeque;
use std::net::Ipv4Addr;
use std::time::Duration;

use link::Frame;
use smoltcp::iface::{Config as Iface, Interface, SocketHandle, SocketSet};
use smoltcp::phy::{Device, DeviceCapabilities, Medium as Kind, RxToken, TxToken};
use smoltcp::socket::{tcp, udp};
use smoltcp::time::Instant;
use smoltcp::wire::{EthernetAddress, IpCidr, Ipv4Cidr};
use sweep::{Config, Dialing, Order, Scanner};
use vocab::{
    ArpForm, Ask, Budget, ControlState, Fact, LinkState, Mac, Medium, Mode, Moment, Pace, Rank, SilentTo,
    Station,
};

const OWN: Mac = Mac::new([0x02, 0x52, 0x43, 0, 0, 5]);
const DEVICE: Mac = Mac::new([0x02, 0x52, 0x43, 0, 0, 0x21]);
const AT: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);

/// Queues of frames as a smoltcp device.
#[derive(Default)]
struct Jack {
    inward: VecDeque<Vec<u8>>,
    outward: VecDeque<Vec<u8>>,
}

struct Taken(Vec<u8>);
struct Place<'a>(&'a mut VecDeque<Vec<u8>>);

impl RxToken for Taken {
    fn consume<R, F: FnOnce(&[u8]) -> R>(self, f: F) -> R {
        f(&self.0)
    }
}

impl TxToken for Place<'_> {
    fn consume<R, F: FnOnce(&mut [u8]) -> R>(self, len: usize, f: F) -> R {
        let mut bytes = vec![0; len];
        let result = f(&mut bytes);
        self.0.push_back(bytes);
        result
    }
}

impl Device for Jack {
    type RxToken<'a> = Taken;
    type TxToken<'a> = Place<'a>;

    fn receive(&mut self, _: Instant) -> Option<(Taken, Place<'_>)> {
        let frame = self.inward.pop_front()?;
        Some((Taken(frame), Place(&mut self.outward)))
    }

    fn transmit(&mut self, _: Instant) -> Option<Place<'_>> {
        Some(Place(&mut self.outward))
    }

    fn capabilities(&self) -> DeviceCapabilities {
        let mut caps = DeviceCapabilities::default();
        caps.medium = Kind::Ethernet;
        caps.max_transmission_unit = 1514;
        caps
    }
}

/// Whether it is an IPv4 frame with ICMP in it (RFC 791: protocol 1), which this device keeps out.
fn is_icmp(frame: &[u8]) -> bool {
    frame.get(12..14) == Some(&[0x08, 0x00]) && frame.get(23) == Some(&1)
}

/// A camera: HTTP on 80 answers 401, a port 554 that accepts and stays mute, VISCA on UDP 52381.
struct Camera {
    jack: Jack,
    interface: Interface,
    sockets: SocketSet<'static>,
    http: SocketHandle,
    mute: SocketHandle,
    visca: SocketHandle,
}

impl Camera {
    fn new() -> Self {
        let mut jack = Jack::default();
        let config = Iface::new(EthernetAddress(DEVICE.octets()).into());
        let mut interface = Interface::new(config, &mut jack, Instant::ZERO);
        interface.update_ip_addrs(|list| list.push(IpCidr::Ipv4(Ipv4Cidr::new(AT, 24))).unwrap());
        let mut sockets = SocketSet::new(Vec::new());
        let mut listen = |port: u16| {
            let buffer = || tcp::SocketBuffer::new(vec![0; 4096]);
            let mut socket = tcp::Socket::new(buffer(), buffer());
            socket.listen(port).unwrap();
            sockets.add(socket)
        };
        let (http, mute) = (listen(80), listen(554));
        let buffer = || udp::PacketBuffer::new(vec![udp::PacketMetadata::EMPTY; 4], vec![0; 2048]);
        let mut socket = udp::Socket::new(buffer(), buffer());
        socket.bind(52381).unwrap();
        let visca = sockets.add(socket);
        Self {
            jack,
            interface,
            sockets,
            http,
            mute,
            visca,
        }
    }

    fn work(&mut self, now: Moment) {
        let at = Instant::from_micros(i64::try_from(now.as_micros()).unwrap());
        self.interface.poll(at, &mut self.jack, &mut self.sockets);
        let http = self.sockets.get_mut::<tcp::Socket>(self.http);
        if http.can_recv() {
            http.recv(|b| (b.len(), ())).unwrap();
            http.send_slice(b"HTTP/1.1 401 Unauthorized\r\nServer: stage\r\nContent-Length: 0\r\n\r\n")
                .unwrap();
        }
        let mute = self.sockets.get_mut::<tcp::Socket>(self.mute);
        if !mute.is_open() {
            mute.listen(554).unwrap();
        }
        let visca = self.sockets.get_mut::<udp::Socket>(self.visca);
        while let Ok((data, meta)) = visca.recv() {
            // Header as asked but of type "reply", the version answer of FACTS section 6.
            let mut reply = vec![0x01, 0x11, 0x00, 0x0a];
            reply.extend(&data[4..8]);
            reply.extend([0x90, 0x50, 0, 1, 5, 0x11, 1, 0, 2, 0xff]);
            visca.send_slice(&reply, meta.endpoint).unwrap();
        }
        self.interface.poll(at, &mut self.jack, &mut self.sockets);
    }

    fn wake(&mut self, now: Moment) -> Option<Moment> {
        let at = Instant::from_micros(i64::try_from(now.as_micros()).unwrap());
        let due = self.interface.poll_at(at, &self.sockets)?;
        // The wire's own 100 µs, so that time goes on even where the stack wants to be polled now.
        let due = Moment::from_micros(u64::try_from(due.total_micros()).unwrap_or(0));
        Some(due.max(now + Duration::from_micros(100)))
    }
}

fn run(scanner: &mut Scanner, camera: &mut Camera, end: Moment) -> Vec<Fact> {
    let mut now = Moment::from_millis(1);
    let mut facts = Vec::new();
    while now <= end {
        while let Some(bytes) = camera.jack.outward.pop_front() {
            scanner.receive(
                now,
                &Frame {
                    bytes,
                    ..Frame::default()
                },
            );
        }
        scanner.tick(now);
        while let Some(order) = scanner.next_order(now) {
            let Order::Frame(bytes) = order else {
                panic!("{order:?}")
            };
            scanner.done(now, Ok(()));
            if !is_icmp(&bytes) {
                camera.jack.inward.push_back(bytes);
            }
        }
        camera.work(now);
        while let Some(sighting) = scanner.next_sighting() {
            facts.push(sighting.fact);
        }
        let step = now + Duration::from_micros(100);
        now = if camera.jack.outward.is_empty() {
            [scanner.next_wake(), camera.wake(now)]
                .into_iter()
                .flatten()
                .min()
                .unwrap_or(Moment::FAR)
                .max(step)
        } else {
            step
        };
    }
    facts
}

#[test]
fn a_device_with_a_stack_of_its_own_is_found_and_asked() {
    let mut scanner = Scanner::new(Config {
        pace: Pace::Own,
        listen_only: false,
        mode: Mode::Simulated,
        dialing: Dialing::User,
        seed: 11,
    });
    let mut camera = Camera::new();
    let start = Moment::from_millis(1);
    scanner.set_station(
        start,
        Station {
            name: "jack".into(),
            index: 1,
            mac: OWN,
            addresses: vec!["10.40.8.5/24".parse().unwrap()],
            link_local: None,
            state: LinkState::Up,
            medium: Medium::Wired,
            mode: Mode::Simulated,
            others: Vec::new(),
        },
    );
    let arp = |form| Ask::Arp {
        address: AT,
        form,
        rank: Rank::Rig,
        budget: Budget::Pass,
    };
    scanner.ask(start, arp(ArpForm::Broadcast));
    scanner.ask(start, arp(ArpForm::Unicast(DEVICE)));
    scanner.ask(
        start,
        Ask::Echo {
            address: AT,
            mac: Some(DEVICE),
            rank: Rank::Rig,
        },
    );
    for port in ["http", "visca-udp", "rtsp", "visca-tcp", "visca-raw-udp"] {
        scanner.ask(
            start,
            Ask::Control {
                address: AT,
                mac: Some(DEVICE),
                port: port.parse().unwrap(),
            },
        );
    }
    let facts = run(&mut scanner, &mut camera, Moment::from_secs(20));

    // Both replies are alike and come at one moment: which answers which cannot be told.
    let mut answered: Vec<_> = facts
        .iter()
        .filter_map(|f| {
            if let Fact::Arp(seen) = f {
                seen.answers.map(|a| (seen.sender, a.0))
            } else {
                None
            }
        })
        .collect();
    answered.sort_unstable();
    assert_eq!(
        answered,
        [(DEVICE, ArpForm::Broadcast), (DEVICE, ArpForm::Unicast(DEVICE))]
    );
    // This device lets no ICMP in: alive by ARP, silent by echo.
    let silent: Vec<_> = facts
        .iter()
        .filter_map(|f| match f {
            Fact::Silent { what, .. } => Some(*what),
            _ => None,
        })
        .collect();
    assert_eq!(silent, [SilentTo::Echo(Some(DEVICE))]);

    let mut control: Vec<_> = facts
        .iter()
        .filter_map(|f| match f {
            Fact::Control {
                port,
                state,
                mac: Some(DEVICE),
                ..
            } => Some((port.to_string(), *state)),
            _ => None,
        })
        .collect();
    control.sort_by(|a, b| a.0.cmp(&b.0));
    assert_eq!(
        control,
        [
            ("http".to_owned(), ControlState::Answered),
            ("rtsp".to_owned(), ControlState::Silent),
            ("visca-raw-udp".to_owned(), ControlState::Refused),
            ("visca-tcp".to_owned(), ControlState::Refused),
            ("visca-udp".to_owned(), ControlState::Answered),
        ]
    );
}

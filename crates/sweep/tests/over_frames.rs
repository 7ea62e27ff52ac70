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
/// Where the same device stands in another subnet.
const AWAY: Ipv4Addr = Ipv4Addr::new(192, 168, 0, 20);

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
    /// The most connections that it ever held at one time.
    most: usize,
}

impl Camera {
    fn new(at: Ipv4Addr) -> Self {
        let mut jack = Jack::default();
        let config = Iface::new(EthernetAddress(DEVICE.octets()).into());
        let mut interface = Interface::new(config, &mut jack, Instant::ZERO);
        interface.update_ip_addrs(|list| list.push(IpCidr::Ipv4(Ipv4Cidr::new(at, 24))).unwrap());
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
            most: 0,
        }
    }

    fn work(&mut self, now: Moment) {
        let at = Instant::from_micros(i64::try_from(now.as_micros()).unwrap());
        self.interface.poll(at, &mut self.jack, &mut self.sockets);
        let held = |handle| self.sockets.get::<tcp::Socket>(handle).is_active();
        let open = [self.http, self.mute].into_iter().filter(|h| held(*h)).count();
        self.most = self.most.max(open);
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
    run_from(scanner, camera, Moment::from_millis(1), end).0
}

/// Gives what was seen, and the frames that the scanner sent.
fn run_from(
    scanner: &mut Scanner,
    camera: &mut Camera,
    start: Moment,
    end: Moment,
) -> (Vec<Fact>, Vec<Vec<u8>>) {
    let mut now = start;
    let (mut facts, mut frames) = (Vec::new(), Vec::new());
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
            scanner.done(now, Ok(()));
            let bytes = match order {
                Order::Frame(bytes) => bytes,
                Order::Admit(_) => continue,
                other => panic!("{other:?}"),
            };
            frames.push(bytes.clone());
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
    (facts, frames)
}

fn scanner(mode: Mode, dialing: Dialing) -> Scanner {
    let mut scanner = Scanner::new(Config {
        pace: Pace::Own,
        listen_only: false,
        mode,
        dialing,
        seed: 11,
    });
    let station = Station {
        name: "jack".into(),
        index: 1,
        mac: OWN,
        addresses: vec!["10.40.8.5/24".parse().unwrap()],
        link_local: None,
        state: LinkState::Up,
        medium: Medium::Wired,
        mode,
        others: Vec::new(),
    };
    scanner.set_station(Moment::from_millis(1), station);
    scanner
}

/// How the device's ports told, sorted by name.
fn control(facts: &[Fact]) -> Vec<(String, ControlState)> {
    let told = |f: &Fact| match f {
        Fact::Control {
            port,
            state,
            mac: Some(DEVICE),
            ..
        } => Some((port.to_string(), *state)),
        _ => None,
    };
    let mut control: Vec<_> = facts.iter().filter_map(told).collect();
    control.sort_by(|a, b| a.0.cmp(&b.0));
    control
}

/// What all the ports of the camera tell.
fn expected() -> Vec<(String, ControlState)> {
    [
        ("http", ControlState::Answered),
        ("rtsp", ControlState::Silent),
        ("visca-raw-udp", ControlState::Refused),
        ("visca-tcp", ControlState::Refused),
        ("visca-udp", ControlState::Answered),
    ]
    .map(|(port, state)| (port.to_owned(), state))
    .to_vec()
}

#[test]
fn a_device_with_a_stack_of_its_own_is_found_and_asked() {
    let mut scanner = scanner(Mode::Simulated, Dialing::User);
    let mut camera = Camera::new(AT);
    let start = Moment::from_millis(1);
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

    assert_eq!(control(&facts), expected());
}

/// The IPv4 source or ARP sender address of a frame of ours.
fn speaker(frame: &[u8]) -> Ipv4Addr {
    let at = match frame.get(12..14) {
        Some([0x08, 0x00]) => 26,
        Some([0x08, 0x06]) => 28,
        other => panic!("{other:?}"),
    };
    let octets: [u8; 4] = frame[at..at + 4].try_into().unwrap();
    octets.into()
}

#[test]
fn the_same_device_on_a_foreign_subnet_is_asked_from_a_borrowed_address() {
    // As on a real link, where the system's sockets reach our own subnet only.
    let mut scanner = scanner(Mode::Raw, Dialing::Os);
    let mut camera = Camera::new(AWAY);
    let start = Moment::from_millis(1);
    for port in ["http", "visca-udp", "rtsp", "visca-tcp", "visca-raw-udp"] {
        scanner.ask(
            start,
            Ask::ControlAway {
                address: AWAY,
                mac: DEVICE,
                port: port.parse().unwrap(),
                ranges: vec!["192.168.0.30-192.168.0.99".parse().unwrap()],
            },
        );
    }
    let (facts, frames) = run_from(&mut scanner, &mut camera, start, Moment::from_secs(30));
    assert_eq!(control(&facts), expected());
    assert_eq!(camera.most, 1, "never more than one connection");
    let borrowed: Vec<Ipv4Addr> = facts
        .iter()
        .filter_map(|f| match f {
            Fact::Borrowed { address } => Some(*address),
            _ => None,
        })
        .collect();
    let [borrowed] = borrowed[..] else {
        panic!("{borrowed:?}")
    };
    assert!((30..=99).contains(&borrowed.octets()[3]), "{borrowed}");
    // The three probes are in nobody's name, all else goes from the borrowed address to the device
    // alone, our answers to its question whose that is among it.
    let (probes, dial) = frames.split_at(3);
    for probe in probes {
        assert_eq!(
            (&probe[..6], speaker(probe)),
            (&[0xff; 6][..], Ipv4Addr::UNSPECIFIED)
        );
    }
    let mut answers = 0;
    for frame in dial {
        assert_eq!((&frame[..6], speaker(frame)), (&DEVICE.octets()[..], borrowed));
        answers += usize::from(frame[12..14] == [0x08, 0x06]);
    }
    assert!(answers >= 1);
    // A frame was charged for each at the least: 9 for a connection, 2 for a first datagram.
    let charged = 3 + 9 * 5 + 2 + 2 + 2;
    assert!(frames.len() <= charged, "{} of {charged}", frames.len());

    // It is given back: whoever asks for it now gets no answer.
    let question = [
        &[0xff; 6][..],
        &DEVICE.octets(),
        &[8, 6, 0, 1, 8, 0, 6, 4, 0, 1],
        &DEVICE.octets(),
        &AWAY.octets(),
        &[0; 6],
        &borrowed.octets(),
    ]
    .concat();
    camera.jack.outward.push_back(question);
    let (_, late) = run_from(
        &mut scanner,
        &mut camera,
        Moment::from_secs(31),
        Moment::from_secs(60),
    );
    assert_eq!(late, Vec::<Vec<u8>>::new());
}

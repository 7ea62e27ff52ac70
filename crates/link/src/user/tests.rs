//! The dialer against an independent stack that answers ARP, TCP and UDP by itself, in virtual time.

use std::collections::VecDeque;
use std::net::{Ipv4Addr, SocketAddrV4};

use proptest::prelude::*;
use smoltcp::iface::{Config, Interface, SocketHandle, SocketSet};
use smoltcp::socket::{tcp, udp};
use smoltcp::time::Instant;
use smoltcp::wire::{EthernetAddress, EthernetFrame, IpCidr, Ipv4Cidr};
use vocab::{Mac, Moment};
use wire::{enquiry, wsd};

use super::wires::Wires;
use super::{FIRST_PORT, MAX_DIALS, UserDialer, drawn_port};
use crate::{Dial, DialEvent, DialId, Frame, Transport};

pub(super) const OWN: Mac = Mac::new([0x02, 0x52, 0x43, 0, 0, 0x01]);
pub(super) const PEER: Mac = Mac::new([0x02, 0x52, 0x43, 0, 0, 0x21]);
pub(super) const FROM: Ipv4Addr = Ipv4Addr::new(192, 168, 0, 77);
pub(super) const THERE: Ipv4Addr = Ipv4Addr::new(192, 168, 0, 20);

/// A device that echoes on TCP 5678 and UDP 52381 and nowhere else.
pub(super) struct Peer {
    pub(super) wires: Wires,
    interface: Interface,
    pub(super) sockets: SocketSet<'static>,
    pub(super) tcp: SocketHandle,
    udp: SocketHandle,
    /// Sends this and ends the connection instead of echoing.
    pub(super) says: Option<&'static [u8]>,
}

impl Peer {
    pub(super) fn new() -> Self {
        let mut wires = Wires::default();
        let mut config = Config::new(EthernetAddress(PEER.octets()).into());
        config.random_seed = 7;
        let mut interface = Interface::new(config, &mut wires, Instant::ZERO);
        interface.update_ip_addrs(|list| list.push(IpCidr::Ipv4(Ipv4Cidr::new(THERE, 24))).unwrap());
        let mut sockets = SocketSet::new(Vec::new());
        let buffer = || tcp::SocketBuffer::new(vec![0; 8192]);
        let mut socket = tcp::Socket::new(buffer(), buffer());
        socket.listen(5678).unwrap();
        let tcp = sockets.add(socket);
        let buffer = || udp::PacketBuffer::new(vec![udp::PacketMetadata::EMPTY; 8], vec![0; 8192]);
        let mut socket = udp::Socket::new(buffer(), buffer());
        socket.bind(52381).unwrap();
        let udp = sockets.add(socket);
        Self {
            wires,
            interface,
            sockets,
            tcp,
            udp,
            says: None,
        }
    }

    pub(super) fn work(&mut self, now: Moment) {
        let at = Instant::from_micros(i64::try_from(now.as_micros()).unwrap());
        self.interface.poll(at, &mut self.wires, &mut self.sockets);
        let socket = self.sockets.get_mut::<tcp::Socket>(self.tcp);
        if let Some(words) = self.says {
            if socket.can_send() {
                socket.send_slice(words).unwrap();
                socket.close();
            }
        } else if socket.can_recv() && socket.can_send() {
            let room = socket.send_capacity() - socket.send_queue();
            let data = socket
                .recv(|b| {
                    let n = b.len().min(room);
                    (n, b[..n].to_vec())
                })
                .unwrap();
            assert_eq!(socket.send_slice(&data).unwrap(), data.len());
        }
        let socket = self.sockets.get_mut::<udp::Socket>(self.udp);
        while let Ok((data, meta)) = socket.recv() {
            let data = data.to_vec();
            socket.send_slice(&data, meta.endpoint).unwrap();
        }
        self.interface.poll(at, &mut self.wires, &mut self.sockets);
    }

    pub(super) fn wake(&mut self, now: Moment) -> Option<Moment> {
        let at = Instant::from_micros(i64::try_from(now.as_micros()).unwrap());
        let due = self.interface.poll_at(at, &self.sockets)?;
        Some(Moment::from_micros(u64::try_from(due.total_micros()).unwrap()))
    }
}

/// A wire between the two that takes 100 µs and loses every so many frames.
struct Bench {
    dialer: UserDialer,
    peer: Peer,
    now: Moment,
    under_way: VecDeque<(Moment, bool, Vec<u8>)>,
    /// Of 100 frames.
    loss: u64,
    dice: u64,
    events: Vec<(DialId, DialEvent)>,
    sent: Vec<Vec<u8>>,
}

impl Bench {
    fn new(seed: u64, loss: u64) -> Self {
        Self {
            dialer: UserDialer::new(OWN, seed),
            peer: Peer::new(),
            now: Moment::from_millis(1),
            under_way: VecDeque::new(),
            loss,
            dice: seed | 1,
            events: Vec::new(),
            sent: Vec::new(),
        }
    }

    fn lost(&mut self) -> bool {
        self.dice ^= self.dice << 13;
        self.dice ^= self.dice >> 7;
        self.dice ^= self.dice << 17;
        self.dice % 100 < self.loss
    }

    /// Runs until `done` or until nothing more can happen within 60 s of virtual time.
    fn run(&mut self, done: impl Fn(&[(DialId, DialEvent)]) -> bool) {
        let end = self.now + std::time::Duration::from_mins(1);
        for _ in 0..200_000 {
            while let Some(frame) = self.dialer.transmit(self.now) {
                self.sent.push(frame.clone());
                if !self.lost() {
                    self.under_way
                        .push_back((self.now + std::time::Duration::from_micros(100), true, frame));
                }
            }
            while let Some(frame) = self.peer.wires.outbox.pop_front() {
                if !self.lost() {
                    self.under_way.push_back((
                        self.now + std::time::Duration::from_micros(100),
                        false,
                        frame,
                    ));
                }
            }
            while let Some(event) = self.dialer.event() {
                self.events.push(event);
            }
            if done(&self.events) {
                return;
            }
            let next = [
                self.under_way.front().map(|(at, ..)| *at),
                self.dialer.next_wake(),
                self.peer.wake(self.now),
            ];
            let Some(next) = next.into_iter().flatten().min() else {
                return;
            };
            self.now = self.now.max(next);
            if self.now > end {
                return;
            }
            while let Some((at, to_peer, bytes)) = self.under_way.pop_front() {
                if at > self.now {
                    self.under_way.push_front((at, to_peer, bytes));
                    break;
                }
                if to_peer {
                    self.peer.wires.deliver(bytes);
                } else {
                    self.dialer.receive(
                        self.now,
                        &Frame {
                            bytes,
                            ..Frame::default()
                        },
                    );
                }
            }
            self.peer.work(self.now);
        }
        panic!("the bench ran away");
    }

    fn data(&self) -> Vec<u8> {
        let parts = self.events.iter().filter_map(|(_, event)| match event {
            DialEvent::Data(data) => Some(data.as_slice()),
            _ => None,
        });
        parts.collect::<Vec<_>>().concat()
    }
}

fn dial(id: u64, transport: Transport, port: u16) -> Dial {
    let to = SocketAddrV4::new(THERE, port);
    Dial {
        id: DialId(id),
        to,
        transport,
        mac: Some(PEER),
        from: Some(FROM),
    }
}

fn is_last(events: &[(DialId, DialEvent)], wanted: &DialEvent) -> bool {
    events.last().is_some_and(|(_, event)| event == wanted)
}

#[test]
fn no_dial_goes_out_from_a_port_that_is_read_otherwise() {
    let mut random = 7;
    // Of so many draws some 24 would be either of the two.
    let all: Vec<u16> = (0..200_000).map(|_| drawn_port(&mut random)).collect();
    assert!(all.iter().all(|port| *port >= FIRST_PORT));
    assert!(!all.contains(&wsd::OWN_PORT) && !all.contains(&enquiry::PORT));
}

#[test]
fn a_connection_opens_carries_and_is_reset() {
    let mut bench = Bench::new(1, 0);
    assert!(bench.dialer.open(bench.now, dial(1, Transport::Tcp, 5678)));
    assert!(bench.dialer.send(bench.now, DialId(1), b"before it stands"));
    bench.run(|events| events.len() >= 2);
    assert_eq!(bench.events[0], (DialId(1), DialEvent::Opened));
    assert_eq!(bench.data(), b"before it stands");
    assert!(bench.dialer.send(bench.now, DialId(1), b", and after"));
    bench.run(|events| events.len() >= 3);
    assert_eq!(bench.data(), b"before it stands, and after");
    bench.dialer.close(bench.now, DialId(1));
    bench.run(|_| false);
    let socket = bench.peer.sockets.get::<tcp::Socket>(bench.peer.tcp);
    assert_eq!(socket.state(), tcp::State::Closed, "the peer saw the reset");
    assert_eq!(bench.events.len(), 3, "nothing follows the end");
    assert_eq!(bench.dialer.next_wake(), None);
}

#[test]
fn every_frame_goes_from_us_to_the_peer() {
    let mut bench = Bench::new(2, 0);
    assert!(bench.dialer.open(bench.now, dial(1, Transport::Tcp, 5678)));
    assert!(bench.dialer.open(bench.now, dial(2, Transport::Udp, 52381)));
    assert!(bench.dialer.send(bench.now, DialId(2), b"x"));
    bench.run(|events| events.iter().any(|(_, e)| matches!(e, DialEvent::Data(_))));
    assert!(bench.sent.len() >= 3);
    for bytes in &bench.sent {
        let frame = EthernetFrame::new_checked(&bytes[..]).unwrap();
        assert_eq!(
            (frame.src_addr().0, frame.dst_addr().0),
            (OWN.octets(), PEER.octets())
        );
    }
}

#[test]
fn closed_ports_refuse_on_both_transports() {
    for (transport, port) in [(Transport::Tcp, 80), (Transport::Udp, 1259)] {
        let mut bench = Bench::new(3, 0);
        assert!(bench.dialer.open(bench.now, dial(1, transport, port)));
        // The peer has to learn our hardware first, and this stack drops what it then holds: three tries.
        for _ in 0..3 {
            bench.now = bench.now + std::time::Duration::from_secs(2);
            bench.dialer.send(bench.now, DialId(1), b"hello");
            bench.run(|events| is_last(events, &DialEvent::Refused));
        }
        assert!(
            is_last(&bench.events, &DialEvent::Refused),
            "{transport:?}: {:?}",
            bench.events
        );
        assert_eq!(bench.dialer.rows.len(), 0);
    }
}

#[test]
fn the_peers_last_words_come_before_the_end() {
    let mut bench = Bench::new(4, 0);
    bench.peer.says = Some(b"goodbye");
    assert!(bench.dialer.open(bench.now, dial(1, Transport::Tcp, 5678)));
    bench.run(|events| is_last(events, &DialEvent::Closed));
    assert_eq!(bench.data(), b"goodbye");
    assert!(is_last(&bench.events, &DialEvent::Closed));
}

#[test]
fn a_silent_peer_gives_no_event() {
    let mut bench = Bench::new(5, 100);
    assert!(bench.dialer.open(bench.now, dial(1, Transport::Tcp, 5678)));
    bench.run(|_| false);
    assert_eq!(bench.events, vec![]);
    assert!(bench.sent.len() > 1, "it tried again");
}

#[test]
fn loss_is_made_good_over_many_seeds() {
    let words: Vec<u8> = (0..20_000_u32).map(|n| n as u8).collect();
    for seed in 1..=20 {
        let mut bench = Bench::new(seed, 10);
        assert!(bench.dialer.open(bench.now, dial(1, Transport::Tcp, 5678)));
        assert!(bench.dialer.send(bench.now, DialId(1), &words));
        let want = words.len();
        for _ in 0..200 {
            if bench.data().len() >= want {
                break;
            }
            let had = bench.events.len();
            bench.run(|events| events.len() > had);
        }
        assert_eq!(bench.data(), words, "seed {seed}");
    }
}

#[test]
fn the_same_seed_gives_the_same_frames() {
    let transcript = |seed| {
        let mut bench = Bench::new(seed, 20);
        assert!(bench.dialer.open(bench.now, dial(1, Transport::Tcp, 5678)));
        assert!(bench.dialer.send(bench.now, DialId(1), b"again"));
        bench.run(|events| events.len() >= 2);
        bench.sent
    };
    assert_eq!(transcript(9), transcript(9));
    assert_ne!(transcript(9), transcript(10));
}

/// The first frame the peer sends back for a fresh dial, with its checksum spoiled as a kernel leaves it.
fn spoiled_answer(bench: &mut Bench) -> Frame {
    while let Some(frame) = bench.dialer.transmit(bench.now) {
        bench.peer.wires.deliver(frame);
    }
    bench.peer.work(bench.now);
    // The peer asks who we are first; the answer lets it speak.
    let asks = bench.peer.wires.outbox.pop_front().unwrap();
    assert!(!bench.dialer.receive(
        bench.now,
        &Frame {
            bytes: asks,
            ..Frame::default()
        }
    ));
    while let Some(frame) = bench.dialer.transmit(bench.now) {
        bench.peer.wires.deliver(frame);
    }
    bench.now = bench.now + std::time::Duration::from_secs(2);
    bench.peer.work(bench.now);
    while let Some(frame) = bench.dialer.transmit(bench.now) {
        bench.peer.wires.deliver(frame);
    }
    bench.peer.work(bench.now);
    let mut bytes = bench.peer.wires.outbox.pop_front().unwrap();
    bytes[14 + 20 + 16] ^= 0x5a;
    Frame {
        bytes,
        ..Frame::default()
    }
}

#[test]
fn an_unfinished_checksum_is_not_held_against_a_frame() {
    let mut bench = Bench::new(11, 0);
    assert!(bench.dialer.open(bench.now, dial(1, Transport::Tcp, 5678)));
    let mut frame = spoiled_answer(&mut bench);
    assert!(bench.dialer.receive(bench.now, &frame), "it was ours");
    assert_eq!(bench.dialer.event(), None, "a wrong checksum opens nothing");
    frame.checksum_unfinished = true;
    assert!(bench.dialer.receive(bench.now, &frame));
    assert_eq!(bench.dialer.event(), Some((DialId(1), DialEvent::Opened)));
}

#[test]
fn other_hardware_and_strange_ports_are_not_heard() {
    let mut bench = Bench::new(12, 0);
    assert!(bench.dialer.open(bench.now, dial(1, Transport::Tcp, 5678)));
    let mut frame = spoiled_answer(&mut bench);
    frame.checksum_unfinished = true;
    let mut forged = frame.clone();
    forged.bytes[11] ^= 1;
    assert!(!bench.dialer.receive(bench.now, &forged), "other hardware");
    let mut strange = frame.clone();
    strange.bytes[14 + 20] ^= 1;
    assert!(!bench.dialer.receive(bench.now, &strange), "another port");
    let mut tagged = frame.clone();
    tagged.vlan = Some(7);
    assert!(!bench.dialer.receive(bench.now, &tagged), "another virtual LAN");
    assert_eq!(bench.dialer.event(), None);
    assert_eq!(bench.dialer.transmit(bench.now), None, "and nothing is answered");
    assert!(bench.dialer.receive(bench.now, &frame));
    assert_eq!(bench.dialer.event(), Some((DialId(1), DialEvent::Opened)));
}

#[test]
fn what_cannot_be_dialled_is_refused_at_once() {
    let mut dialer = UserDialer::new(OWN, 1);
    let good = dial(1, Transport::Udp, 52381);
    let now = Moment::ZERO;
    for bad in [
        Dial {
            mac: None,
            ..good.clone()
        },
        Dial {
            from: None,
            ..good.clone()
        },
        Dial {
            mac: Some(Mac::BROADCAST),
            ..good.clone()
        },
        Dial {
            mac: Some(OWN),
            ..good.clone()
        },
        Dial {
            from: Some(THERE),
            ..good.clone()
        },
        Dial {
            from: Some(Ipv4Addr::UNSPECIFIED),
            ..good.clone()
        },
        Dial {
            to: SocketAddrV4::new(Ipv4Addr::BROADCAST, 80),
            ..good.clone()
        },
        Dial {
            to: SocketAddrV4::new(THERE, 0),
            ..good.clone()
        },
    ] {
        assert!(!dialer.open(now, bad.clone()), "{bad:?}");
    }
    for id in 0..MAX_DIALS as u64 {
        assert!(dialer.open(now, dial(id, Transport::Udp, 52381)));
        assert!(
            !dialer.open(now, dial(id, Transport::Udp, 52381)),
            "the name is in use"
        );
    }
    assert!(!dialer.open(now, dial(999, Transport::Udp, 52381)), "too many");
    dialer.close(now, DialId(3));
    assert!(dialer.open(now, dial(999, Transport::Udp, 52381)));
}

#[test]
fn new_hardware_ends_what_was_open() {
    let mut dialer = UserDialer::new(OWN, 1);
    assert!(dialer.open(Moment::ZERO, dial(1, Transport::Udp, 52381)));
    assert!(dialer.open(Moment::ZERO, dial(2, Transport::Tcp, 80)));
    assert_eq!(dialer.event(), Some((DialId(1), DialEvent::Opened)));
    dialer.set_mac(OWN);
    assert_eq!(dialer.event(), None, "the same hardware changes nothing");
    dialer.set_mac(PEER);
    assert_eq!(dialer.event(), Some((DialId(1), DialEvent::Closed)));
    assert_eq!(dialer.event(), Some((DialId(2), DialEvent::NoWay)));
    assert_eq!(dialer.transmit(Moment::ZERO), None);
}

proptest! {
    #[test]
    fn no_bytes_make_it_panic(
        noise in proptest::collection::vec(any::<u8>(), 0..200),
        spots in proptest::collection::vec((0_usize..120, any::<u8>()), 0..12),
        cut in 0_usize..80,
        unfinished in any::<bool>(),
    ) {
        let mut bench = Bench::new(13, 0);
        prop_assert!(bench.dialer.open(bench.now, dial(1, Transport::Tcp, 5678)));
        let mut frame = spoiled_answer(&mut bench);
        for (at, value) in spots {
            if let Some(byte) = frame.bytes.get_mut(at) {
                *byte = value;
            }
        }
        frame.bytes.truncate(frame.bytes.len().saturating_sub(cut));
        frame.checksum_unfinished = unfinished;
        bench.dialer.receive(bench.now, &frame);
        bench.dialer.receive(bench.now, &Frame { bytes: noise, ..Frame::default() });
        while bench.dialer.transmit(bench.now).is_some() {}
        while bench.dialer.event().is_some() {}
    }
}

//! The carrier against an independent stack, in virtual time.

use std::collections::VecDeque;
use std::time::Duration;

use proptest::prelude::*;
use smoltcp::socket::tcp;
use vocab::Moment;

use super::*;
use crate::user::tests::{FROM, OWN, PEER, Peer, THERE};

const ID: DialId = DialId(1);

/// A wire that takes 100 µs, and loses so many of 100 frames.
struct Bench {
    carrier: Carrier,
    peer: Peer,
    now: Moment,
    under_way: VecDeque<(Moment, bool, Vec<u8>)>,
    loss: u64,
    dice: u64,
    /// The peer says nothing any more.
    dead: bool,
}

impl Bench {
    fn new(seed: u64, loss: u64) -> Self {
        let now = Moment::from_millis(1);
        Self {
            carrier: Carrier::new(now, (OWN, FROM), (PEER, THERE), seed).unwrap(),
            peer: Peer::new(),
            now,
            under_way: VecDeque::new(),
            loss,
            dice: seed | 1,
            dead: false,
        }
    }

    /// One of [`Bench`] whose connection to the peer's echo stands.
    fn open(seed: u64, loss: u64) -> Self {
        let mut bench = Self::new(seed, loss);
        assert!(bench.carrier.open(bench.now, ID, Transport::Tcp, 5678));
        bench.until(|b| b.carrier.stage(ID) == Some(Stage::Open));
        bench
    }

    fn lost(&mut self) -> bool {
        crate::user::mixed(&mut self.dice) % 100 < self.loss
    }

    /// Goes on to the next thing that happens; false when there is none.
    fn step(&mut self) -> bool {
        let arrives = self.now + Duration::from_micros(100);
        while let Some(frame) = self.carrier.transmit(self.now) {
            if !self.dead && !self.lost() {
                self.under_way.push_back((arrives, true, frame));
            }
        }
        while let Some(frame) = self.peer.wires.outbox.pop_front() {
            if !self.dead && !self.lost() {
                self.under_way.push_back((arrives, false, frame));
            }
        }
        let next = [
            self.under_way.front().map(|(at, ..)| *at),
            self.carrier.next_wake(),
            self.peer.wake(self.now),
        ];
        let Some(next) = next.into_iter().flatten().min() else {
            return false;
        };
        self.now = self.now.max(next);
        while self.under_way.front().is_some_and(|(at, ..)| *at <= self.now) {
            let (_, to_peer, bytes) = self.under_way.pop_front().unwrap();
            if to_peer {
                self.peer.wires.deliver(bytes);
            } else {
                let frame = Frame {
                    bytes,
                    ..Frame::default()
                };
                self.carrier.receive(self.now, &frame);
            }
        }
        self.peer.work(self.now);
        true
    }

    #[track_caller]
    fn until(&mut self, mut so: impl FnMut(&mut Self) -> bool) {
        let end = self.now + Duration::from_mins(10);
        for _ in 0..400_000 {
            if so(self) {
                return;
            }
            // What arrived last is worked on in the step that finds nothing more.
            if !self.step() {
                assert!(so(self), "it never came to that, and nothing more happens");
                return;
            }
            assert!(self.now < end, "it never came to that");
        }
        panic!("the bench ran away");
    }

    fn read_all(&mut self) -> Vec<u8> {
        let mut all = Vec::new();
        while self.carrier.read(self.now, ID, |bytes| {
            all.extend_from_slice(bytes);
            bytes.len()
        }) > 0
        {}
        all
    }

    fn peer_state(&self) -> tcp::State {
        self.peer.sockets.get::<tcp::Socket>(self.peer.tcp).state()
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]

    /// Whatever is lost on the wire and however it is cut, all comes back once and in order.
    #[test]
    fn bytes_come_back_as_they_went(seed: u64, loss in 0_u64..10, pieces in prop::collection::vec(1_usize..9_000, 1..12)) {
        let mut bench = Bench::open(seed, loss);
        let whole: Vec<u8> = (0..pieces.iter().sum::<usize>()).map(|n| (n * 7 % 251) as u8).collect();
        let (mut given, mut back) = (0, Vec::new());
        let mut ends = pieces.iter().scan(0, |end, n| { *end += n; Some(*end) }).collect::<VecDeque<_>>();
        bench.until(|b| {
            while let Some(&end) = ends.front() {
                given += b.carrier.write(b.now, ID, &whole[given..end]);
                if given < end { break; }
                ends.pop_front();
            }
            back.extend(b.read_all());
            back.len() == whole.len()
        });
        prop_assert!(back == whole);
        prop_assert_eq!(bench.carrier.stage(ID), Some(Stage::Open));
    }

    /// No frame makes it panic, and none but the host's own on a flow is taken.
    #[test]
    fn any_frame_is_harmless(seed: u64, frames in prop::collection::vec(prop::collection::vec(any::<u8>(), 0..120), 0..20)) {
        let mut bench = Bench::open(seed, 0);
        for bytes in frames {
            let frame = Frame { bytes, ..Frame::default() };
            prop_assert!(!bench.carrier.receive(bench.now, &frame));
        }
        bench.carrier.write(bench.now, ID, b"still");
        let mut back = Vec::new();
        bench.until(|b| { back.extend(b.read_all()); back == b"still" });
    }
}

#[test]
fn whoever_does_not_read_slows_the_host_down_and_nothing_grows() {
    let mut bench = Bench::open(3, 0);
    let piece = vec![7; 16 * 1024];
    let mut given = 0;
    // An echo that nobody reads: what is given ends at what all the buffers hold.
    for _ in 0..20_000 {
        given += bench.carrier.write(bench.now, ID, &piece);
        bench.step();
    }
    let most = 2 * STREAM + 2 * 8_192;
    assert!(given > STREAM && given <= most, "{given} bytes");
    let mut back = 0;
    bench.until(|b| {
        back += b.read_all().len();
        back == given
    });
    assert_eq!(
        bench.carrier.write(bench.now, ID, &piece),
        piece.len(),
        "it goes on"
    );
}

#[test]
fn each_direction_ends_by_itself() {
    let mut bench = Bench::open(4, 5);
    bench.carrier.write(bench.now, ID, b"all of it");
    bench.carrier.finish(bench.now, ID);
    bench.until(|b| b.peer_state() == tcp::State::CloseWait);
    assert!(!bench.carrier.has_ended(ID));
    let mut back = Vec::new();
    bench.until(|b| {
        back.extend(b.read_all());
        back == b"all of it"
    });
    let peer = bench.peer.sockets.get_mut::<tcp::Socket>(bench.peer.tcp);
    peer.send_slice(b", and more").unwrap();
    peer.close();
    bench.until(|b| {
        back.extend(b.read_all());
        b.carrier.has_ended(ID)
    });
    assert_eq!(back, b"all of it, and more");
    bench.until(|b| b.carrier.stage(ID) == Some(Stage::Over));
    bench.carrier.close(bench.now, ID);
    assert_eq!(bench.carrier.stage(ID), None);
    bench.until(|b| b.peer_state() == tcp::State::Closed);
}

#[test]
fn what_the_host_said_before_its_end_is_read_first() {
    let mut bench = Bench::new(5, 0);
    bench.peer.says = Some(b"good night");
    assert!(bench.carrier.open(bench.now, ID, Transport::Tcp, 5678));
    bench.until(|b| b.peer_state() == tcp::State::FinWait2);
    assert_eq!(bench.carrier.stage(ID), Some(Stage::Open));
    assert!(!bench.carrier.has_ended(ID), "not before it is read");
    assert_eq!(bench.read_all(), b"good night");
    assert!(bench.carrier.has_ended(ID));
    assert_eq!(bench.carrier.stage(ID), Some(Stage::Open), "our direction stands");
    bench.carrier.finish(bench.now, ID);
    bench.until(|b| b.carrier.stage(ID) == Some(Stage::Over));
}

#[test]
fn a_reset_is_told_apart_from_an_end_on_both_sides() {
    let mut bench = Bench::open(6, 0);
    bench.peer.sockets.get_mut::<tcp::Socket>(bench.peer.tcp).abort();
    bench.until(|b| b.carrier.stage(ID) == Some(Stage::Cut));
    assert!(!bench.carrier.has_ended(ID));

    let mut bench = Bench::open(7, 0);
    bench.carrier.close(bench.now, ID);
    bench.until(|b| b.peer_state() == tcp::State::Closed);
    assert_eq!(bench.carrier.stage(ID), None);
}

#[test]
fn a_closed_port_refuses_and_a_mute_host_is_silent() {
    let mut bench = Bench::new(8, 0);
    assert!(bench.carrier.open(bench.now, ID, Transport::Tcp, 81));
    bench.until(|b| b.carrier.stage(ID) == Some(Stage::Refused));

    let mut bench = Bench::new(9, 0);
    bench.dead = true;
    assert!(bench.carrier.open(bench.now, ID, Transport::Tcp, 5678));
    let begun = bench.now;
    bench.until(|b| b.carrier.stage(ID) == Some(Stage::Silent));
    assert!(bench.now.since(begun) < OPENING + Duration::from_secs(2));
}

#[test]
fn a_host_that_dies_is_noticed_though_nothing_goes() {
    let mut bench = Bench::open(10, 0);
    let stood = bench.now;
    // While it lives it is asked for a sign of life, and gives it.
    bench.until(|b| b.now > stood + Duration::from_mins(3));
    assert_eq!(bench.carrier.stage(ID), Some(Stage::Open));
    bench.dead = true;
    let died = bench.now;
    bench.until(|b| b.carrier.stage(ID) == Some(Stage::Cut));
    assert!(bench.now.since(died) < DEAD_AFTER + SIGN_EVERY + Duration::from_secs(5));
}

#[test]
fn datagrams_go_both_ways_and_only_the_hosts_own_come_in() {
    let mut bench = Bench::new(11, 0);
    assert!(bench.carrier.open(bench.now, ID, Transport::Udp, 52381));
    assert!(bench.carrier.send(bench.now, ID, b"inquiry"));
    let mut back = None;
    bench.until(|b| {
        // This stack drops what it holds while it learns our hardware: it is asked again.
        if back.is_none() && !b.step() {
            b.now = b.now + Duration::from_secs(2);
            b.carrier.send(b.now, ID, b"inquiry");
        }
        back = back.take().or_else(|| b.carrier.datagram(ID));
        back.is_some()
    });
    assert_eq!(back.unwrap(), b"inquiry");
    assert_eq!(bench.carrier.stage(ID), Some(Stage::Open));
    assert!(bench.carrier.heard().is_some());
    bench.carrier.close(bench.now, ID);
    assert!(!bench.carrier.send(bench.now, ID, b"late"));
}

#[test]
fn flows_are_bounded_and_their_names_are_their_own() {
    let mut bench = Bench::new(12, 0);
    for n in 0..MAX_FLOWS as u64 {
        assert!(bench.carrier.open(bench.now, DialId(n), Transport::Tcp, 5678));
    }
    assert!(!bench.carrier.open(bench.now, DialId(99), Transport::Tcp, 5678));
    assert!(!bench.carrier.open(bench.now, DialId(0), Transport::Udp, 5678));
    bench.carrier.close_all(bench.now);
    assert!(bench.carrier.open(bench.now, DialId(0), Transport::Udp, 5678));
    assert!(!bench.carrier.open(bench.now, DialId(1), Transport::Tcp, 0));
}

#[test]
fn an_address_that_is_no_hosts_is_refused() {
    let now = Moment::ZERO;
    let new = |from, to| Carrier::new(now, (OWN, from), (PEER, to), 1);
    assert!(new(FROM, THERE).is_some());
    assert!(new(FROM, FROM).is_none());
    assert!(new(Ipv4Addr::UNSPECIFIED, THERE).is_none());
    assert!(new(FROM, Ipv4Addr::BROADCAST).is_none());
    assert!(Carrier::new(now, (OWN, FROM), (OWN, THERE), 1).is_none());
}

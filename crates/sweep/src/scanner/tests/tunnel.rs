//! A tunnel: when it stands, what goes out for it, and what ends it.

use std::net::Ipv4Addr;

use link::{DialId, Transport};
use vocab::{AddressRange, Ask, Fact, LinkState, Mac, Moment, Station};
use wire::{Arp, What, arp};

use super::toy::{Toy, US, address, config, mac, ms, own, station};
use crate::{Config, Peer, TunnelNews};

const HOST: Ipv4Addr = Ipv4Addr::new(192, 168, 0, 20);
/// A reset (RFC 9293 section 3.1) in an Ethernet frame with an IPv4 header of 20 bytes.
const FLAGS: usize = 14 + 20 + 13;
const RST: u8 = 4;

fn peer(at: Ipv4Addr) -> Peer {
    Peer {
        address: at,
        mac: mac(20),
    }
}

fn other(at: Ipv4Addr) -> Peer {
    Peer {
        address: at,
        mac: mac(21),
    }
}

fn ranges(text: &str) -> Vec<AddressRange> {
    vec![text.parse().unwrap()]
}

fn news(toy: &mut Toy) -> Vec<TunnelNews> {
    std::iter::from_fn(|| toy.scanner.tunnel_news())
        .map(|(_, news)| news)
        .collect()
}

/// Segments that were sent: when, from which address, to which hardware, and whether they reset.
fn segments(toy: &Toy) -> Vec<(Moment, Ipv4Addr, Mac, bool)> {
    let segment = |(at, bytes): &(Moment, Vec<u8>)| match wire::peek(bytes).unwrap() {
        wire::Heard {
            destination,
            what: What::Ipv4Other { from, .. },
            ..
        } => Some((*at, from, destination, bytes[FLAGS] & RST != 0)),
        _ => None,
    };
    toy.frames.iter().filter_map(segment).collect()
}

fn probes(toy: &Toy) -> Vec<(u64, Ipv4Addr)> {
    let probe = |(at, _, arp): (Moment, Mac, Arp)| arp.is_probe().then_some((at.as_millis(), arp.target_ip));
    toy.arps().into_iter().filter_map(probe).collect()
}

fn open(toy: &mut Toy, id: u64) -> bool {
    let now = toy.now;
    let carrier = toy.scanner.carrier(peer(HOST)).expect("it stands");
    carrier.open(now, DialId(id), Transport::Tcp, 80)
}

/// A toy whose tunnel stands, and from where.
fn standing() -> (Toy, Ipv4Addr) {
    let mut toy = Toy::new(config());
    toy.scanner
        .open_tunnel(ms(0), peer(HOST), ranges("192.168.0.1-254"));
    toy.run(ms(1_550));
    let [TunnelNews::Stands { from, borrowed: true }] = news(&mut toy)[..] else {
        panic!("it does not stand");
    };
    (toy, from)
}

#[test]
fn it_stands_after_three_probes_and_speaks_to_its_host_alone() {
    let (mut toy, from) = standing();
    let sent = probes(&toy);
    assert_eq!(sent, [(0, from), (500, from), (1_000, from)]);
    assert_eq!(toy.admitted.last().unwrap().1, [from]);
    assert_eq!(segments(&toy), [], "nothing before it is asked for");
    // As many as may be, at one moment: the pace does not hold them.
    for id in 0..16 {
        assert!(open(&mut toy, id));
    }
    let now = toy.now;
    toy.run(now);
    let out = segments(&toy);
    assert_eq!(out.len(), 16);
    assert!(
        out.iter()
            .all(|(at, own, to, rst)| (*at, *own, *to, *rst) == (now, from, mac(20), false))
    );
    // It holds the address for as long as it stands, with nothing open too.
    toy.run(ms(600_000));
    assert_eq!(news(&mut toy), []);
    assert_eq!(toy.admitted.last().unwrap().1, [from]);
    assert!(toy.scanner.carrier(peer(HOST)).is_some());
}

#[test]
fn when_it_is_closed_its_host_is_freed_and_its_address_is_given_back() {
    let (mut toy, from) = standing();
    open(&mut toy, 1);
    toy.run(ms(1_560));
    let now = toy.now;
    toy.scanner.close_tunnel(now, peer(HOST));
    toy.run(ms(1_570));
    let out = segments(&toy);
    assert_eq!(
        out.last().map(|s| (s.1, s.3)),
        Some((from, true)),
        "a reset is the last"
    );
    assert!(toy.admitted.last().unwrap().1.is_empty());
    assert!(toy.scanner.carrier(peer(HOST)).is_none());
    let frames = toy.frames.len();
    toy.run(ms(60_000));
    assert_eq!(toy.frames.len(), frames);
}

#[test]
fn whoever_shows_up_at_the_address_has_it_at_once_and_another_is_borrowed() {
    let guest = mac(99);
    for frame in [
        |at: Ipv4Addr| arp::probe_frame(mac(99), at, Mac::BROADCAST),
        |at: Ipv4Addr| arp::request_frame(mac(99), at, at, Mac::BROADCAST),
    ] {
        let (mut toy, from) = standing();
        open(&mut toy, 1);
        toy.run(ms(2_000));
        let before = segments(&toy).len();
        toy.hear(&frame(from));
        toy.run(ms(2_010));
        assert_eq!(news(&mut toy), [TunnelNews::Taken { from }], "{guest}");
        assert!(toy.scanner.carrier(peer(HOST)).is_none());
        let out = segments(&toy);
        assert_eq!(out.len(), before + 1);
        assert!(out[before].3, "its last word is a reset");
        toy.run(ms(30_000));
        let [
            TunnelNews::Stands {
                from: next,
                borrowed: true,
            },
        ] = news(&mut toy)[..]
        else {
            panic!("no other was borrowed");
        };
        assert_ne!(next, from);
        assert_eq!(segments(&toy).len(), before + 1, "nothing more in the old name");
        assert!(open(&mut toy, 2));
    }
}

#[test]
fn its_address_may_be_taken_any_number_of_times() {
    let (mut toy, mut from) = standing();
    for n in 0..6 {
        toy.hear(&arp::probe_frame(mac(99), from, Mac::BROADCAST));
        let end = toy.now + core::time::Duration::from_secs(15);
        toy.run(end);
        let got = news(&mut toy);
        let [TunnelNews::Taken { .. }, TunnelNews::Stands { from: next, .. }] = got[..] else {
            panic!("{n}: {got:?}");
        };
        from = next;
    }
}

#[test]
fn under_listen_only_there_is_no_way_and_nothing_leaves() {
    let silent = Config {
        listen_only: true,
        ..config()
    };
    let mut toy = Toy::new(silent);
    toy.scanner
        .open_tunnel(ms(0), peer(HOST), ranges("192.168.0.1-254"));
    toy.run(ms(5_000));
    assert_eq!(news(&mut toy), [TunnelNews::NoWay]);
    assert_eq!(toy.frames.len(), 0);

    let (mut toy, _) = standing();
    open(&mut toy, 1);
    let now = toy.now;
    toy.scanner.set_listen_only(now, true);
    toy.listen_only = true;
    let frames = toy.frames.len();
    toy.run(ms(10_000));
    assert_eq!(news(&mut toy), [TunnelNews::Lost, TunnelNews::NoWay]);
    assert_eq!(toy.frames.len(), frames, "not even resets");
}

#[test]
fn without_anything_to_borrow_there_is_no_way() {
    let mut toy = Toy::new(config());
    toy.scanner.open_tunnel(ms(0), peer(HOST), Vec::new());
    toy.run(ms(5_000));
    assert_eq!(news(&mut toy), [TunnelNews::NoWay]);
    assert_eq!(toy.frames.len(), 0);
}

#[test]
fn it_comes_back_by_itself_when_the_link_does() {
    let (mut toy, from) = standing();
    open(&mut toy, 1);
    toy.run(ms(2_000));
    let down = Station {
        state: LinkState::NoCarrier,
        ..station()
    };
    toy.station(down);
    toy.run(ms(20_000));
    assert_eq!(news(&mut toy), [TunnelNews::Lost]);
    assert!(toy.scanner.carrier(peer(HOST)).is_none());
    toy.station(station());
    toy.run(ms(40_000));
    let got = news(&mut toy);
    assert!(
        matches!(got[..], [TunnelNews::Stands { borrowed: true, .. }]),
        "{got:?}"
    );
    let late = |s: &(Moment, Ipv4Addr, Mac, bool)| s.0 > ms(2_000);
    assert!(
        !segments(&toy).iter().any(late),
        "nothing of what was lost: {from}"
    );
}

#[test]
fn in_our_own_subnet_it_borrows_too_and_never_what_is_ours() {
    let mut toy = Toy::new(config());
    toy.scanner
        .open_tunnel(ms(0), peer(address(20)), ranges("10.40.8.4-8"));
    toy.run(ms(3_000));
    let [TunnelNews::Stands { from, borrowed: true }] = news(&mut toy)[..] else {
        panic!("it does not stand");
    };
    assert!(from != US && from != address(20));
    assert!((4..=8).contains(&from.octets()[3]), "{from}");
    // With ours alone there is none.
    let now = toy.now;
    toy.scanner
        .open_tunnel(now, peer(address(20)), ranges("10.40.8.5-5"));
    toy.run(now + core::time::Duration::from_secs(3));
    assert_eq!(news(&mut toy), [TunnelNews::NoWay]);
}

#[test]
fn a_question_to_the_same_subnet_shares_its_loan_and_does_not_end_it() {
    let (mut toy, from) = standing();
    toy.ask(Ask::ControlAway {
        address: HOST,
        mac: mac(20),
        port: "tcp:9000".parse().unwrap(),
        ranges: ranges("192.168.0.1-254"),
    });
    toy.run(ms(60_000));
    let over = toy.facts(|_, fact| matches!(fact, Fact::Control { .. }).then_some(()));
    assert_eq!(over.len(), 1, "it was asked in vain");
    assert_eq!(probes(&toy).len(), 3, "no other was probed for");
    assert_eq!(news(&mut toy), []);
    assert!(segments(&toy).iter().all(|s| s.1 == from));
    assert!(open(&mut toy, 1));
    // The host's own question is answered, and ends nothing.
    toy.hear(&arp::request_frame(mac(20), HOST, from, Mac::BROADCAST));
    toy.run(ms(60_010));
    let answers = toy
        .arps()
        .into_iter()
        .filter(|(_, to, a)| *to == mac(20) && a.sender_ip == from);
    assert_eq!(answers.count(), 1);
    assert_eq!(own(), station().mac);
    assert_eq!(news(&mut toy), []);
}

#[test]
fn tunnels_to_one_subnet_share_a_loan_and_each_speaks_to_its_own_hardware() {
    let (mut toy, from) = standing();
    // Another at the same address, another address of the same hardware, and one on another subnet.
    let (twin, second, far) = (
        other(HOST),
        peer(Ipv4Addr::new(192, 168, 0, 21)),
        other(Ipv4Addr::new(192, 168, 7, 20)),
    );
    let now = toy.now;
    for to in [twin, second, far] {
        let [a, b, c, _] = to.address.octets();
        toy.scanner
            .open_tunnel(now, to, ranges(&format!("{a}.{b}.{c}.1-254")));
    }
    toy.run(ms(4_000));
    let mut stands: Vec<(Peer, Ipv4Addr)> = Vec::new();
    while let Some((to, news)) = toy.scanner.tunnel_news() {
        let TunnelNews::Stands { from, borrowed: true } = news else {
            panic!("{to:?}: {news:?}");
        };
        stands.push((to, from));
    }
    assert_eq!(stands[..2], [(twin, from), (second, from)]);
    assert_eq!(stands.len(), 3);
    assert_eq!(stands[2].0, far);
    assert_ne!(stands[2].1, from);
    assert_eq!(probes(&toy).len(), 6, "one loan for each subnet");
    let now = toy.now;
    for to in [peer(HOST), twin, second, far] {
        let carrier = toy.scanner.carrier(to).unwrap();
        assert!(carrier.open(now, DialId(1), Transport::Tcp, 80));
    }
    toy.run(now);
    let mut to: Vec<Mac> = segments(&toy).iter().map(|s| s.2).collect();
    to.sort();
    assert_eq!(to, [mac(20), mac(20), mac(21), mac(21)]);
    // One less leaves the others as they are; whoever takes the address ends all that speak from it.
    toy.scanner.close_tunnel(now, twin);
    toy.run(now + core::time::Duration::from_mins(1));
    assert!(toy.scanner.carrier(twin).is_none() && toy.scanner.carrier(second).is_some());
    toy.hear(&arp::probe_frame(mac(99), from, Mac::BROADCAST));
    let now = toy.now;
    toy.run(now + core::time::Duration::from_millis(10));
    let taken: Vec<_> = std::iter::from_fn(|| toy.scanner.tunnel_news()).collect();
    let took = TunnelNews::Taken { from };
    assert_eq!(taken, [(peer(HOST), took), (second, took)]);
    assert!(toy.scanner.carrier(far).is_some());
}

#[test]
fn more_tunnels_than_there_may_be_have_no_way() {
    let mut toy = Toy::new(config());
    for n in 0..300_u16 {
        let [high, low] = n.to_be_bytes();
        let to = peer(Ipv4Addr::new(172, 16, high, low));
        toy.scanner.open_tunnel(ms(0), to, Vec::new());
    }
    let refused = std::iter::from_fn(|| toy.scanner.tunnel_news());
    assert!(
        refused
            .filter(|(to, _)| u32::from(to.address) & 0xffff >= 256)
            .count()
            == 44
    );
}

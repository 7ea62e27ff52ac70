//! Hosts on foreign subnets, asked from borrowed addresses: what goes out, and what ends it.

use std::net::Ipv4Addr;

use proptest::prelude::*;
use vocab::{
    AddressRange, ArpForm, ArpOp, Ask, Budget, ControlState, Fact, LinkState, Mac, Moment, Rank, Station,
};
use wire::{Arp, What, arp};

use super::arp_ask;
use super::toy::{Toy, config, mac, ms, own, station};
use crate::{Config, Hold};

const HOST: Ipv4Addr = Ipv4Addr::new(192, 168, 0, 20);

fn ask(port: &str) -> Ask {
    Ask::ControlAway {
        address: HOST,
        mac: mac(20),
        port: port.parse().unwrap(),
        ranges: vec!["192.168.0.1-254".parse().unwrap()],
    }
}

/// IPv4 frames that were sent: when, from which address, to which hardware.
fn packets(toy: &Toy) -> Vec<(Moment, Ipv4Addr, Mac)> {
    let packet = |(at, bytes): &(Moment, Vec<u8>)| match wire::peek(bytes).unwrap() {
        wire::Heard {
            destination,
            what: What::Ipv4Other { from, .. } | What::Udp { from, .. },
            ..
        } => Some((*at, from, destination)),
        _ => None,
    };
    toy.frames.iter().filter_map(packet).collect()
}

/// Probes that were sent: when, and for which address.
fn probes(toy: &Toy) -> Vec<(u64, Ipv4Addr)> {
    let probe = |(at, to, arp): (Moment, Mac, Arp)| {
        (arp.is_probe() && to == Mac::BROADCAST).then_some((at.as_millis(), arp.target_ip))
    };
    toy.arps().into_iter().filter_map(probe).collect()
}

fn borrowed(toy: &Toy) -> Vec<(u64, Ipv4Addr)> {
    toy.facts(|at, fact| match fact {
        Fact::Borrowed { address } => Some((at.as_millis(), *address)),
        _ => None,
    })
}

fn told(toy: &Toy) -> Vec<Option<ControlState>> {
    toy.facts(|_, fact| match fact {
        Fact::Control { state, .. } => Some(Some(*state)),
        Fact::ControlNotAsked { .. } => Some(None),
        _ => None,
    })
}

fn not_asked(toy: &Toy) -> usize {
    told(toy).iter().filter(|t| t.is_none()).count()
}

/// A toy whose host is spoken to from the address that is given.
fn standing() -> (Toy, Ipv4Addr) {
    let mut toy = Toy::new(config());
    toy.ask(ask("http"));
    toy.run(ms(1_550));
    let address = borrowed(&toy)[0].1;
    assert_eq!(packets(&toy)[0].1, address);
    (toy, address)
}

#[test]
fn three_probes_then_the_link_is_opened_then_the_dial_and_then_all_is_as_before() {
    let mut toy = Toy::new(config());
    toy.ask(ask("http"));
    toy.run(ms(30_000));
    let asked = probes(&toy);
    let address = asked[0].1;
    assert_eq!(asked, [(0, address), (500, address), (1_000, address)]);
    assert_eq!(borrowed(&toy), [(1_500, address)]);
    assert_eq!(toy.admitted[0], (ms(1_500), vec![address]));
    let sent = packets(&toy);
    assert!(sent[0].0 >= ms(1_500));
    assert!(
        sent.iter()
            .all(|(_, from, to)| (*from, *to) == (address, mac(20)))
    );
    assert_eq!(told(&toy), [Some(ControlState::Silent)]);
    assert_eq!(toy.dials.len(), 0, "nothing goes through the system's sockets");
    let (end, closed) = toy.admitted[1].clone();
    assert_eq!((closed, toy.admitted.len()), (vec![], 2));
    assert!(end < ms(8_000));
    toy.hear(&arp::request_frame(mac(20), HOST, address, Mac::BROADCAST));
    let before = toy.frames.len();
    toy.run(ms(60_000));
    assert_eq!(toy.frames.len(), before, "nobody answers for it any more");
}

#[test]
fn the_host_alone_is_answered_and_only_while_the_loan_stands() {
    let (mut toy, address) = standing();
    let replies = |toy: &Toy| -> Vec<(Mac, Ipv4Addr, Mac)> {
        toy.arps()
            .into_iter()
            .filter(|(_, _, arp)| arp.op == ArpOp::Reply)
            .map(|(_, to, arp)| (to, arp.sender_ip, arp.sender_mac))
            .collect()
    };
    let somebody = Ipv4Addr::new(192, 168, 0, 9);
    toy.hear(&arp::request_frame(mac(9), somebody, address, Mac::BROADCAST));
    toy.run_for(std::time::Duration::from_millis(10));
    assert_eq!(replies(&toy), []);
    toy.hear(&arp::request_frame(mac(20), HOST, address, Mac::BROADCAST));
    toy.run_for(std::time::Duration::from_millis(10));
    assert_eq!(replies(&toy), [(mac(20), address, own())]);
    assert!(
        toy.arps()
            .iter()
            .all(|(_, _, arp)| arp.sender_ip != arp.target_ip),
        "no announcement"
    );
}

#[test]
fn whoever_claims_or_probes_for_the_address_has_it_at_once() {
    let claim = |a| arp::request_frame(mac(9), a, Ipv4Addr::new(192, 168, 0, 1), Mac::BROADCAST);
    let announce = |a| arp::request_frame(mac(9), a, a, Mac::BROADCAST);
    let probe = |a| arp::probe_frame(mac(9), a, Mac::BROADCAST);
    let reply = |a| arp::reply_frame(mac(9), a, own(), Ipv4Addr::UNSPECIFIED);
    let by: [&dyn Fn(Ipv4Addr) -> Vec<u8>; 4] = [&claim, &announce, &probe, &reply];
    for (frame, early) in by.iter().flat_map(|f| [(f, true), (f, false)]) {
        let (mut toy, address) = if early {
            let mut toy = Toy::new(config());
            toy.ask(ask("http"));
            toy.run(ms(700));
            let address = probes(&toy)[0].1;
            (toy, address)
        } else {
            standing()
        };
        toy.hear(&frame(address));
        let so_far = toy.frames.len();
        toy.run(ms(60_000));
        // The connection is closed by a reset, which goes to the host alone; after that no word.
        let from: Vec<usize> = packets(&toy)
            .iter()
            .zip(0..)
            .filter(|(p, _)| p.1 == address)
            .map(|(_, n)| n)
            .collect();
        let later = toy.frames[so_far..]
            .iter()
            .filter(|(_, bytes)| matches!(bytes.get(26..30), Some(a) if a == address.octets()))
            .count();
        assert_eq!((from.is_empty(), later), (early, usize::from(!early)));
        let next = borrowed(&toy).last().unwrap().1;
        assert_ne!(next, address);
        assert_eq!(
            told(&toy),
            [Some(ControlState::Silent)],
            "asked from another address"
        );
        assert!(probes(&toy).iter().all(|(at, a)| *a == next || *at < 1_600));
    }
}

#[test]
fn listen_only_ends_it_without_a_frame() {
    let (mut toy, address) = standing();
    toy.scanner.set_listen_only(toy.now, true);
    toy.listen_only = true;
    let before = toy.frames.len();
    toy.hear(&arp::request_frame(mac(20), HOST, address, Mac::BROADCAST));
    toy.run(ms(20_000));
    assert_eq!(toy.frames.len(), before);
    assert_eq!(told(&toy), []);
    toy.listen_only = false;
    toy.scanner.set_listen_only(toy.now, false);
    toy.run(ms(30_000));
    assert_eq!(toy.admitted.last().unwrap().1, [] as [Ipv4Addr; 0]);
    assert_eq!(toy.frames.len(), before, "and it does not go on by itself");
    toy.ask(ask("http"));
    toy.run(ms(31_600));
    assert_eq!(borrowed(&toy).len(), 2);
}

#[test]
fn another_station_ends_it_and_an_address_there_makes_it_needless() {
    let changes: [&dyn Fn(&mut Station); 4] = [
        &|s| s.state = LinkState::NoCarrier,
        &|s| s.index = 9,
        &|s| s.mac = mac(77),
        &|s| s.addresses.push("192.168.0.5/24".parse().unwrap()),
    ];
    for (n, change) in changes.iter().enumerate() {
        let (mut toy, address) = standing();
        let mut other = station();
        change(&mut other);
        toy.station(other);
        let before = packets(&toy).len();
        toy.run(ms(20_000));
        let after: Vec<_> = packets(&toy)[before..].iter().map(|p| p.1).collect();
        // Where the link is still the same the host is told by a reset.
        assert_eq!(after, if n == 3 { vec![address] } else { vec![] }, "{n}");
        assert_eq!(told(&toy), []);
        if n == 3 {
            toy.ask(ask("http"));
            toy.run(ms(20_100));
            assert_eq!(toy.dials.len(), 1, "through the system's sockets now");
        }
    }
}

#[test]
fn what_was_heard_is_never_borrowed_and_nothing_is_where_all_was() {
    let mut toy = Toy::new(config());
    for n in 2..=253_u8 {
        let address = Ipv4Addr::new(192, 168, 0, n);
        match n {
            40 => {}
            // Used, looked for, and given by a server, in turn.
            n if n % 3 == 0 => toy.hear(&arp::request_frame(mac(n), address, HOST, Mac::BROADCAST)),
            n if n % 3 == 1 => toy.hear(&arp::request_frame(mac(1), HOST, address, Mac::BROADCAST)),
            _ => toy.hear(&super::dhcp::offer_of(address)),
        }
    }
    toy.ask(ask("http"));
    toy.run(ms(20_000));
    assert_eq!(borrowed(&toy), [(1_500, Ipv4Addr::new(192, 168, 0, 40))]);
    toy.hear(&arp::probe_frame(
        mac(1),
        Ipv4Addr::new(192, 168, 0, 40),
        Mac::BROADCAST,
    ));
    toy.ask(ask("rtsp"));
    toy.run(ms(60_000));
    assert_eq!((borrowed(&toy).len(), not_asked(&toy)), (1, 1));
}

#[test]
fn the_first_probe_keeps_the_manners_and_the_others_belong_to_it() {
    let mut toy = Toy::new(config());
    let only = Ipv4Addr::new(192, 168, 0, 40);
    toy.ask(arp_ask(only, ArpForm::Nobody, Rank::Rest, Budget::Pass));
    toy.run(ms(3_000));
    let mut narrow = ask("http");
    if let Ask::ControlAway { ranges, .. } = &mut narrow {
        *ranges = vec![AddressRange::new(only, only).unwrap()];
    }
    toy.ask(narrow.clone());
    toy.run(ms(30_000));
    let times: Vec<u64> = probes(&toy).iter().map(|p| p.0).collect();
    assert_eq!(times, [0, 10_000, 10_500, 11_000]);
    // A device in its first moments is left in peace.
    let mut toy = Toy::new(config());
    toy.hear(&arp::probe_frame(
        mac(9),
        Ipv4Addr::new(172, 16, 0, 9),
        Mac::BROADCAST,
    ));
    toy.ask(narrow);
    toy.run(ms(30_000));
    let times: Vec<u64> = probes(&toy).iter().map(|p| p.0).collect();
    assert_eq!(times, [10_000, 10_500, 11_000]);
}

#[test]
fn where_it_cannot_be_there_is_no_way() {
    let mut plain = Toy::new(Config {
        mode: vocab::Mode::Unprivileged,
        ..config()
    });
    plain.ask(ask("http"));
    assert_eq!(plain.frames.len(), 0);
    plain.run(ms(5_000));
    assert_eq!((not_asked(&plain), plain.frames.len()), (1, 0));

    let mut shut = Toy::new(config());
    shut.closed_filter = Some(Hold::Down);
    shut.ask(ask("http"));
    shut.run(ms(5_000));
    assert_eq!((not_asked(&shut), packets(&shut).len()), (1, 0));

    let mut dead = Toy::new(config());
    dead.refuse = Some(Hold::Down);
    dead.ask(ask("http"));
    dead.run(ms(60_000));
    assert_eq!((not_asked(&dead), dead.frames.len()), (1, 0));
}

#[test]
fn all_of_it_counts_in_the_pace() {
    let mut toy = Toy::new(Config {
        pace: vocab::Pace::House,
        ..config()
    });
    for port in ["http", "visca-udp", "visca-raw-udp"] {
        toy.ask(ask(port));
    }
    toy.run(ms(60_000));
    assert_eq!(not_asked(&toy), 0);
    for (n, (from, _)) in toy.frames.iter().enumerate() {
        // Ten a second, and what one connection was charged in advance.
        let burst = 9;
        for (m, (to, _)) in toy.frames.iter().enumerate().skip(n) {
            let most = to.since(*from).as_millis() as usize / 100 + burst;
            assert!(m + 1 - n <= most, "{} frames in {:?}", m + 1 - n, to.since(*from));
        }
    }
}

/// What happens in a random course.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Event {
    /// Somebody shows up at this address, in one of three ways.
    Heard(u8, u8),
    /// One of three ports is asked.
    Asked(usize),
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]
    /// Whatever is heard: no frame ever leaves from an address that is not ours and is outside the
    /// ranges or was heard before, and a reset is the last that leaves from one heard since.
    #[test]
    fn nothing_is_ever_said_from_an_address_that_may_not_be_borrowed(
        first in 2_u8..240,
        span in 0_u8..14,
        heard in prop::collection::vec((0_u64..9_000, 2_u8..=253, 0_u8..3), 0..40),
        asks in prop::collection::vec((0_u64..6_000, 0_usize..3), 1..6),
    ) {
        let at = |d: u8| Ipv4Addr::new(192, 168, 0, d);
        let range = AddressRange::new(at(first), at(first + span)).unwrap();
        let mut toy = Toy::new(config());
        let heard = heard.iter().map(|(when, d, how)| (*when, Event::Heard(*d, *how)));
        let asked = asks.iter().map(|(when, port)| (*when, Event::Asked(*port)));
        let mut all: Vec<(u64, Event)> = heard.chain(asked).collect();
        all.sort();
        let mut known: Vec<(Moment, Ipv4Addr)> = Vec::new();
        for (when, event) in all {
            toy.run(ms(when));
            match event {
                Event::Heard(d, how) => {
                    known.push((toy.now, at(d)));
                    let bytes = match how {
                        0 => arp::request_frame(mac(9), at(d), at(d), Mac::BROADCAST),
                        1 => arp::probe_frame(mac(9), at(d), Mac::BROADCAST),
                        _ => arp::reply_frame(mac(9), at(d), own(), Ipv4Addr::UNSPECIFIED),
                    };
                    toy.hear(&bytes);
                }
                Event::Asked(port) => {
                    let mut ask = ask(["http", "rtsp", "visca-udp"][port]);
                    if let Ask::ControlAway { ranges, .. } = &mut ask {
                        *ranges = vec![range];
                    }
                    toy.ask(ask);
                }
            }
        }
        toy.run(ms(60_000));
        let before = |a: Ipv4Addr, t: Moment| known.iter().any(|(at, k)| *k == a && *at < t);
        for (t, _, arp) in toy.arps() {
            prop_assert!(arp.sender_ip.is_unspecified(), "no host here asks for a borrowed address");
            prop_assert!(range.contains(arp.target_ip) && !before(arp.target_ip, t), "{}", arp.target_ip);
        }
        let mut after = std::collections::BTreeMap::new();
        for (t, from, to) in packets(&toy) {
            prop_assert_eq!(to, mac(20));
            prop_assert!(range.contains(from) && from != HOST, "{}", from);
            if before(from, t) {
                *after.entry(from).or_insert(0) += 1;
            }
        }
        prop_assert!(after.values().all(|n| *n <= 1), "{after:?}");
    }
}

#[test]
fn a_full_queue_neither_refuses_the_probe_nor_pushes_it_out() {
    for before in [true, false] {
        let mut toy = Toy::new(config());
        let fill = |toy: &mut Toy| {
            for n in 0..=crate::queue::QUEUE_MAX as u32 {
                toy.ask(Ask::Arp {
                    address: Ipv4Addr::from(0x0a28_0000 + n),
                    form: ArpForm::Broadcast,
                    rank: Rank::Rig,
                    budget: Budget::Pass,
                });
            }
        };
        if before {
            fill(&mut toy);
        }
        toy.ask(ask("http"));
        if !before {
            fill(&mut toy);
        }
        toy.run(ms(40_000));
        assert_eq!(told(&toy), [Some(ControlState::Silent)], "full before: {before}");
        assert_eq!(toy.admitted.last().map(|(_, a)| a.len()), Some(0), "given back");
    }
}

#[test]
fn a_loan_ends_where_too_many_questions_wait_to_take_its_own() {
    let mut toy = Toy::new(config());
    let near = |n: u32| Ask::Control {
        address: Ipv4Addr::from(0x0a28_0800 + n % 250),
        mac: Some(mac(1)),
        port: format!("tcp:{}", 1_000 + n / 250).parse().unwrap(),
    };
    for n in 0..5_000 {
        toy.ask(near(n));
    }
    toy.ask(ask("http"));
    toy.run(ms(3_000));
    let from = borrowed(&toy);
    assert_eq!(from.len(), 1);
    assert_eq!(toy.admitted.last().map(|(_, a)| a.len()), Some(0), "given back");
    assert!(packets(&toy).iter().all(|(_, sender, _)| *sender != from[0].1));
    assert!(not_asked(&toy) >= 1);
}

//! The question for DHCP servers: one DISCOVER, rarely, and never more than that.

use std::net::Ipv4Addr;
use std::time::Duration;

use link::Frame;
use proptest::prelude::*;
use vocab::{Ask, DhcpOffer, Fact, LinkState, Mac, Mode, Moment, Station};
use wire::dhcp::{Kind, Message};
use wire::{Path, Udp, What};

use super::toy::{Toy, address, config, mac, own, station};
use crate::{Config, Hold};

const ASK: Ask = Ask::Dhcp { by_hand: false };
const BY_HAND: Ask = Ask::Dhcp { by_hand: true };
const MASK: Ipv4Addr = Ipv4Addr::new(255, 255, 255, 0);

/// The DHCP messages that the scanner sent, each with its time.
fn sent(toy: &Toy) -> Vec<(Moment, Message)> {
    let dhcp = |(at, bytes): &(Moment, Vec<u8>)| match wire::peek(bytes).unwrap().what {
        What::Dhcp { message, .. } => Some((*at, *message)),
        _ => None,
    };
    toy.frames.iter().filter_map(dhcp).collect()
}

fn times(toy: &Toy) -> Vec<u64> {
    sent(toy).iter().map(|(at, _)| at.as_millis()).collect()
}

fn offers(toy: &Toy) -> Vec<DhcpOffer> {
    toy.facts(|_, fact| match fact {
        Fact::DhcpOffer(offer) => Some(offer.clone()),
        _ => None,
    })
}

fn over(toy: &Toy) -> Vec<(u64, u64)> {
    toy.facts(|at, fact| match fact {
        Fact::DhcpOver { sent } => Some((sent.as_millis(), at.as_millis())),
        _ => None,
    })
}

fn malformed(toy: &Toy) -> u64 {
    let total = |_, fact: &Fact| match fact {
        Fact::Malformed { total } => Some(*total),
        _ => None,
    };
    toy.facts(total).last().copied().unwrap_or(0)
}

/// Server `n`'s answer to the last DISCOVER.
fn offer(toy: &Toy, n: u8) -> Message {
    let (_, question) = sent(toy).pop().expect("a DISCOVER");
    Message {
        mask: Some(MASK),
        routers: vec![address(1), address(2)],
        ..Message::answer(&question, Kind::Offer, address(n), address(100 + n), 3_600)
    }
}

fn frame(source: Mac, from: Ipv4Addr, message: &Message) -> Vec<u8> {
    let path = Path {
        from_mac: source,
        from,
        to_mac: Mac::BROADCAST,
        to: Ipv4Addr::BROADCAST,
    };
    Udp {
        source_port: 67,
        destination_port: 68,
        payload: &message.emit(),
    }
    .frame(path)
}

/// A server's offer of `given` to somebody else.
pub(super) fn offer_of(given: Ipv4Addr) -> Vec<u8> {
    let mut message = Message::new(Kind::Offer, 1, mac(200));
    message.given = given;
    message.server = Some(address(1));
    frame(mac(1), address(1), &message)
}

fn answer(toy: &mut Toy, n: u8) {
    let bytes = frame(mac(n), address(n), &offer(toy, n));
    toy.hear(&bytes);
}

#[test]
fn a_discover_of_our_own_hardware_to_everybody() {
    let mut toy = Toy::new(config());
    toy.ask(ASK);
    toy.run_for(Duration::from_secs(1));
    assert_eq!(toy.frames.len(), 1);
    let heard = wire::peek(&toy.frames[0].1).unwrap();
    assert_eq!((heard.source, heard.destination), (own(), Mac::BROADCAST));
    let What::Dhcp { from, to, message } = heard.what else {
        panic!("{heard:?}")
    };
    assert_eq!((from, to), (Ipv4Addr::UNSPECIFIED, Ipv4Addr::BROADCAST));
    // What RFC 2131 (section 3.1, table 5) lets a DISCOVER say, and nothing beside it: no address
    // is wished for, no name told.
    assert_eq!(*message, Message::discover(message.xid, own(), None));
    assert!(message.broadcast);
    assert_eq!(message.parameters, [1, 3, 6, 51, 54]);
    assert_eq!(
        toy.facts(|_, f| matches!(f, Fact::DhcpAsked { again: false }).then_some(())),
        [()]
    );
}

#[test]
fn without_an_offer_it_is_repeated_once_and_over_five_seconds_later() {
    let mut toy = Toy::new(config());
    toy.ask(ASK);
    toy.run_for(Duration::from_mins(5));
    assert_eq!(times(&toy), [0, 5_000]);
    let all = sent(&toy);
    assert_eq!(all[0].1, all[1].1, "the same question again");
    assert_eq!(over(&toy), [(0, 10_000)]);
    let asked = toy.facts(|_, f| match f {
        Fact::DhcpAsked { again } => Some(*again),
        _ => None,
    });
    assert_eq!(asked, [false, true]);
}

#[test]
fn an_offer_is_told_once_and_nothing_is_taken() {
    let mut toy = Toy::new(config());
    toy.ask(ASK);
    toy.run_for(Duration::from_millis(100));
    for _ in 0..3 {
        answer(&mut toy, 1);
        // The same identifier from other hardware is another server.
        let twin = frame(mac(9), address(1), &offer(&toy, 1));
        toy.hear(&twin);
    }
    toy.run_for(Duration::from_mins(2));
    let told = DhcpOffer {
        server: address(1),
        mac: mac(1),
        offered: address(101),
        mask: Some(MASK),
        router: Some(address(1)),
        lease_s: Some(3_600),
    };
    let twin = DhcpOffer {
        mac: mac(9),
        ..told.clone()
    };
    assert_eq!(offers(&toy), [told, twin]);
    assert_eq!(times(&toy), [0], "neither a repetition nor a REQUEST");
    assert_eq!(over(&toy), [(0, 5_000)]);
}

#[test]
fn a_late_offer_counts_and_one_for_somebody_else_does_not() {
    let mut toy = Toy::new(config());
    toy.ask(ASK);
    toy.run_for(Duration::from_millis(100));
    let good = offer(&toy, 1);
    let mut wrong = [good.clone(), good.clone(), good.clone(), good.clone()];
    wrong[0].xid ^= 1;
    wrong[1].client = mac(77);
    wrong[2].kind = Kind::Ack;
    wrong[3].kind = Kind::Nak;
    for message in &wrong {
        toy.hear(&frame(mac(1), address(1), message));
    }
    toy.hear_frame(&Frame {
        bytes: frame(mac(1), address(1), &good),
        vlan: Some(7),
        ..Frame::default()
    });
    toy.hear(&frame(own(), address(1), &good));
    assert_eq!((offers(&toy).len(), malformed(&toy)), (0, 0));
    // One that offers nothing, or comes from nowhere.
    let nothing = Message {
        given: Ipv4Addr::UNSPECIFIED,
        ..good.clone()
    };
    toy.hear(&frame(mac(1), address(1), &nothing));
    let nowhere = Message {
        server: Some(Ipv4Addr::BROADCAST),
        ..good.clone()
    };
    toy.hear(&frame(mac(1), address(1), &nowhere));
    toy.run_for(Duration::from_secs(20));
    assert_eq!((offers(&toy).len(), malformed(&toy)), (0, 2));
    // Option 54 is missing: the packet's source says who it is.
    let nameless = Message {
        server: None,
        mask: None,
        routers: Vec::new(),
        lease_s: None,
        ..good
    };
    toy.hear(&frame(mac(1), address(1), &nameless));
    let late = offers(&toy);
    assert_eq!((late.len(), late[0].server), (1, address(1)));
    assert_eq!(
        (late[0].mask, late[0].router, late[0].lease_s),
        (None, None, None)
    );
}

#[test]
fn a_storm_of_offers_is_bounded() {
    let mut toy = Toy::new(config());
    toy.ask(ASK);
    toy.run_for(Duration::from_millis(100));
    let good = offer(&toy, 1);
    for n in 0..20_000_u32 {
        let [a, b, c, d] = n.to_be_bytes();
        let source = Mac::new([6, 0x10, a, b, c, d]);
        toy.hear(&frame(source, Ipv4Addr::new(10, 9, c, d), &good));
    }
    assert_eq!(offers(&toy).len(), 32);
}

#[test]
fn where_fewer_answer_than_last_time_it_is_repeated() {
    let mut toy = Toy::new(config());
    toy.ask(ASK);
    toy.run_for(Duration::from_millis(100));
    answer(&mut toy, 1);
    answer(&mut toy, 2);
    toy.run_for(Duration::from_secs(20));
    toy.ask(BY_HAND);
    toy.run_for(Duration::from_secs(1));
    answer(&mut toy, 1);
    toy.run_for(Duration::from_secs(20));
    assert_eq!(times(&toy), [0, 20_100, 25_100]);
    assert_eq!(over(&toy), [(0, 5_000), (20_100, 30_100)]);
    assert_ne!(sent(&toy)[0].1.xid, sent(&toy)[1].1.xid);
}

#[test]
fn a_minute_apart_or_ten_seconds_by_hand() {
    let mut toy = Toy::new(config());
    for _ in 0..175 {
        toy.ask(ASK);
        toy.run_for(Duration::from_secs(1));
    }
    assert_eq!(times(&toy), [0, 5_000, 60_000, 65_000, 120_000, 125_000]);
    let mut toy = Toy::new(config());
    toy.ask(ASK);
    toy.run_for(Duration::from_secs(12));
    toy.ask(ASK);
    toy.run_for(Duration::from_secs(1));
    assert_eq!(times(&toy), [0, 5_000], "it waits for its minute");
    toy.ask(BY_HAND);
    toy.run_for(Duration::from_secs(1));
    assert_eq!(times(&toy), [0, 5_000, 13_000], "and is asked now by hand");
    toy.ask(BY_HAND);
    toy.run_for(Duration::from_mins(2));
    assert_eq!(times(&toy), [0, 5_000, 13_000, 18_000], "one at a time");
}

#[test]
fn never_under_listen_only_nor_without_frames() {
    let mut toy = Toy::new(Config {
        listen_only: true,
        ..config()
    });
    toy.ask(BY_HAND);
    toy.run_for(Duration::from_secs(30));
    let mut plain = Toy::new(Config {
        mode: Mode::Unprivileged,
        ..config()
    });
    plain.station(Station {
        mode: Mode::Unprivileged,
        ..station()
    });
    plain.ask(BY_HAND);
    plain.run_for(Duration::from_secs(30));
    assert!(toy.frames.is_empty() && plain.frames.is_empty());
    // Listen-only that begins in the middle ends the question without a word.
    let mut toy = Toy::new(config());
    toy.ask(ASK);
    toy.run_for(Duration::from_secs(1));
    toy.listen_only = true;
    toy.scanner.set_listen_only(toy.now, true);
    toy.run_for(Duration::from_secs(30));
    assert_eq!((times(&toy), over(&toy)), (vec![0], vec![]));
    toy.listen_only = false;
    toy.scanner.set_listen_only(toy.now, false);
    toy.ask(ASK);
    toy.run_for(Duration::from_mins(1));
    assert_eq!(times(&toy)[..2], [0, 60_000], "the rule outlives it");
}

#[test]
fn what_did_not_leave_was_not_asked() {
    let mut toy = Toy::new(config());
    toy.refuse = Some(Hold::Busy);
    toy.ask(ASK);
    for _ in 0..3 {
        assert!(toy.step_order().is_some());
    }
    toy.refuse = Some(Hold::Down);
    toy.run_for(Duration::from_secs(3));
    assert!(
        toy.facts(|_, f| matches!(f, Fact::DhcpAsked { .. }).then_some(()))
            .is_empty()
    );
    toy.refuse = None;
    toy.run_for(Duration::from_secs(30));
    assert!(toy.frames.is_empty(), "given up");
    toy.ask(ASK);
    toy.run_for(Duration::from_secs(1));
    assert_eq!(times(&toy), [33_000], "nothing left, so nothing holds it back");
}

/// What may happen to a scanner between its questions.
#[derive(Debug, Clone)]
enum Deed {
    Ask(bool),
    Wait(u64),
    Answer,
    Down,
    Up,
}

proptest! {
    /// Whatever happens, first DISCOVERs are ten seconds apart, at most two have one number, and
    /// nothing but a DISCOVER is ever sent.
    #[test]
    fn the_rules_hold_on_any_course(deeds in prop::collection::vec(prop_oneof![
        any::<bool>().prop_map(Deed::Ask),
        (1_u64..40_000).prop_map(Deed::Wait),
        Just(Deed::Answer),
        Just(Deed::Down),
        Just(Deed::Up),
    ], 1..60)) {
        let mut toy = Toy::new(config());
        for deed in deeds {
            match deed {
                Deed::Ask(by_hand) => toy.ask(Ask::Dhcp { by_hand }),
                Deed::Wait(ms) => toy.run_for(Duration::from_millis(ms)),
                Deed::Answer if sent(&toy).is_empty() => {}
                Deed::Answer => answer(&mut toy, 1),
                Deed::Down => toy.station(Station { state: LinkState::NoCarrier, ..station() }),
                Deed::Up => toy.station(station()),
            }
        }
        let all = sent(&toy);
        for (at, message) in &all {
            prop_assert_eq!(message.kind, Kind::Discover);
            let same: Vec<_> = all.iter().filter(|(_, m)| m.xid == message.xid).collect();
            prop_assert!(same.len() <= 2);
            let later = all.iter().filter(|(t, m)| t > at && m.xid != message.xid);
            for (other, _) in later {
                prop_assert!(other.since(same[0].0) >= Duration::from_secs(10));
            }
        }
    }
}

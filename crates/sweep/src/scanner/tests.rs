//! Tests of the whole scanner in virtual time against a toy network.

mod toy;

use std::net::Ipv4Addr;
use std::time::Duration;

use link::{DialEvent, Frame};
use proptest::prelude::*;
use vocab::{
    AddressRange, ArpForm, Ask, Budget, ControlState, Fact, LinkState, Mode, Moment, Pace, PassId, Rank, SilentTo,
    Wake,
};
use wire::{Arp, arp};

use self::toy::{Toy, US, address, config, host, mac, ms, own, station};
use crate::{Config, Dialing, Hold, Order, Scanner};

fn arp_ask(address: Ipv4Addr, form: ArpForm, rank: Rank, budget: Budget) -> Ask {
    Ask::Arp { address, form, rank, budget }
}

fn rig(n: u8, form: ArpForm) -> Ask {
    arp_ask(address(n), form, Rank::Rig, Budget::Pass)
}

fn sent(toy: &Toy) -> Vec<(u64, Ipv4Addr, SilentTo)> {
    toy.facts(|at, fact| match fact {
        Fact::Sent { address, what } => Some((at.as_millis(), *address, *what)),
        _ => None,
    })
}

fn silent(toy: &Toy) -> Vec<(u64, Ipv4Addr, SilentTo)> {
    toy.facts(|at, fact| match fact {
        Fact::Silent { address, what, .. } => Some((at.as_millis(), *address, *what)),
        _ => None,
    })
}

#[test]
fn a_question_is_sent_answered_and_told() {
    let mut toy = Toy::new(config());
    toy.hosts.push(host(21));
    toy.ask(rig(21, ArpForm::Broadcast));
    toy.ask(rig(22, ArpForm::Broadcast));
    toy.run(ms(2_000));
    let what = SilentTo::Arp(ArpForm::Broadcast);
    assert_eq!(sent(&toy).iter().map(|s| (s.1, s.2)).collect::<Vec<_>>(), [(address(21), what), (address(22), what)]);
    assert_eq!(silent(&toy).iter().map(|s| (s.1, s.2)).collect::<Vec<_>>(), [(address(22), what)]);
    let answers = toy.answers();
    assert_eq!(answers, [(address(21), mac(21), Some(ArpForm::Broadcast))]);
    // RFC 826: request for the address, our own as sender, to everybody.
    let heard = wire::peek(&toy.frames[0].1).unwrap();
    assert_eq!(heard.destination, vocab::Mac::BROADCAST);
    assert_eq!(heard.what, wire::What::Arp(Arp::request(own(), US, address(21))));
}

#[test]
fn the_sender_form_follows_our_subnets() {
    let foreign = Ipv4Addr::new(192, 168, 0, 20);
    let mut toy = Toy::new(config());
    toy.ask(arp_ask(foreign, ArpForm::Broadcast, Rank::Rig, Budget::Pass));
    toy.ask(arp_ask(foreign, ArpForm::Nobody, Rank::Rig, Budget::Pass));
    toy.ask(rig(21, ArpForm::Nobody));
    toy.ask(rig(22, ArpForm::Unicast(mac(22))));
    toy.ask(arp_ask(Ipv4Addr::new(172, 16, 0, 1), ArpForm::Unicast(mac(9)), Rank::Rig, Budget::Pass));
    toy.ask(arp_ask(US, ArpForm::Broadcast, Rank::Rig, Budget::Pass));
    toy.run(ms(500));
    let senders: Vec<_> = toy.arps().into_iter().map(|(_, to, a)| (a.target_ip, a.sender_ip, to)).collect();
    let none = Ipv4Addr::UNSPECIFIED;
    let all = vocab::Mac::BROADCAST;
    assert_eq!(
        senders,
        [
            (foreign, none, all),
            (address(21), none, all),
            (address(22), US, mac(22)),
            (Ipv4Addr::new(172, 16, 0, 1), none, mac(9)),
            (US, none, all),
        ]
    );
    let forms: Vec<_> = sent(&toy).iter().map(|s| s.2).collect();
    assert_eq!(forms[0], SilentTo::Arp(ArpForm::Nobody));
    assert_eq!(forms[3], SilentTo::Arp(ArpForm::Unicast(mac(9))));
}

#[test]
fn off_every_subnet_everything_is_asked_in_nobodys_name() {
    let mut toy = Toy::new(config());
    toy.station(vocab::Station { addresses: Vec::new(), ..station() });
    toy.hosts.push(host(21));
    toy.ask(rig(21, ArpForm::Broadcast));
    toy.ask(Ask::Echo { address: address(21), mac: Some(mac(21)), rank: Rank::Rig });
    toy.run(ms(1_500));
    assert_eq!(toy.frames.len(), 1, "no echo without an address of our own");
    assert_eq!(toy.answers(), [(address(21), mac(21), Some(ArpForm::Nobody))]);
}

#[test]
fn questions_in_nobodys_name_are_held_and_not_lost() {
    let mut toy = Toy::new(config());
    toy.hosts.push(host(30));
    for _ in 0..40 {
        for n in [29, 30] {
            toy.ask(rig(n, ArpForm::Nobody));
        }
        toy.run_for(Duration::from_secs(1));
    }
    let times = |n: u8| -> Vec<u64> { sent(&toy).iter().filter(|s| s.1 == address(n)).map(|s| s.0 / 1_000).collect() };
    assert_eq!(times(29), [0, 10, 20, 30, 40], "silent");
    assert_eq!(times(30).len(), 40, "answers");
}

#[test]
fn a_foreign_probe_holds_our_own() {
    let mut toy = Toy::new(config());
    toy.run(ms(3_000));
    toy.hear(&arp::probe_frame(mac(44), address(29), vocab::Mac::BROADCAST));
    toy.ask(rig(29, ArpForm::Nobody));
    toy.ask(rig(29, ArpForm::Broadcast));
    toy.run(ms(20_000));
    let all = sent(&toy);
    assert_eq!(all[0].2, SilentTo::Arp(ArpForm::Broadcast));
    assert_eq!((all[1].0, all[1].2), (13_000, SilentTo::Arp(ArpForm::Nobody)));
    assert_eq!(all.len(), 2);
}

#[test]
fn the_rig_goes_first_and_the_rest_last() {
    let mut toy = Toy::new(Config { pace: Pace::PerSecond(100.try_into().unwrap()), ..config() });
    let range: AddressRange = "10.40.8.100-10.40.8.110".parse().unwrap();
    toy.ask(Ask::Pass { id: PassId(1), range, except: vec![address(105)] });
    toy.ask(arp_ask(address(50), ArpForm::Broadcast, Rank::Heard, Budget::Pass));
    toy.ask(rig(21, ArpForm::Broadcast));
    toy.ask(rig(21, ArpForm::Broadcast));
    toy.run(ms(3_000));
    let order: Vec<u8> = sent(&toy).iter().map(|s| s.1.octets()[3]).collect();
    assert_eq!(order, [21, 50, 100, 101, 102, 103, 104, 106, 107, 108, 109, 110]);
    let ends = toy.facts(|at, f| matches!(f, Fact::PassDone { id: PassId(1) }).then(|| at.as_millis()));
    let last = sent(&toy).last().unwrap().0;
    assert_eq!(ends, [last + 300]);
    let progress = toy.facts(|_, f| match f {
        Fact::PassAsked { asked, total: 10, .. } => Some(*asked),
        _ => None,
    });
    assert_eq!(progress.last(), Some(&10));
}

#[test]
fn at_house_pace_the_rest_still_goes_on() {
    let mut toy = Toy::new(Config { pace: Pace::House, ..config() });
    let range: AddressRange = "10.40.8.100-10.40.8.199".parse().unwrap();
    toy.ask(Ask::Pass { id: PassId(1), range, except: Vec::new() });
    for _ in 0..200 {
        for n in 20..40 {
            toy.ask(rig(n, ArpForm::Unicast(mac(n))));
        }
        toy.run_for(Duration::from_millis(100));
    }
    let rest = sent(&toy).iter().filter(|s| s.1.octets()[3] >= 100).count();
    let all = sent(&toy).len();
    assert!((195..=201).contains(&all), "{all}");
    assert!((45..=52).contains(&rest), "{rest} of {all}");
}

#[test]
fn broadcasts_of_watching_keep_to_fifty_a_second_and_hold_nothing_else_back() {
    let mut toy = Toy::new(config());
    for _ in 0..3 {
        for n in 10..=250 {
            toy.ask(arp_ask(address(n), ArpForm::Broadcast, Rank::Rig, Budget::Watch));
            toy.ask(arp_ask(address(n), ArpForm::Unicast(mac(n)), Rank::Heard, Budget::Watch));
        }
        toy.run_for(Duration::from_secs(1));
    }
    let broadcasts = sent(&toy).iter().filter(|s| s.2 == SilentTo::Arp(ArpForm::Broadcast)).count();
    assert!((148..=151).contains(&broadcasts), "{broadcasts}");
    assert_eq!(sent(&toy).len() - broadcasts, 3 * 241);
}

#[test]
fn a_whole_22_that_answers_is_found_unpaced_with_a_small_buffer() {
    let mut toy = Toy::new(Config { pace: Pace::Max, ..config() });
    toy.station(vocab::Station { addresses: vec!["10.40.8.5/22".parse().unwrap()], ..station() });
    toy.everybody = true;
    let range: AddressRange = "10.40.8.1-10.40.11.254".parse().unwrap();
    toy.ask(Ask::Pass { id: PassId(1), range, except: vec![US] });
    toy.run(ms(1_000));
    assert_eq!(toy.answers().len(), 1_021);
    assert!(toy.most_waiting <= 200, "{}", toy.most_waiting);
    let took = sent(&toy).last().unwrap().0;
    assert!(took <= 20, "{took} ms");
}

#[test]
fn echo_is_matched_and_measured() {
    let mut toy = Toy::new(config());
    toy.hosts.push(host(21));
    toy.ask(Ask::Echo { address: address(21), mac: Some(mac(21)), rank: Rank::Rig });
    toy.ask(Ask::Echo { address: address(22), mac: Some(mac(22)), rank: Rank::Rig });
    toy.ask(Ask::Echo { address: address(23), mac: None, rank: Rank::Rig });
    toy.run(ms(3_000));
    let echoes = toy.facts(|_, f| match f {
        Fact::Echo { address, mac, rtt } => Some((*address, *mac, *rtt)),
        _ => None,
    });
    assert_eq!(echoes, [(address(21), Some(mac(21)), Toy::DELAY * 2)]);
    assert_eq!(silent(&toy).iter().map(|s| (s.1, s.2)).collect::<Vec<_>>(), [(address(22), SilentTo::Echo)]);
    assert_eq!(sent(&toy).len(), 2);
}

#[test]
fn both_owners_of_one_address_are_told() {
    let mut toy = Toy::new(config());
    toy.hosts.push(host(21));
    toy.hosts.push((address(21), mac(99)));
    toy.ask(rig(21, ArpForm::Broadcast));
    toy.run(ms(2_000));
    assert_eq!(
        toy.answers(),
        [
            (address(21), mac(21), Some(ArpForm::Broadcast)),
            (address(21), mac(99), Some(ArpForm::Broadcast)),
        ]
    );
}

#[test]
fn what_others_say_is_told_with_its_tag_and_our_own_frames_are_not() {
    let mut toy = Toy::new(config());
    toy.hear(&Arp::announcement(mac(7), address(7)).frame(vocab::Mac::BROADCAST, Some(40)));
    toy.hear(&arp::announcement_frame(own(), US));
    let mut odd = arp::announcement_frame(mac(8), address(8));
    odd[6..12].copy_from_slice(&mac(9).octets());
    toy.hear_frame(&Frame { bytes: odd, vlan: Some(12), checksum_unfinished: false });
    let seen = toy.facts(|_, f| match f {
        Fact::Arp(seen) => Some((seen.frame_source, seen.sender, seen.address, seen.vlan, seen.answers)),
        _ => None,
    });
    assert_eq!(
        seen,
        [
            (mac(7), mac(7), address(7), Some(40), None),
            (mac(9), mac(8), address(8), Some(12), None),
        ]
    );
}

#[test]
fn dhcp_clients_wake_and_nonsense_is_counted_once_a_second() {
    let mut toy = Toy::new(config());
    let discover = wire::dhcp::Message::discover(7, mac(50), Some(vocab::Text::clean("loft")));
    let path = wire::Path {
        from_mac: mac(50),
        from: Ipv4Addr::UNSPECIFIED,
        to_mac: vocab::Mac::BROADCAST,
        to: Ipv4Addr::BROADCAST,
    };
    let payload = discover.emit();
    let udp = wire::Udp { source_port: 68, destination_port: 67, payload: &payload };
    let frame = udp.frame(path);
    assert!(matches!(wire::peek(&frame).unwrap().what, wire::What::Udp { .. }));
    assert!(wire::dhcp::Message::parse(&payload).is_ok());
    toy.hear(&frame);
    for _ in 0..5 {
        toy.hear(&[1, 2, 3]);
    }
    toy.run(ms(2_500));
    let wakes = toy.facts(|_, f| if let Fact::Wakes { mac, how } = f { Some((*mac, how.clone())) } else { None });
    assert_eq!(wakes, [(mac(50), Wake::DhcpDiscover { name: Some(vocab::Text::clean("loft")) })]);
    let told = toy.facts(|at, f| if let Fact::Malformed { total } = f { Some((at.as_millis(), *total)) } else { None });
    assert_eq!(told, [(0, 1), (1_000, 5)]);
}

#[test]
fn a_busy_port_loses_nothing_and_a_dead_one_is_left_alone() {
    let mut toy = Toy::new(config());
    toy.refuse = Some(Hold::Busy);
    toy.ask(rig(21, ArpForm::Broadcast));
    assert!(toy.step_order().is_some());
    assert!(sent(&toy).is_empty());
    toy.refuse = Some(Hold::Down);
    assert!(toy.step_order().is_some());
    assert!(toy.step_order().is_none(), "a pause");
    toy.refuse = None;
    toy.run(ms(1_000));
    assert_eq!(sent(&toy).len(), 1);
    assert_eq!(sent(&toy)[0].0, 100);
}

#[test]
fn nothing_is_said_of_questions_that_the_link_may_have_lost() {
    let mut toy = Toy::new(config());
    toy.ask(rig(21, ArpForm::Broadcast));
    toy.ask(Ask::Pass { id: PassId(1), range: "10.40.8.1-254".parse().unwrap(), except: Vec::new() });
    toy.run(ms(100));
    toy.station(vocab::Station { state: LinkState::NoCarrier, ..station() });
    toy.ask(rig(22, ArpForm::Broadcast));
    let before = toy.frames.len();
    toy.run(ms(5_000));
    assert_eq!(toy.frames.len(), before);
    assert!(silent(&toy).is_empty());
    assert_eq!(toy.scanner.next_wake(), None, "nothing to do while the link is down");
    toy.station(station());
    toy.ask(rig(23, ArpForm::Broadcast));
    toy.run(ms(6_000));
    assert_eq!(toy.frames.len(), before + 1, "only what was asked since");
}

#[test]
fn the_unprivileged_way_pokes_and_pings() {
    let mut toy = Toy::new(Config { mode: Mode::Unprivileged, ..config() });
    toy.hosts.push(host(21));
    toy.ask(rig(21, ArpForm::Broadcast));
    toy.ask(rig(22, ArpForm::Unicast(mac(22))));
    toy.ask(rig(23, ArpForm::Nobody));
    toy.ask(arp_ask(Ipv4Addr::new(192, 168, 0, 20), ArpForm::Broadcast, Rank::Rig, Budget::Pass));
    toy.ask(Ask::Echo { address: address(21), mac: Some(mac(21)), rank: Rank::Rig });
    toy.run(ms(4_000));
    let what = SilentTo::Arp(ArpForm::Broadcast);
    assert_eq!(
        sent(&toy).iter().map(|s| (s.1, s.2)).collect::<Vec<_>>(),
        [(address(21), what), (address(22), what), (address(21), SilentTo::Echo)]
    );
    let found = toy.facts(|_, f| match f {
        Fact::Neighbour { address, mac, rtt: Some(_) } => Some((*address, *mac)),
        _ => None,
    });
    assert_eq!(found, [(address(21), mac(21))]);
    assert_eq!(silent(&toy), [(silent(&toy)[0].0, address(22), what)]);
    assert_eq!(toy.facts(|_, f| matches!(f, Fact::Echo { mac: None, .. }).then_some(())).len(), 1);
}

#[test]
fn a_host_that_the_kernel_is_sure_of_is_silent_only_by_proof() {
    let mut toy = Toy::new(Config { mode: Mode::Unprivileged, ..config() });
    // The kernel is sure of both and says nothing more of them; 22 answers no echo.
    for n in [21, 22] {
        toy.scanner.neighbour(toy.now, address(n), Some(mac(n)));
        toy.ask(rig(n, ArpForm::Broadcast));
    }
    toy.pongs_only = true;
    toy.hosts.push(host(21));
    toy.run(ms(3_000));
    let arp = SilentTo::Arp(ArpForm::Broadcast);
    assert_eq!(silent(&toy).iter().map(|s| (s.1, s.2)).collect::<Vec<_>>(), [(address(22), SilentTo::Echo)]);
    // Once it answered echo requests, their silence counts; for the other the kernel's word does.
    toy.hosts.clear();
    toy.ask(rig(21, ArpForm::Broadcast));
    toy.run(ms(6_000));
    assert!(silent(&toy).iter().any(|s| (s.1, s.2) == (address(21), arp)));
    toy.scanner.neighbour(toy.now, address(22), None);
    toy.run(ms(6_001));
    assert!(silent(&toy).iter().any(|s| (s.1, s.2) == (address(22), arp)));
}

#[test]
fn system_dials_are_charged_before_they_go_out() {
    let mut toy = Toy::new(Config { pace: Pace::House, ..config() });
    for port in ["http", "visca-udp"] {
        toy.ask(Ask::Control { address: address(21), mac: None, port: port.parse().unwrap() });
    }
    toy.ask(Ask::Control {
        address: Ipv4Addr::new(192, 168, 0, 20),
        mac: None,
        port: "http".parse().unwrap(),
    });
    toy.run(ms(3_000));
    let dials: Vec<u64> = toy.dials.iter().map(|(at, _)| at.as_millis()).collect();
    assert_eq!(dials[..2], [800, 1_000], "nine frames less the one in hand, then two");
    let not_asked = toy.facts(|_, f| matches!(f, Fact::ControlNotAsked { .. }).then_some(()));
    assert_eq!(not_asked.len(), 1);
}

#[test]
fn under_listen_only_open_dials_are_given_up() {
    let mut toy = Toy::new(config());
    toy.ask(Ask::Control { address: address(21), mac: None, port: "http".parse().unwrap() });
    toy.run(ms(10));
    let id = toy.dials[0].1.id;
    toy.scanner.set_listen_only(toy.now, true);
    assert_eq!(toy.scanner.next_abandoned(), Some(id));
    assert_eq!(toy.scanner.next_abandoned(), None);
    toy.scanner.dial_event(toy.now, id, DialEvent::Opened);
    assert_eq!(toy.scanner.next_order(toy.now), None);
}

#[test]
fn a_control_port_is_asked_over_frames() {
    let mut toy = Toy::new(Config { dialing: Dialing::User, ..config() });
    let silent_host = Ask::Control { address: address(21), mac: Some(mac(21)), port: "http".parse().unwrap() };
    toy.ask(silent_host);
    toy.ask(Ask::Control { address: address(22), mac: None, port: "http".parse().unwrap() });
    toy.run(ms(20));
    let heard = wire::peek(&toy.frames[0].1).unwrap();
    assert_eq!((heard.source, heard.destination), (own(), mac(21)));
    toy.run(ms(8_000));
    let told = toy.facts(|_, f| match f {
        Fact::Control { address, mac, state, .. } => Some((*address, *mac, Some(*state))),
        Fact::ControlNotAsked { address, .. } => Some((*address, None, None)),
        _ => None,
    });
    assert_eq!(
        told,
        [(address(22), None, None), (address(21), Some(mac(21)), Some(ControlState::Silent))]
    );
    toy.run(ms(60_000));
    let quiet = toy.frames.len();
    toy.run(ms(120_000));
    assert_eq!(toy.frames.len(), quiet, "closed for good");
}

/// A random thing to do to a scanner.
#[derive(Debug, Clone)]
enum Deed {
    Ask(u8, u8),
    Probe(u8),
    Noise(Vec<u8>),
    Wait(u64),
    ListenOnly(bool),
    Station(u8),
    Pass(u8, u8),
    Pace(u8),
}

fn deed() -> impl Strategy<Value = Deed> {
    prop_oneof![
        4 => (0_u8..12, 0_u8..8).prop_map(|(n, what)| Deed::Ask(n, what)),
        1 => (0_u8..12).prop_map(Deed::Probe),
        2 => prop::collection::vec(any::<u8>(), 0..90).prop_map(Deed::Noise),
        4 => (0_u64..4_000).prop_map(Deed::Wait),
        1 => any::<bool>().prop_map(Deed::ListenOnly),
        1 => (0_u8..4).prop_map(Deed::Station),
        1 => (0_u8..12, 0_u8..30).prop_map(|(a, n)| Deed::Pass(a, n)),
        1 => (0_u8..3).prop_map(Deed::Pace),
    ]
}

fn ask_of(n: u8, what: u8) -> Ask {
    let form = match what {
        0 | 5 => ArpForm::Broadcast,
        1 => ArpForm::Unicast(mac(n)),
        _ => ArpForm::Nobody,
    };
    match what {
        6 => Ask::Echo { address: address(n), mac: Some(mac(n)), rank: Rank::Rig },
        7 => Ask::Control { address: address(n), mac: Some(mac(n)), port: "http".parse().unwrap() },
        5 => arp_ask(Ipv4Addr::new(192, 168, 0, n), form, Rank::Rest, Budget::Watch),
        _ => arp_ask(address(n), form, Rank::Heard, Budget::Pass),
    }
}

fn do_it(toy: &mut Toy, deed: &Deed) {
    match deed {
        Deed::Ask(n, what) => toy.ask(ask_of(*n, *what)),
        Deed::Probe(n) => toy.hear(&arp::probe_frame(mac(200), address(*n), vocab::Mac::BROADCAST)),
        Deed::Noise(bytes) => {
            // Half of it looks like ARP or IPv4, so that the deeper layers get their share.
            let mut frame = bytes.clone();
            if let Some(kind) = frame.get_mut(12..14) {
                kind.copy_from_slice(if bytes.len() % 2 == 0 { &[8, 6] } else { &[8, 0] });
            }
            toy.hear(&frame);
        }
        Deed::Wait(millis) => toy.run_for(Duration::from_millis(*millis)),
        Deed::ListenOnly(on) => {
            toy.scanner.set_listen_only(toy.now, *on);
            toy.listen_only = *on;
        }
        Deed::Station(n) => {
            let state = if *n == 0 { LinkState::NoCarrier } else { LinkState::Up };
            let addresses = if *n == 1 { Vec::new() } else { station().addresses };
            let index = if *n == 2 { 9 } else { 3 };
            toy.station(vocab::Station { state, addresses, index, ..station() });
        }
        Deed::Pass(a, n) => {
            let range = AddressRange::new(address(*a), address(a + n)).unwrap();
            toy.ask(Ask::Pass { id: PassId(u32::from(*n)), range, except: Vec::new() });
        }
        Deed::Pace(n) => {
            let pace = [Pace::Own, Pace::House, Pace::Max][usize::from(*n)];
            toy.scanner.set_pace(toy.now, pace);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    /// Whatever happens: nothing panics, nothing is sent under listen-only or with the link down,
    /// the scanner never asks to be woken in the past for nothing, and questions in nobody's name
    /// for a silent address keep their distance from each other and from foreign probes.
    #[test]
    fn manners_and_silence_hold_for_any_course(
        deeds in prop::collection::vec(deed(), 1..80),
        user in any::<bool>(),
        plain in any::<bool>(),
    ) {
        let mode = if plain { Mode::Unprivileged } else { Mode::Raw };
        let dialing = if user && !plain { Dialing::User } else { Dialing::Os };
        let mut toy = Toy::new(Config { mode, dialing, ..config() });
        for deed in &deeds {
            do_it(&mut toy, deed);
        }
        toy.run_for(Duration::from_secs(30));
        let probes: Vec<_> = toy.arps().into_iter().filter(|(_, _, a)| a.is_probe()).collect();
        for (i, (at, _, a)) in probes.iter().enumerate() {
            for (later, _, b) in &probes[i + 1..] {
                if a.target_ip == b.target_ip {
                    prop_assert!(later.since(*at) >= Duration::from_secs(10));
                }
            }
            for (heard, target) in &toy.foreign_probes {
                if *target == a.target_ip && heard <= at {
                    prop_assert!(at.since(*heard) >= Duration::from_secs(10));
                }
            }
        }
    }

    /// The same course gives the same sightings and orders.
    #[test]
    fn it_replays(deeds in prop::collection::vec(deed(), 1..40)) {
        let course = || {
            let mut toy = Toy::new(Config { dialing: Dialing::User, ..config() });
            toy.hosts.push(host(3));
            for deed in &deeds {
                do_it(&mut toy, deed);
            }
            toy.run_for(Duration::from_secs(3));
            (toy.frames, toy.seen)
        };
        prop_assert_eq!(course(), course());
    }
}

#[test]
fn without_a_station_nothing_is_sent() {
    let mut scanner = Scanner::new(config());
    scanner.ask(Moment::ZERO, rig(21, ArpForm::Broadcast));
    assert_eq!(scanner.next_order(Moment::ZERO), None::<Order>);
    assert_eq!(scanner.next_wake(), None);
}

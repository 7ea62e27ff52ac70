//! What hosts call themselves: heard in frames, and asked for.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{Ask, Fact, RollCall};
use wire::announce::Device;
use wire::mdns::{self, Question, ServiceType};
use wire::wsd::{self, Version};
use wire::{What, peek};

use super::toy::{Toy, US, address, config, mac, ms, own, station};
use crate::Config;

fn kind(text: &str) -> ServiceType {
    ServiceType::new(text).unwrap()
}

fn device(services: &[(ServiceType, u16)]) -> Device<'_> {
    Device {
        name: "Organ loft",
        address: address(21).into(),
        services,
        onvif: 80,
    }
}

fn named(toy: &Toy) -> Vec<(u64, Option<Ipv4Addr>, Vec<String>)> {
    toy.facts(|at, fact| match fact {
        Fact::Named { address, names, .. } => Some((
            at.as_millis(),
            *address,
            names.iter().map(ToString::to_string).collect(),
        )),
        _ => None,
    })
}

/// The questions of every mDNS query that was sent, with its time.
fn queries(toy: &Toy) -> Vec<(u64, Vec<Question>)> {
    let asked = |frame: &[u8]| match peek(frame).unwrap().what {
        What::Mdns { from, message } => {
            assert_eq!(from, US);
            Some(message.questions)
        }
        _ => None,
    };
    toy.frames
        .iter()
        .filter_map(|(at, frame)| Some((at.as_millis(), asked(frame)?)))
        .collect()
}

#[test]
fn announcements_and_hellos_are_told_with_who_sent_them_and_from_where() {
    let mut toy = Toy::new(config());
    let services = [(kind("_rtsp._tcp"), 554)];
    toy.hear(&mdns::frame(mac(21), address(21), &device(&services).mdns()));
    let hello = device(&[]).hello(Version::April2005, 3);
    toy.hear(&wsd::frame(mac(21), address(21), wsd::PORT, &hello));
    toy.run(ms(10));
    assert_eq!(
        named(&toy),
        [
            (
                0,
                Some(address(21)),
                vec!["organ-loft (mDNS)".to_owned(), "Organ loft (DNS-SD)".to_owned()]
            ),
            (0, Some(address(21)), vec!["Organ loft (WS-Discovery)".to_owned()]),
        ]
    );
}

#[test]
fn our_own_frames_tagged_ones_and_senders_without_an_address_are_passed_over() {
    let mut toy = Toy::new(config());
    let bytes = device(&[]).mdns();
    toy.hear(&mdns::frame(own(), US, &bytes));
    toy.hear(&mdns::frame(mac(21), Ipv4Addr::UNSPECIFIED, &bytes));
    toy.hear(&mdns::frame(mac(21), mdns::GROUP, &bytes));
    let mut tagged = mdns::frame(mac(21), address(21), &bytes);
    tagged.splice(12..12, [0x81, 0, 0, 7]);
    toy.hear(&tagged);
    toy.run(ms(10));
    assert_eq!(named(&toy), []);
}

#[test]
fn a_roll_call_is_three_frames_and_repeated_after_a_second_at_the_soonest() {
    let mut toy = Toy::new(config());
    for _ in 0..5 {
        toy.ask(Ask::RollCall(RollCall::DnsSd));
        toy.ask(Ask::RollCall(RollCall::WsDiscovery));
        toy.run(toy.now + Duration::from_millis(100));
    }
    toy.run(ms(3_000));
    let at = |frame: &[u8]| peek(frame).unwrap().destination;
    let probes: Vec<u64> = toy
        .frames
        .iter()
        .filter(|(_, f)| at(f) == wsd::GROUP_MAC)
        .map(|(at, _)| at.as_millis())
        .collect();
    assert_eq!(probes.len(), 4, "{probes:?}");
    assert!(
        probes[2] >= probes[0] + 1_000 && probes[3] >= probes[1] + 1_000,
        "{probes:?}"
    );
    let usual = vec![
        Question::Types,
        Question::Offers(kind("_http._tcp")),
        Question::Offers(kind("_rtsp._tcp")),
        Question::Offers(kind("_sleep-proxy._udp")),
    ];
    let queries = queries(&toy);
    assert_eq!(queries.len(), 2, "{queries:?}");
    assert!(queries.iter().all(|q| q.1 == usual));
    assert!(queries[1].0 >= queries[0].0 + 1_000);
    assert_eq!(toy.frames.len(), 6);
}

#[test]
fn types_heard_of_are_asked_for_once_and_together() {
    let mut toy = Toy::new(config());
    toy.ask(Ask::RollCall(RollCall::DnsSd));
    toy.run(ms(50));
    for (n, what) in [(21, "_visca._udp"), (22, "_preset._tcp"), (23, "_http._tcp")] {
        let services = [(kind(what), 80)];
        toy.hear(&mdns::frame(mac(n), address(n), &device(&services).mdns()));
    }
    toy.run(ms(5_000));
    let queries = queries(&toy);
    assert_eq!(queries.len(), 2, "{queries:?}");
    assert_eq!(
        queries[1].1,
        [
            Question::Offers(kind("_preset._tcp")),
            Question::Offers(kind("_visca._udp"))
        ]
    );
    assert!((150..400).contains(&(queries[1].0 - 50)), "{queries:?}");
}

#[test]
fn a_flood_of_types_makes_a_bounded_number_of_questions() {
    let mut toy = Toy::new(config());
    toy.ask(Ask::RollCall(RollCall::DnsSd));
    for n in 0..500 {
        let services = [(kind(&format!("_t{n}._tcp")), 80)];
        toy.hear(&mdns::frame(mac(21), address(21), &device(&services).mdns()));
    }
    toy.run(ms(20_000));
    let queries = queries(&toy);
    let questions: usize = queries.iter().map(|q| q.1.len()).sum();
    assert!(questions <= 64 + 3, "{questions}");
    assert!(toy.frames.iter().all(|(_, f)| f.len() <= 1_514));
}

#[test]
fn nothing_is_asked_in_silence_without_an_address_or_without_frames() {
    let ask = |toy: &mut Toy| {
        toy.ask(Ask::RollCall(RollCall::DnsSd));
        toy.ask(Ask::RollCall(RollCall::WsDiscovery));
        let services = [(kind("_visca._udp"), 80)];
        toy.hear(&mdns::frame(mac(21), address(21), &device(&services).mdns()));
        toy.run(toy.now + Duration::from_secs(5));
        assert_eq!(toy.frames.len(), 0);
    };
    let mut silent = Toy::new(Config {
        listen_only: true,
        ..config()
    });
    ask(&mut silent);
    assert_eq!(named(&silent).len(), 1, "and still listened");
    let mut bare = Toy::new(config());
    bare.station(vocab::Station {
        addresses: Vec::new(),
        ..station()
    });
    ask(&mut bare);
    let mut plain = Toy::new(Config {
        mode: vocab::Mode::Unprivileged,
        ..config()
    });
    ask(&mut plain);
}

#[test]
fn services_are_told_with_the_port_that_the_sender_itself_gives() {
    let mut toy = Toy::new(config());
    let services = [(kind("_rtsp._tcp"), 8554), (kind("_osc._udp"), 9000)];
    toy.hear(&mdns::frame(mac(21), address(21), &device(&services).mdns()));
    // A reflector speaks for another.
    toy.hear(&mdns::frame(mac(90), address(90), &device(&services).mdns()));
    let moved = Device {
        onvif: 2000,
        ..device(&[])
    };
    let hello = moved.hello(Version::April2005, 3);
    toy.hear(&wsd::frame(mac(21), address(21), wsd::PORT, &hello));
    toy.hear(&wsd::frame(mac(90), address(90), wsd::PORT, &hello));
    toy.run(ms(10));
    let told = toy.facts(|_, f| match f {
        Fact::Serves { mac, ports, video } => Some((
            *mac,
            ports.iter().map(ToString::to_string).collect::<Vec<_>>(),
            *video,
        )),
        _ => None,
    });
    assert_eq!(
        told,
        [
            (mac(21), vec!["rtsp:8554".to_owned()], true),
            (mac(21), vec!["onvif:2000".to_owned()], true),
            (mac(90), vec![], true),
        ]
    );
}

#[test]
fn broken_messages_are_counted() {
    let mut toy = Toy::new(config());
    toy.hear(&mdns::frame(
        mac(21),
        address(21),
        &[0, 0, 0x84, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0xc0, 12],
    ));
    toy.hear(&wsd::frame(
        mac(21),
        address(21),
        wsd::PORT,
        b"<!DOCTYPE x [<!ENTITY a 'b'>]><x>&a;</x>",
    ));
    toy.run(ms(2_000));
    let told = toy.facts(|_, f| match f {
        Fact::Malformed { total } => Some(*total),
        _ => None,
    });
    assert_eq!(told.last(), Some(&2));
    assert_eq!(named(&toy), []);
}

#[test]
fn who_answers_for_sleepers_is_told_by_its_own_word_alone() {
    let mut toy = Toy::new(config());
    let services = [(kind("_sleep-proxy._udp"), 9)];
    toy.hear(&mdns::frame(mac(21), address(21), &device(&services).mdns()));
    // Passed on by another, as reflectors do.
    toy.hear(&mdns::frame(mac(22), address(22), &device(&services).mdns()));
    toy.hear(&mdns::frame(mac(23), address(23), &device(&[]).mdns()));
    toy.run(ms(10));
    let proxies = toy.facts(|_, f| match f {
        Fact::SleepProxy { mac, address } => Some((*mac, *address)),
        _ => None,
    });
    assert_eq!(proxies, [(mac(21), address(21))]);
}

#[test]
fn queries_for_multicast_groups_are_told_and_none_is_sent() {
    let mut toy = Toy::new(config());
    toy.hear(&wire::announce::group_query(mac(91), address(1)));
    let mut tagged = wire::announce::group_query(mac(92), address(1));
    tagged.splice(12..12, [0x81, 0, 0, 7]);
    toy.hear(&tagged);
    toy.run(ms(3_000));
    let queries = toy.facts(|_, f| match f {
        Fact::GroupQuery { mac } => Some(*mac),
        _ => None,
    });
    assert_eq!(queries, [mac(91)]);
    assert!(toy.frames.is_empty());
}

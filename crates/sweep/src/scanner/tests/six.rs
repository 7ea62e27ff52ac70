//! IPv6: everybody is asked once, and who is heard is told with the frame's hardware.

use std::net::Ipv6Addr;

use vocab::{Ask, Fact, Mac, RollCall};
use wire::announce::Device;
use wire::icmp::Echo;
use wire::{Ethernet, Icmp6, Ipv6, Path6, What, ipv6, mdns, peek};

use super::toy::{Toy, config, mac, ms, own, station};
use crate::Config;

const US: Ipv6Addr = Ipv6Addr::new(0xfe80, 0, 0, 0, 0, 0x52, 0x43, 5);

fn loft() -> Ipv6Addr {
    ipv6::from_hardware(mac(21))
}

fn toy(config: Config) -> Toy {
    let mut toy = Toy::new(config);
    toy.station(vocab::Station {
        link_local: Some(US),
        ..station()
    });
    toy
}

fn heard(toy: &Toy) -> Vec<(Mac, Ipv6Addr)> {
    toy.facts(|_, fact| match fact {
        Fact::Ipv6 { mac, address, .. } => Some((*mac, *address)),
        _ => None,
    })
}

/// The echo requests that were sent.
fn asked(toy: &Toy) -> Vec<(Mac, Ipv6Addr, Ipv6Addr, u16)> {
    let of = |frame: &Vec<u8>| {
        let frame = Ethernet::parse(frame).ok()?;
        let packet = Ipv6::parse(frame.payload).ok()?;
        match Icmp6::parse(&packet) {
            Ok(Icmp6::EchoRequest(echo)) => Some((
                frame.destination,
                packet.source,
                packet.destination,
                echo.identifier,
            )),
            _ => None,
        }
    };
    toy.frames.iter().filter_map(|(_, frame)| of(frame)).collect()
}

#[test]
fn one_echo_goes_to_all_and_each_answer_is_told() {
    let mut toy = toy(config());
    toy.ask(Ask::RollCall(RollCall::Nodes));
    toy.ask(Ask::RollCall(RollCall::Nodes));
    toy.run(ms(100));
    let sent = asked(&toy);
    assert_eq!(sent.len(), 1, "one question");
    let (to, from, group, identifier) = sent[0];
    assert_eq!(
        (to, from, group),
        (Mac::new([0x33, 0x33, 0, 0, 0, 1]), US, ipv6::ALL_NODES)
    );
    let back = |n: u8, to_mac: Mac, to: Ipv6Addr, identifier: u16| {
        let echo = Echo {
            identifier,
            sequence: 1,
            data: Echo::OWN_DATA,
        };
        Path6 {
            from_mac: mac(n),
            from: ipv6::from_hardware(mac(n)),
            to_mac,
            to,
        }
        .echo_reply(&echo)
    };
    toy.hear(&back(21, own(), US, identifier));
    toy.hear(&back(22, mac(9), US, identifier));
    toy.hear(&back(23, own(), loft(), identifier));
    toy.hear(&back(24, own(), US, identifier ^ 1));
    toy.run(ms(200));
    assert_eq!(heard(&toy), [(mac(21), loft())], "answers to others are theirs");
}

#[test]
fn neighbour_discovery_is_told_unless_it_speaks_for_other_hardware() {
    let mut toy = toy(config());
    let says = |frame_from: Mac, hardware: Mac| {
        let mut frame = Path6::to_group(hardware, loft(), ipv6::ALL_NODES).advertisement();
        frame[6..12].copy_from_slice(&frame_from.octets());
        frame
    };
    toy.hear(&says(mac(21), mac(21)));
    toy.hear(&says(mac(90), mac(21)));
    let mut tagged = says(mac(21), mac(21));
    tagged.splice(12..12, [0x81, 0, 0, 40]);
    toy.hear(&tagged);
    toy.run(ms(10));
    assert_eq!(heard(&toy), [(mac(21), loft())]);
}

#[test]
fn names_are_heard_and_asked_for_over_ipv6_too() {
    let mut toy = toy(config());
    let device = Device {
        name: "Organ loft",
        address: loft().into(),
        services: &[],
        onvif: 80,
    };
    toy.hear(&mdns::frame6(mac(21), loft(), &device.mdns()));
    toy.ask(Ask::RollCall(RollCall::DnsSd));
    toy.run(ms(100));
    assert_eq!(heard(&toy), [(mac(21), loft())]);
    let named = toy.facts(|_, fact| match fact {
        Fact::Named { address, names, .. } => Some((*address, names[0].to_string())),
        _ => None,
    });
    assert_eq!(named, [(None, "organ-loft (mDNS)".to_owned())]);
    let queries = toy.frames.iter().filter(|(_, frame)| {
        matches!(peek(frame).unwrap().what, What::Mdns6 { from: US, message } if !message.response && !message.questions.is_empty())
    });
    assert_eq!(queries.count(), 1);
}

#[test]
fn nothing_is_asked_without_an_address_in_silence_or_without_frames() {
    let mut bare = Toy::new(config());
    bare.ask(Ask::RollCall(RollCall::Nodes));
    let mut silent = toy(Config {
        listen_only: true,
        ..config()
    });
    silent.ask(Ask::RollCall(RollCall::Nodes));
    let mut plain = toy(Config {
        mode: vocab::Mode::Unprivileged,
        ..config()
    });
    plain.ask(Ask::RollCall(RollCall::Nodes));
    for toy in [&mut bare, &mut silent, &mut plain] {
        toy.run(ms(3_000));
        assert_eq!(toy.frames.len(), 0);
    }
    let says = Path6::to_group(mac(21), loft(), ipv6::ALL_NODES).advertisement();
    silent.hear(&says);
    silent.run(ms(4_000));
    assert_eq!(heard(&silent).len(), 1, "and still listened");
}

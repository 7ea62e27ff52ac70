//! Hosts on foreign subnets: asked where they are, from addresses that are nobody's.

use std::collections::BTreeSet;
use std::net::Ipv4Addr;

use proptest::prelude::*;
use rig::{AddressSpec, Plan, Role};
use vocab::{AddressRange, Ask, ControlState, Ipv4Net, LinkState, Mode, Moment};

use super::world::{Unit, World, device, ip, mac, rig, secs, settings, station};
use crate::{FindingKind, Ledger, Purpose, Standing};

/// The organ loft's camera at a factory address, where HTTP answers and VISCA refuses.
fn strayed() -> World {
    let mut d = device("Organ loft", 21);
    d.control = vec!["visca-udp".parse().unwrap(), "http".parse().unwrap()];
    let mut unit = Unit::new(21, "192.168.0.20");
    unit.ports.insert("http".parse().unwrap(), ControlState::Answered);
    World::board(vec![d], vec![unit])
}

fn away(w: &World) -> Vec<(Moment, Ipv4Addr, String, Vec<AddressRange>)> {
    w.asked
        .iter()
        .filter_map(|(at, ask)| match ask {
            Ask::ControlAway {
                address,
                port,
                ranges,
                ..
            } => Some((*at, *address, port.to_string(), ranges.clone())),
            _ => None,
        })
        .collect()
}

fn near(w: &World) -> usize {
    w.asked.iter().filter(|(_, ask)| near_port(ask).is_some()).count()
}

fn near_port(ask: &Ask) -> Option<String> {
    match ask {
        Ask::Control { port, .. } => Some(port.to_string()),
        _ => None,
    }
}

fn states(w: &World) -> Vec<Option<ControlState>> {
    w.snapshot().devices[0].control.iter().map(|c| c.state).collect()
}

#[test]
fn a_listed_device_on_the_wrong_subnet_is_asked_there_once() {
    let mut w = strayed();
    w.run_to(secs(10.0));
    assert_eq!(w.standing("Organ loft"), Standing::WrongSubnet);
    assert_eq!(
        states(&w),
        [Some(ControlState::Refused), Some(ControlState::Answered)]
    );
    w.run_to(secs(300.0));
    let asked = away(&w);
    let whom: Vec<(Ipv4Addr, &str)> = asked.iter().map(|(_, a, p, _)| (*a, p.as_str())).collect();
    assert_eq!(
        whom,
        [(ip("192.168.0.20"), "visca-udp"), (ip("192.168.0.20"), "http")]
    );
    assert_eq!(near(&w), 0);
    assert_eq!(w.course("Organ loft"), [Standing::WrongSubnet]);
}

#[test]
fn what_it_said_there_counts_for_nothing_where_it_should_be() {
    let mut w = strayed();
    w.run_to(secs(10.0));
    w.units[0]
        .ports
        .insert("visca-udp".parse().unwrap(), ControlState::Answered);
    w.units[0].addresses = vec![ip("10.40.8.21")];
    w.run_until(60.0, |w| w.standing("Organ loft") == Standing::Present);
    assert_eq!(near(&w), 2, "both are asked anew");
    assert_eq!(away(&w).len(), 2);
    // And the other way round: what it said at home is asked anew where it strays to.
    w.units[0].addresses = vec![ip("192.168.0.21")];
    // It may be found after the half minute between two searches, and for its boot time be starting.
    w.run_until(120.0, |w| w.standing("Organ loft") == Standing::WrongSubnet);
    w.run(5.0);
    assert_eq!(away(&w).len(), 4);
}

#[test]
fn nor_after_a_gap_of_our_own_link() {
    let mut w = strayed();
    w.run_to(secs(10.0));
    w.station.state = LinkState::NoCarrier;
    w.plug();
    w.run(5.0);
    w.units[0].addresses = vec![ip("10.40.8.21")];
    w.station.state = LinkState::Up;
    w.plug();
    w.run(5.0);
    let ports: BTreeSet<String> = w.asked.iter().filter_map(|(_, ask)| near_port(ask)).collect();
    assert_eq!(
        ports.len(),
        2,
        "HTTP too, though it answered elsewhere before the gap"
    );
}

#[test]
fn on_request_it_is_asked_there_again() {
    let mut w = strayed();
    w.run_to(secs(30.0));
    w.units[0]
        .ports
        .insert("visca-udp".parse().unwrap(), ControlState::Answered);
    let now = w.now;
    assert!(w.ledger.ask_control(now, "Organ loft"));
    w.run(5.0);
    assert_eq!(away(&w).len(), 4);
    assert_eq!(
        states(&w),
        [Some(ControlState::Answered), Some(ControlState::Answered)]
    );
}

#[test]
fn where_none_can_be_borrowed_it_is_not_asked_and_nothing_is_held_against_it() {
    let mut w = strayed();
    w.dials = false;
    w.run_to(secs(20.0));
    assert_eq!(states(&w), [None, None]);
    assert_eq!(away(&w).len(), 2, "once, all the same");
    w.dials = true;
    w.units[0]
        .ports
        .insert("visca-udp".parse().unwrap(), ControlState::Answered);
    w.units[0].addresses = vec![ip("10.40.8.21")];
    w.run_until(60.0, |w| w.standing("Organ loft") == Standing::Present);
    assert_eq!(near(&w), 2);
}

#[test]
fn with_an_address_of_our_own_there_none_is_borrowed() {
    let mut w = strayed();
    w.station.addresses.push("192.168.0.5/24".parse().unwrap());
    w.plug();
    w.run_to(secs(20.0));
    assert_eq!((away(&w).len(), near(&w)), (0, 2));
    assert_eq!(w.standing("Organ loft"), Standing::WrongSubnet);
    let mut w = strayed();
    w.station.mode = Mode::Unprivileged;
    w.plug();
    w.run_to(secs(20.0));
    assert_eq!((away(&w).len(), near(&w)), (0, 0));
}

#[test]
fn strangers_are_asked_there_in_a_survey_or_when_they_could_be_a_missing_device() {
    let ports = ["http", "onvif", "rtsp", "visca-udp"];
    for (purpose, missing, expected) in [
        (Purpose::Survey, false, &ports[..]),
        (Purpose::Board, false, &[]),
        (Purpose::Check, true, &["rtsp"]),
    ] {
        let mut loft = device("Organ loft", 21);
        loft.control = vec!["rtsp".parse().unwrap()];
        let unit = if missing {
            Unit::new(21, "172.16.0.9")
        } else {
            Unit::good(21)
        };
        let mut stranger = Unit::new(99, "192.168.77.9");
        stranger
            .ports
            .insert("rtsp".parse().unwrap(), ControlState::Answered);
        let mut w = World::new(settings(rig(vec![loft]), purpose), vec![unit, stranger]);
        if missing {
            w.units[0].on = false;
        }
        w.plug();
        w.run_to(secs(3.0));
        w.announce(mac(99), "192.168.77.9");
        w.run_to(secs(30.0));
        let mut asked: Vec<String> = away(&w).into_iter().map(|(_, _, port, _)| port).collect();
        asked.sort();
        assert_eq!(asked, expected, "{purpose:?}");
        if !expected.is_empty() {
            let told = &w.snapshot().unlisted[0].control;
            assert!(told.contains(&("rtsp".parse().unwrap(), ControlState::Answered)));
        }
    }
}

#[test]
fn a_survey_asks_strangers_after_its_search_and_waits_for_them() {
    let rig = rig(vec![device("Organ loft", 21)]);
    let stranger = Unit::new(99, "192.168.0.20");
    let mut w = World::new(settings(rig, Purpose::Survey), vec![Unit::good(21), stranger]);
    w.plug();
    let place = crate::Places::Only(vec!["192.168.8.0/22".parse().unwrap()]);
    let now = w.now;
    assert!(w.ledger.search(now, place, vocab::Pace::Own));
    w.run_until(60.0, |w| !w.ledger.is_searching());
    let over = w.now;
    // The world goes on in steps of 10 ms.
    assert!(away(&w).iter().all(|(at, ..)| over.since(*at).as_millis() <= 10));
    assert!(w.ledger.awaits_ports(over, over));
    w.run_until(60.0, |w| !w.ledger.awaits_ports(w.now, over));
    assert_eq!(away(&w).len(), 4);
    assert_eq!(w.snapshot().unlisted[0].control.len(), 4);
}

#[test]
fn whoever_asks_for_a_borrowed_address_calls_nobody() {
    for (lent, calls) in [(false, 1), (true, 0)] {
        let mut w = strayed();
        w.run_to(secs(10.0));
        if lent {
            w.see(vocab::Fact::Borrowed {
                address: ip("192.168.0.211"),
            });
        }
        for _ in 0..8 {
            w.arp(mac(21), mac(21), "192.168.0.20", "192.168.0.211");
            w.run(1.0);
        }
        assert_eq!(w.findings(FindingKind::CallsForNobody).len(), calls);
    }
}

fn range(first: u32, span: u32) -> AddressRange {
    let last = first.saturating_add(span);
    AddressRange::new(first.into(), last.into()).unwrap()
}

/// Addresses that crowd into a few networks, so that they meet.
fn place() -> impl Strategy<Value = u32> {
    prop_oneof![
        0x0a28_0800_u32..0x0a28_0a00,
        0xc0a8_0000_u32..0xc0a8_0200,
        0xa9fe_0000_u32..0xa9fe_0200,
        any::<u32>(),
    ]
}

proptest! {
    /// Whatever the rig file and the computer say: nothing that is theirs can be borrowed.
    #[test]
    fn nothing_that_is_anybodys_can_be_borrowed(
        (target, subnet, prefix) in (place(), place(), 16_u8..=30),
        devices in prop::collection::vec(place(), 0..8),
        ranges in prop::collection::vec((place(), 0_u32..200), 10),
        own in prop::collection::vec((place(), 20_u8..=30), 0..3),
        gateway in prop::option::of(place()),
        (other, other_prefix) in (place(), 24_u8..=30),
    ) {
        let mut rig = rig(devices
            .iter()
            .enumerate()
            .map(|(n, a)| {
                let mut d = device(&format!("d{n}"), n as u8);
                d.address = AddressSpec::Fixed((*a).into());
                d
            })
            .collect());
        rig.network.subnet = Ipv4Net::new(subnet.into(), prefix).unwrap().trunc();
        rig.network.gateway = gateway.map(Ipv4Addr::from);
        let mut kept = ranges.iter().map(|(first, span)| range(*first, *span));
        rig.network.leases = kept.by_ref().take(2).collect();
        rig.plan = Plan {
            reserved: kept.by_ref().take(2).collect(),
            blocks: [Role::Camera, Role::Panel].into_iter().zip(kept.by_ref()).collect(),
        };
        let mut second = rig.network.clone();
        second.name = "stage".into();
        second.subnet = Ipv4Net::new(other.into(), other_prefix).unwrap().trunc();
        second.gateway = Some(Ipv4Addr::from(other));
        second.leases = kept.by_ref().take(1).collect();
        rig.others.push(second);
        let mut settings = settings(rig.clone(), Purpose::Board);
        settings.factory = kept.collect();
        let mut ledger = Ledger::new(settings.clone(), Moment::ZERO);
        let mut here = station();
        let mut nets = own.iter().map(|(a, len)| Ipv4Net::new((*a).into(), *len).unwrap());
        here.addresses = nets.by_ref().take(2).collect();
        here.others = nets
            .map(|net| vocab::OtherPort {
                name: "eth1".into(),
                mac: None,
                addresses: vec![net],
                medium: vocab::Medium::Wired,
            })
            .collect();
        ledger.fold(&vocab::Sighting { at: Moment::ZERO, fact: vocab::Fact::Station(here.clone()) });

        let target = Ipv4Addr::from(target);
        let lendable = ledger.lendable(target);
        let [a, b, c, _] = target.octets();
        for d in 0..=255 {
            let address = Ipv4Addr::new(a, b, c, d);
            let theirs = matches!(d, 0 | 255)
                || address == target
                || rig.networks().any(|n| n.subnet.contains(&address) || n.gateway == Some(address))
                || rig.devices.iter().any(|x| x.fixed_address() == Some(address))
                || rig.networks().flat_map(|n| &n.leases).any(|r| r.contains(address))
                || rig.plan.reserved.iter().any(|r| r.contains(address))
                || rig.plan.blocks.values().any(|r| r.contains(address))
                || settings.factory.iter().any(|r| r.contains(address))
                || here.addresses.iter().any(|n| n.contains(&address))
                || here.others.iter().flat_map(|o| &o.addresses).any(|n| n.contains(&address))
                || target.is_link_local() && matches!(c, 0 | 255);
            let can = lendable.iter().any(|r| r.contains(address));
            prop_assert_eq!(can, !theirs, "{} for {}: {:?}", address, target, lendable);
        }

        // Where the user asks for one of two in a subnet of ours or the rig's.
        let nets: Vec<Ipv4Net> = here
            .addresses
            .iter()
            .copied()
            .chain([rig.network.subnet])
            .filter(|n| n.contains(&target))
            .collect();
        for address in ledger.lendable_near(target).iter().flat_map(|r| r.addresses()) {
            prop_assert_eq!(address.octets()[..3].to_vec(), vec![a, b, c]);
            prop_assert!(nets.iter().any(|n| n.contains(&address)), "{} for {}", address, target);
            let theirs = matches!(address.octets()[3], 0 | 255)
                || address == target
                || rig.networks().any(|n| n.gateway == Some(address))
                || rig.devices.iter().any(|x| x.fixed_address() == Some(address))
                || rig.networks().flat_map(|n| &n.leases).any(|r| r.contains(address))
                || rig.plan.reserved.iter().any(|r| r.contains(address))
                || rig.plan.blocks.values().any(|r| r.contains(address))
                || settings.factory.iter().any(|r| r.contains(address))
                || here.addresses.iter().any(|n| n.addr() == address)
                || here.others.iter().flat_map(|o| &o.addresses).any(|n| n.addr() == address);
            prop_assert!(!theirs, "{} for {}", address, target);
        }
    }
}

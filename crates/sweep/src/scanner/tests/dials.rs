//! The unprivileged way, and dials.

use std::net::Ipv4Addr;

use link::DialEvent;
use vocab::{ArpForm, Ask, Budget, ControlState, Fact, Mode, Pace, Rank, SilentTo};

use super::toy::{Toy, address, config, host, mac, ms, own};
use super::{arp_ask, rig, sent, silent};
use crate::{Config, Dialing};

#[test]
fn the_unprivileged_way_pokes_and_pings() {
    let mut toy = Toy::new(Config {
        mode: Mode::Unprivileged,
        ..config()
    });
    toy.hosts.push(host(21));
    toy.ask(rig(21, ArpForm::Broadcast));
    toy.ask(rig(22, ArpForm::Unicast(mac(22))));
    toy.ask(rig(23, ArpForm::Nobody));
    toy.ask(arp_ask(
        Ipv4Addr::new(192, 168, 0, 20),
        ArpForm::Broadcast,
        Rank::Rig,
        Budget::Pass,
    ));
    toy.ask(Ask::Echo {
        address: address(21),
        mac: Some(mac(21)),
        rank: Rank::Rig,
    });
    toy.run(ms(4_000));
    let what = SilentTo::Arp(ArpForm::Broadcast);
    assert_eq!(
        sent(&toy).iter().map(|s| (s.1, s.2)).collect::<Vec<_>>(),
        [
            (address(21), what),
            (address(22), what),
            (address(21), SilentTo::Echo(None))
        ]
    );
    let found = toy.facts(|_, f| match f {
        Fact::Neighbour {
            address,
            mac,
            rtt: Some(_),
        } => Some((*address, *mac)),
        _ => None,
    });
    assert_eq!(found, [(address(21), mac(21))]);
    assert_eq!(silent(&toy), [(silent(&toy)[0].0, address(22), what)]);
    assert_eq!(
        toy.facts(|_, f| matches!(f, Fact::Echo { mac: None, .. }).then_some(()))
            .len(),
        1
    );
}

#[test]
fn a_host_that_the_kernel_is_sure_of_is_silent_only_by_proof() {
    let mut toy = Toy::new(Config {
        mode: Mode::Unprivileged,
        ..config()
    });
    // The kernel is sure of both and says nothing more of them; 22 answers no echo.
    for n in [21, 22] {
        toy.scanner.neighbour(toy.now, address(n), Some(mac(n)));
        toy.ask(rig(n, ArpForm::Broadcast));
    }
    toy.pongs_only = true;
    toy.hosts.push(host(21));
    toy.run(ms(3_000));
    let arp = SilentTo::Arp(ArpForm::Broadcast);
    assert_eq!(
        silent(&toy).iter().map(|s| (s.1, s.2)).collect::<Vec<_>>(),
        [(address(22), SilentTo::Echo(None))]
    );
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
    let mut toy = Toy::new(Config {
        pace: Pace::House,
        ..config()
    });
    for port in ["http", "visca-udp"] {
        toy.ask(Ask::Control {
            address: address(21),
            mac: None,
            port: port.parse().unwrap(),
        });
    }
    toy.ask(Ask::Control {
        address: Ipv4Addr::new(192, 168, 0, 20),
        mac: None,
        port: "http".parse().unwrap(),
    });
    toy.run(ms(3_000));
    let dials: Vec<u64> = toy.dials.iter().map(|(at, _)| at.as_millis()).collect();
    assert_eq!(
        dials[..2],
        [800, 1_000],
        "nine frames less the one in hand, then two"
    );
    let not_asked = toy.facts(|_, f| matches!(f, Fact::ControlNotAsked { .. }).then_some(()));
    assert_eq!(not_asked.len(), 1);
}

#[test]
fn under_listen_only_open_dials_are_given_up() {
    let mut toy = Toy::new(config());
    toy.ask(Ask::Control {
        address: address(21),
        mac: None,
        port: "http".parse().unwrap(),
    });
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
    let mut toy = Toy::new(Config {
        dialing: Dialing::User,
        ..config()
    });
    let silent_host = Ask::Control {
        address: address(21),
        mac: Some(mac(21)),
        port: "http".parse().unwrap(),
    };
    toy.ask(silent_host);
    toy.ask(Ask::Control {
        address: address(22),
        mac: None,
        port: "http".parse().unwrap(),
    });
    toy.run(ms(20));
    let heard = wire::peek(&toy.frames[0].1).unwrap();
    assert_eq!((heard.source, heard.destination), (own(), mac(21)));
    toy.run(ms(8_000));
    let told = toy.facts(|_, f| match f {
        Fact::Control {
            address, mac, state, ..
        } => Some((*address, *mac, Some(*state))),
        Fact::ControlNotAsked { address, .. } => Some((*address, None, None)),
        _ => None,
    });
    assert_eq!(
        told,
        [
            (address(22), None, None),
            (address(21), Some(mac(21)), Some(ControlState::Silent))
        ]
    );
    toy.run(ms(60_000));
    let quiet = toy.frames.len();
    toy.run(ms(120_000));
    assert_eq!(toy.frames.len(), quiet, "closed for good");
}

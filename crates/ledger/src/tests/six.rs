//! IPv6: it tells that hardware is on the wire, and decides nothing.

use std::net::Ipv6Addr;

use vocab::{Ask, Fact, Ipv6Source, LinkState, Mac, RollCall};

use super::world::{Unit, World, device, mac, rig, secs, settings, station};
use crate::{FindingKind, Purpose, Severity, Standing};

const LINK_LOCAL: &str = "fe80::52:43ff:fe00:21";

fn heard(w: &mut World, mac: Mac, address: &str) {
    w.see(Fact::Ipv6 {
        mac,
        address: address.parse().unwrap(),
        source: Ipv6Source::Neighbour,
    });
}

fn lost() -> World {
    let mut w = World::board(
        vec![device("Organ loft", 21), device("West door", 22)],
        vec![Unit::good(22)],
    );
    w.run_to(secs(5.0));
    assert_eq!(w.standing("Organ loft"), Standing::Missing);
    w
}

#[test]
fn a_missing_device_on_the_wire_is_said_to_be_so_and_stays_missing() {
    let mut w = lost();
    let before = w.snapshot().devices[0].advice.clone();
    assert!(before.contains("network cable"), "{before}");
    heard(&mut w, mac(21), LINK_LOCAL);
    let s = w.snapshot();
    assert_eq!(s.devices[0].standing, Standing::Missing);
    assert!(
        s.devices[0].advice.contains("which IPv4 address it has"),
        "{}",
        s.devices[0].advice
    );
    let finding = &w.findings(FindingKind::Missing)[0];
    assert_eq!(finding.severity, Severity::Fault);
    assert!(finding.text.contains("on the wire (IPv6)"), "{}", finding.text);
    assert!(s.unlisted.is_empty(), "it is the listed device's hardware");
    // Nothing more is heard: after a while the cable is to be looked at again.
    w.run(240.0);
    assert_eq!(w.snapshot().devices[0].advice, before);
}

/// A cable that is pulled takes IPv6 with it.
#[test]
fn what_was_heard_before_it_fell_silent_says_nothing_of_where_it_is() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(5.0));
    heard(&mut w, mac(21), LINK_LOCAL);
    w.run(5.0);
    w.units[0].on = false;
    w.run_until(6.0, |w| w.standing("Organ loft") == Standing::Missing);
    let advice = |w: &World| w.snapshot().devices[0].advice.clone();
    assert!(advice(&w).contains("network cable"), "{}", advice(&w));
    heard(&mut w, mac(21), LINK_LOCAL);
    assert!(advice(&w).contains("which IPv4 address it has"), "{}", advice(&w));
}

#[test]
fn present_devices_and_silence_are_what_they_were() {
    let mut w = lost();
    let before = w.snapshot().devices[1].clone();
    heard(&mut w, mac(22), LINK_LOCAL);
    let after = w.snapshot().devices[1].clone();
    assert_eq!((before.standing, before.advice), (after.standing, after.advice));
    heard(&mut w, mac(21), LINK_LOCAL);
    w.see(Fact::Station(vocab::Station {
        state: LinkState::NoCarrier,
        ..station()
    }));
    w.see(Fact::Station(station()));
    w.run(5.0);
    let advice = w.snapshot().devices[0].advice.clone();
    assert!(
        advice.contains("network cable"),
        "heard before the cable was pulled: {advice}"
    );
}

#[test]
fn a_stranger_without_ipv4_is_shown_by_its_link_local_address() {
    let mut w = lost();
    heard(&mut w, mac(90), "2001:db8::9");
    heard(&mut w, mac(90), LINK_LOCAL);
    heard(&mut w, mac(90), "2001:db8::9");
    heard(&mut w, Mac::BROADCAST, LINK_LOCAL);
    heard(&mut w, station().mac, LINK_LOCAL);
    let s = w.snapshot();
    assert_eq!(s.unlisted_total, 1);
    assert_eq!(s.unlisted[0].mac, Some(mac(90)));
    assert_eq!(
        s.unlisted[0].ipv6,
        Some((LINK_LOCAL.parse::<Ipv6Addr>().unwrap(), Ipv6Source::Neighbour))
    );
    assert!(s.unlisted[0].addresses.is_empty() && !s.unlisted[0].on_subnet);
}

#[test]
fn all_are_asked_at_the_start_and_once_more_when_there_is_an_address_to_ask_from() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(3.0));
    let asked = |w: &World| {
        let of = |(_, ask): &&(vocab::Moment, Ask)| *ask == Ask::RollCall(RollCall::Nodes);
        w.asked.iter().filter(of).count()
    };
    assert_eq!(asked(&w), 1);
    let with_six = || {
        Fact::Station(vocab::Station {
            link_local: Some(LINK_LOCAL.parse().unwrap()),
            ..station()
        })
    };
    w.see(with_six());
    w.run(1.0);
    assert_eq!(asked(&w), 2);
    w.see(with_six());
    w.run(1.0);
    assert_eq!(asked(&w), 2, "it is no news");
}

#[test]
fn what_comes_in_over_ipv6_shows_that_our_port_passes() {
    let missing = |heard_six: bool| {
        let rig = rig(vec![device("Organ loft", 21)]);
        let mut w = World::new(settings(rig, Purpose::Board), Vec::new());
        w.passes = false;
        w.plug();
        w.run_to(secs(2.0));
        for _ in 0..20 {
            if heard_six {
                heard(&mut w, mac(21), LINK_LOCAL);
            }
            w.run(0.4);
        }
        w.standing("Organ loft")
    };
    assert_eq!(missing(false), Standing::Unknown);
    assert_eq!(missing(true), Standing::Missing);
}

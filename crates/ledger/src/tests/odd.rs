//! Things on the wire that prove nothing, and the remaining findings.

use rig::How;
use vocab::{ArpOp, ArpSeen, Fact, Mac};

use super::world::{Unit, World, device, ip, mac, rig, secs, settings};
use crate::{FindingKind, Purpose, Severity, Standing};

#[test]
fn a_frame_in_anothers_name_makes_nothing_present() {
    let mut unit = Unit::good(21);
    unit.source = Some(mac(66));
    let mut w = World::board(vec![device("Organ loft", 21)], vec![unit]);
    w.run_to(secs(10.0));
    assert_eq!(w.standing("Organ loft"), Standing::Missing);
    assert_eq!(w.severity(FindingKind::OddSender), Some(Severity::Note));
    assert_eq!(w.findings(FindingKind::OddSender)[0].macs, [mac(66), mac(21)]);
}

#[test]
fn tagged_frames_are_noted_and_not_counted() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![]);
    w.see(Fact::Arp(ArpSeen {
        frame_source: mac(21),
        sender: mac(21),
        address: ip("10.40.8.21"),
        target: ip("10.40.8.21"),
        op: ArpOp::Request,
        vlan: Some(30),
        answers: None,
    }));
    w.run(5.0);
    assert_eq!(w.standing("Organ loft"), Standing::Missing);
    assert_eq!(w.severity(FindingKind::TaggedFrames), Some(Severity::Note));
}

#[test]
fn groups_our_own_frames_and_nonsense_addresses_are_no_hosts() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![]);
    w.announce(Mac::BROADCAST, "10.40.8.90");
    w.announce(Mac::ZERO, "10.40.8.90");
    w.announce(mac(250), "10.40.8.250");
    for address in ["255.255.255.255", "224.0.0.251", "127.0.0.1"] {
        w.announce(mac(99), address);
    }
    assert_eq!(w.snapshot().unlisted_total, 0);
}

#[test]
fn a_silent_gateway_is_a_risk_and_ends() {
    let mut r = rig(vec![device("Organ loft", 21)]);
    r.network.gateway = Some(ip("10.40.8.1"));
    let mut w = World::new(settings(r, Purpose::Board), vec![Unit::good(21)]);
    w.plug();
    w.run_to(secs(4.0));
    assert_eq!(w.severity(FindingKind::GatewaySilent), Some(Severity::Risk));
    assert!(w.snapshot().ready);
    w.units.push(Unit::new(1, "10.40.8.1"));
    w.run(4.0);
    assert_eq!(w.severity(FindingKind::GatewaySilent), None);
    assert_eq!(w.snapshot().gateway, Some((ip("10.40.8.1"), Some(mac(1)))));
    assert!(w.snapshot().unlisted.is_empty());
}

#[test]
fn a_static_address_in_a_pool_is_a_risk_and_a_reserved_one_is_not() {
    let mut r = rig(vec![device("Organ loft", 21), device("West door", 22)]);
    r.devices[1].how = How::Reserved;
    r.network.leases = vec!["10.40.8.20-30".parse().unwrap()];
    let mut w = World::new(settings(r, Purpose::Board), vec![Unit::good(21), Unit::good(22)]);
    w.plug();
    w.run_to(secs(4.0));
    let all = w.findings(FindingKind::StaticInLeasePool);
    assert_eq!((all.len(), all[0].severity), (1, Severity::Risk));
    assert_eq!(all[0].devices, ["Organ loft"]);
    assert!(w.snapshot().ready);
}

#[test]
fn strangers_are_listed_by_address_and_confirmed_once() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(5.0));
    let before = w.asked.len();
    w.announce(mac(99), "10.40.8.99");
    w.announce(mac(98), "172.20.1.5");
    w.run(1.0);
    let asked: Vec<_> = w.asked[before..]
        .iter()
        .filter_map(|(_, a)| match a {
            vocab::Ask::Arp {
                address,
                form,
                rank: vocab::Rank::Heard,
                ..
            } => Some((*address, *form)),
            _ => None,
        })
        .collect();
    assert_eq!(
        asked,
        [
            (ip("10.40.8.99"), vocab::ArpForm::Broadcast),
            (ip("172.20.1.5"), vocab::ArpForm::Nobody)
        ]
    );
    let s = w.snapshot();
    assert_eq!(
        s.unlisted.iter().map(|h| h.on_subnet).collect::<Vec<_>>(),
        [false, true]
    );
}

#[test]
fn an_extra_address_that_is_another_devices_is_a_note_until_it_is_let_go() {
    let mut both = Unit::good(21);
    both.addresses.push(ip("10.40.8.22"));
    let mut w = World::board(
        vec![device("Organ loft", 21), device("West door", 22)],
        vec![both],
    );
    w.run_to(secs(20.0));
    assert_eq!(w.findings(FindingKind::ExtraAddress).len(), 1);
    w.units[0].addresses.pop();
    w.run(30.0);
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    assert_eq!(w.standing("West door"), Standing::Missing);
    assert!(w.findings(FindingKind::ExtraAddress).is_empty());
}

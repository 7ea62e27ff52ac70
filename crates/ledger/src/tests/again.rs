//! Starts that are a finding: in a loop, and before the DHCP server.

use rig::{AddressSpec, Device, How, Need, PoeType, PoeTypes, Power, Switch, SwitchPort};
use vocab::{Ask, DhcpOffer};

use super::world::{Unit, World, device, ip, mac, rig, secs, settings};
use crate::{Finding, FindingKind, Purpose, Severity, Standing, Subject};

const LOOP: FindingKind = FindingKind::RestartLoop;
const AGAIN: FindingKind = FindingKind::NeedsRestart;

/// The organ loft's camera on port 3 of a switch.
fn loft(class: u8, poe: PoeType, budget_w: f64) -> World {
    let at = |port| SwitchPort {
        switch: "S1".to_owned(),
        port,
    };
    let mut d = device("Organ loft", 21);
    (d.port, d.power) = (Some(at(3)), Some(Power::Class(class)));
    let mut other = device("Foyer", 22);
    (other.port, other.power, other.need) = (Some(at(4)), Some(Power::Class(3)), Need::Later);
    let mut rig = rig(vec![d, other]);
    rig.switches.push(Switch {
        name: "S1".to_owned(),
        ports: Some(8),
        budget_w: Some(budget_w),
        poe: PoeTypes::All(poe),
        uplink_mbps: None,
        uplink: None,
        address: None,
        network: rig.network.name.clone(),
        macs: Vec::new(),
    });
    let mut w = World::new(settings(rig, Purpose::Board), vec![Unit::good(21)]);
    w.plug();
    w.run_to(secs(5.0));
    w
}

/// One whole start that takes 6 s.
fn restart(w: &mut World) {
    w.units[0].on = false;
    w.probe(mac(21), "10.40.8.21");
    w.run(6.0);
    w.units[0].on = true;
    w.announce(mac(21), "10.40.8.21");
    w.run(1.0);
}

#[test]
fn three_complete_starts_within_ten_minutes_are_a_loop_until_they_are_long_past() {
    let mut w = loft(3, PoeType::Two, 90.0);
    for n in 1..=3 {
        restart(&mut w);
        assert_eq!(w.findings(LOOP).len(), usize::from(n == 3), "start {n}");
        w.run(113.0);
    }
    let found = w.findings(LOOP).remove(0);
    assert_eq!(found.severity, Severity::Risk);
    assert_eq!(found.devices, ["Organ loft"]);
    assert_eq!(found.text, "Organ loft started 3 times within 4 min 6 s.");
    assert_eq!(
        found.advice,
        "Look at the power supply and the network cable of Organ loft (gallery, left), up to S1/3: does it start \
         again when its head moves, the power is short."
    );
    let told = |w: &World| {
        let of = |c: &&crate::Change| matches!(c.subject, Subject::Finding { kind, .. } if kind == LOOP);
        w.changes.iter().filter(of).map(|c| c.worse).collect::<Vec<_>>()
    };
    assert_eq!(told(&w), [true]);
    restart(&mut w);
    assert!(
        w.findings(LOOP)[0].text.contains("4 times within 6 min 6 s"),
        "{:?}",
        w.findings(LOOP)
    );
    w.run(477.0);
    assert_eq!(
        w.findings(LOOP).len(),
        0,
        "the third before the last is ten minutes past"
    );
    assert_eq!(told(&w), [true, false]);
}

#[test]
fn starts_that_came_to_nothing_or_lie_far_apart_are_no_loop() {
    let mut w = loft(3, PoeType::Two, 90.0);
    for _ in 0..4 {
        restart(&mut w);
        w.run(300.0);
    }
    assert!(w.findings(LOOP).is_empty());
    for _ in 0..5 {
        w.units[0].on = false;
        w.probe(mac(21), "10.40.8.21");
        w.run(30.0);
    }
    assert!(w.findings(LOOP).is_empty());
}

#[test]
fn a_weak_port_or_a_small_budget_is_named_as_what_may_be_behind_it() {
    let advice = |class, poe, budget| {
        let mut w = loft(class, poe, budget);
        for _ in 0..3 {
            restart(&mut w);
            w.run(20.0);
        }
        w.findings(LOOP).remove(0).advice
    };
    assert_eq!(
        advice(4, PoeType::One, 90.0),
        "Organ loft is of class 4, and S1/3 is a Type 1 port, which gives 15.4 W: plug Organ loft (gallery, left) \
         into a port of Type 2 or higher, or power it by its own supply."
    );
    assert_eq!(
        advice(4, PoeType::Two, 45.0),
        "The devices on S1 may ask for 45.4 W together, and it has 45.0 W: take Organ loft (gallery, left) or \
         another device off S1, or power it by its own supply."
    );
    assert!(advice(4, PoeType::Two, 45.4).starts_with("Look at the power supply"));
}

fn server() -> DhcpOffer {
    DhcpOffer {
        server: ip("10.40.8.1"),
        mac: mac(1),
        offered: ip("10.40.8.133"),
        mask: Some(ip("255.255.255.0")),
        router: None,
        lease_s: Some(43_200),
    }
}

fn by_dhcp(name: &str, n: u8) -> Device {
    Device {
        address: AddressSpec::Dhcp,
        ..device(name, n)
    }
}

/// Three that take leases, and no server: two fall back to link-local, one says no more. The server
/// comes after two minutes.
fn before_the_server() -> World {
    let reserved = Device {
        how: How::Reserved,
        ..device("Encoder", 23)
    };
    let rig = vec![
        by_dhcp("Tablet", 21),
        by_dhcp("Talkback", 22),
        reserved,
        device("Static", 24),
    ];
    let mut w = World::board(rig, vec![Unit::good(24)]);
    w.run_to(secs(20.0));
    assert_eq!(w.severity(FindingKind::NoDhcpAnswer), Some(Severity::Risk));
    for _ in 0..3 {
        for n in [21, 22, 23] {
            w.discover(mac(n));
        }
        w.run(6.0);
    }
    for (n, address) in [(21, "169.254.3.7"), (23, "169.254.4.4")] {
        w.units.push(Unit::new(n, address));
        w.announce(mac(n), address);
    }
    w.run_to(secs(120.0));
    w.servers = vec![server()];
    w.run_until(80.0, |w| w.findings(FindingKind::NoDhcpAnswer).is_empty());
    w
}

fn again(w: &World) -> Option<Finding> {
    w.findings(AGAIN).pop()
}

#[test]
fn who_started_before_the_server_and_asks_no_more_needs_another_restart() {
    let mut w = before_the_server();
    w.run(69.0);
    assert_eq!(again(&w), None, "one that still asks would have asked by then");
    w.run(2.0);
    let found = again(&w).unwrap();
    assert_eq!(
        (found.severity, found.kind.as_str()),
        (Severity::Risk, "needs_restart")
    );
    assert_eq!(found.devices, ["Tablet", "Talkback", "Encoder"]);
    assert_eq!(
        found.text,
        "Tablet, Talkback and Encoder started before the DHCP server did and have no address from it."
    );
    assert!(
        found
            .advice
            .starts_with("Restart Tablet, Talkback and Encoder once more"),
        "{}",
        found.advice
    );
    // Each ends its part of it by getting an address.
    w.units.retain(|u| u.mac != mac(23));
    w.units.push(Unit::good(23));
    w.discover(mac(23));
    w.announce(mac(23), "10.40.8.23");
    w.run(2.0);
    assert_eq!(again(&w).unwrap().devices, ["Tablet", "Talkback"]);
    for (n, address) in [(21, "10.40.8.133"), (22, "10.40.8.134")] {
        w.units.push(Unit::new(n, address));
        w.announce(mac(n), address);
    }
    w.run(2.0);
    assert_eq!(again(&w), None);
    let told = w
        .changes
        .iter()
        .filter(|c| matches!(c.subject, Subject::Finding { kind: AGAIN, .. }));
    assert_eq!(
        told.map(|c| c.worse).collect::<Vec<_>>(),
        [true, false],
        "told once, ended once"
    );
}

#[test]
fn who_still_asks_is_not_told_to_be_restarted() {
    let mut w = before_the_server();
    w.run(30.0);
    for n in [21, 22, 23] {
        // It asks, and the server does not serve it: another trouble.
        w.discover(mac(n));
    }
    w.run(200.0);
    assert_eq!(again(&w), None);
}

#[test]
fn a_server_that_was_there_all_the_time_makes_nobody_need_a_restart() {
    let mut w = World::board(vec![by_dhcp("Tablet", 21)], vec![]);
    w.servers = vec![server()];
    w.run_to(secs(20.0));
    w.discover(mac(21));
    w.units.push(Unit::new(21, "169.254.3.7"));
    w.announce(mac(21), "169.254.3.7");
    w.run(300.0);
    assert_eq!(w.standing("Tablet"), Standing::WrongSubnet);
    assert_eq!(again(&w), None);
}

#[test]
fn a_device_that_seeks_an_address_for_long_makes_us_ask_who_gives_them() {
    let mut w = World::board(vec![by_dhcp("Tablet", 21)], vec![Unit::new(21, "10.40.8.133")]);
    w.servers = vec![server()];
    w.run_to(secs(100.0));
    let asked = |w: &World| {
        w.asked
            .iter()
            .filter(|(_, a)| matches!(a, Ask::Dhcp { .. }))
            .count()
    };
    assert_eq!(asked(&w), 1);
    // The power goes, the server stays away.
    w.servers.clear();
    w.units.clear();
    w.run(20.0);
    w.discover(mac(21));
    w.run(9.0);
    assert_eq!(asked(&w), 1);
    w.run(15.0);
    assert_eq!(asked(&w), 2);
    assert_eq!(w.findings(FindingKind::NoDhcpAnswer).len(), 1);
    w.run_to(secs(200.0));
    w.servers = vec![server()];
    w.run(140.0);
    assert_eq!(again(&w).unwrap().devices, ["Tablet"], "it met no server");
}

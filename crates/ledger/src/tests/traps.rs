//! Traps of real networks: sleepers, shared hardware addresses, a port kept apart, no querier.

use rig::Role;
use vocab::{ArpForm, ControlState, Fact, Mac, NameSource};

use super::unit::Unit;
use super::world::{World, device, ip, mac, rig, secs, settings};
use crate::{FindingKind, Purpose, Severity, Standing};

fn proxy() -> Unit {
    let mut unit = Unit::new(90, "10.40.8.90");
    unit.addresses.push(ip("10.40.8.64"));
    unit
}

fn speaks(w: &mut World) {
    w.see(Fact::SleepProxy {
        mac: mac(90),
        address: ip("10.40.8.90"),
    });
}

#[test]
fn a_sleep_proxy_makes_nobody_present_nor_replaced() {
    for listed in [true, false] {
        let mut laptop = device("Desk laptop", 64);
        if !listed {
            laptop.macs.clear();
        }
        let mut w = World::board(
            vec![device("Organ loft", 21), laptop],
            vec![Unit::good(21), proxy()],
        );
        speaks(&mut w);
        w.run_to(secs(12.0));
        assert_eq!(w.standing("Desk laptop"), Standing::Missing, "listed {listed}");
        for wrong in [Standing::Present, Standing::Replaced, Standing::Conflict] {
            assert!(!w.course("Desk laptop").contains(&wrong), "{wrong:?}");
        }
        let note = &w.findings(FindingKind::SleepProxy)[0];
        assert_eq!(
            (note.severity, note.devices.as_slice()),
            (Severity::Note, &["Desk laptop".to_owned()][..])
        );
        assert!(note.advice.contains("gallery, left"), "{}", note.advice);
        let missing = &w.findings(FindingKind::Missing)[0];
        assert!(missing.text.contains("asleep"), "{}", missing.text);
        assert!(w.findings(FindingKind::ProxyArp).is_empty());
        // It wakes: the proxy steps back, and not at once.
        w.units.push(Unit::good(64));
        w.run(2.0);
        w.units[1].addresses.pop();
        w.run(4.0);
        assert_eq!(w.standing("Desk laptop"), Standing::Present, "listed {listed}");
        assert!(!w.course("Desk laptop").contains(&Standing::Conflict));
        assert!(w.findings(FindingKind::SleepProxy).is_empty());
    }
}

#[test]
fn one_that_is_told_late_to_be_a_sleep_proxy_is_no_owner_from_then_on() {
    let mut laptop = device("Desk laptop", 64);
    laptop.sleeps = true;
    let mut w = World::board(vec![laptop], vec![proxy()]);
    w.run_to(secs(12.0));
    assert_eq!(w.standing("Desk laptop"), Standing::Replaced);
    speaks(&mut w);
    w.run(1.0);
    assert_eq!(w.standing("Desk laptop"), Standing::Missing);
    assert_eq!(
        w.severity(FindingKind::Missing),
        Some(Severity::Note),
        "it may doze"
    );
}

#[test]
fn a_sleep_proxy_is_present_at_its_own_address() {
    let mut w = World::board(
        vec![device("Media box", 90), device("Desk laptop", 64)],
        vec![proxy()],
    );
    speaks(&mut w);
    w.run_to(secs(12.0));
    assert_eq!(w.standing("Media box"), Standing::Present);
    assert_eq!(w.standing("Desk laptop"), Standing::Missing);
    assert!(w.findings(FindingKind::ExtraAddress).is_empty());
}

#[test]
fn a_card_that_answers_for_a_sleeper_is_a_note() {
    let mut laptop = device("Desk laptop", 64);
    (laptop.role, laptop.sleeps) = (Role::Computer, true);
    laptop.control = vec!["http".parse().unwrap()];
    let mut camera = device("Organ loft", 21);
    camera.control = vec!["http".parse().unwrap()];
    let mut units = vec![Unit::good(64), Unit::good(21)];
    for unit in &mut units {
        unit.echo = false;
        let state = if unit.mac == mac(64) {
            ControlState::Silent
        } else {
            ControlState::Answered
        };
        unit.ports.insert("http".parse().unwrap(), state);
    }
    let mut w = World::board(vec![camera, laptop], units);
    w.run_to(secs(40.0));
    assert_eq!(w.standing("Desk laptop"), Standing::NoControl);
    let finding = &w.findings(FindingKind::NoControl)[0];
    assert_eq!(finding.severity, Severity::Note);
    assert!(
        finding.text.contains("asleep") && finding.advice.starts_with("Wake"),
        "{finding:?}"
    );
    let notes = w.findings(FindingKind::ArpOnly);
    assert_eq!(
        notes.len(),
        1,
        "one whose control port answers is awake: {notes:?}"
    );
    assert_eq!(notes[0].devices, ["Desk laptop"]);
    w.units[0].echo = true;
    w.units[0]
        .ports
        .insert("http".parse().unwrap(), ControlState::Answered);
    assert!(w.ledger.ask_control(w.now, "Desk laptop"));
    w.run(12.0);
    assert_eq!(w.standing("Desk laptop"), Standing::Present);
    assert!(w.findings(FindingKind::ArpOnly).is_empty());
}

/// Two units with one hardware address.
fn twins() -> World {
    let mut nameless = device("West door", 22);
    nameless.macs.clear();
    let other = Unit {
        mac: mac(21),
        ttl: 128,
        ..Unit::good(22)
    };
    World::board(
        vec![device("Organ loft", 21), nameless],
        vec![Unit::good(21), other],
    )
}

#[test]
fn two_systems_behind_one_hardware_address_show_by_their_hops() {
    let mut w = twins();
    w.run_to(secs(12.0));
    let risk = &w.findings(FindingKind::DuplicateMac)[0];
    assert_eq!(
        (risk.severity, risk.macs.as_slice()),
        (Severity::Risk, &[mac(21)][..])
    );
    assert_eq!(risk.devices, ["Organ loft", "West door"]);
    assert!(
        risk.text.contains("64 hops") && risk.text.contains("128"),
        "{}",
        risk.text
    );
    assert!(w.findings(FindingKind::AddressConflict).is_empty());
    w.units.remove(1);
    w.run(10.0);
    assert!(w.findings(FindingKind::DuplicateMac).is_empty());
    assert_eq!(w.standing("West door"), Standing::Missing);
}

#[test]
fn two_systems_behind_one_hardware_address_show_by_their_names() {
    let mut w = twins();
    w.units[1].ttl = 64;
    w.run_to(secs(12.0));
    assert!(
        w.findings(FindingKind::DuplicateMac).is_empty(),
        "two addresses alone say nothing"
    );
    w.named(mac(21), Some("10.40.8.21"), &[("loft", NameSource::Mdns)]);
    w.named(mac(21), Some("10.40.8.22"), &[("loft", NameSource::Mdns)]);
    w.run(1.0);
    assert!(w.findings(FindingKind::DuplicateMac).is_empty());
    w.named(mac(21), Some("10.40.8.22"), &[("door", NameSource::Mdns)]);
    w.run(1.0);
    let risk = &w.findings(FindingKind::DuplicateMac)[0];
    assert!(
        risk.text.contains("loft") && risk.text.contains("door"),
        "{}",
        risk.text
    );
}

#[test]
fn names_by_dhcp_must_come_and_go_before_they_tell_of_two() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(3.0));
    for (n, name) in ["loft", "gallery", "loft", "gallery"].into_iter().enumerate() {
        assert!(w.findings(FindingKind::DuplicateMac).is_empty(), "after {n}");
        w.named(mac(21), None, &[(name, NameSource::Dhcp)]);
        w.run(1.0);
    }
    assert_eq!(w.findings(FindingKind::DuplicateMac).len(), 1);
    // One that gets ever new names is renamed, or does not know its name.
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    for n in 0..9 {
        w.named(mac(21), None, &[(&format!("n{n}"), NameSource::Dhcp)]);
        w.run(1.0);
    }
    assert!(w.findings(FindingKind::DuplicateMac).is_empty());
}

/// Three cameras and a gateway, of which only the gateway is heard.
fn apart(units: Vec<Unit>) -> World {
    let names = [("Organ loft", 21), ("West door", 22), ("Stage left", 23)];
    let mut r = rig(names.map(|(name, n)| device(name, n)).to_vec());
    r.network.gateway = Some(ip("10.40.8.1"));
    let mut w = World::new(settings(r, Purpose::Board), units);
    w.plug();
    w
}

#[test]
fn a_port_kept_apart_is_said_once_and_they_are_missing_all_the_same() {
    let mut w = apart(vec![Unit::new(1, "10.40.8.1")]);
    w.run_to(secs(6.0));
    assert_eq!(w.snapshot().counts.of(Standing::Missing), 3);
    let fault = &w.findings(FindingKind::ClientIsolation)[0];
    assert_eq!((fault.severity, fault.devices.len()), (Severity::Fault, 3));
    assert!(
        fault.text.starts_with("The gateway 10.40.8.1 answers"),
        "{}",
        fault.text
    );
    assert!(fault.advice.contains("gallery, left"), "{}", fault.advice);
    let first = &w.snapshot().findings[0];
    assert_eq!(
        first.kind,
        FindingKind::ClientIsolation,
        "before what it explains"
    );
    assert!(
        w.snapshot().headline.contains("kept apart"),
        "{}",
        w.snapshot().headline
    );
    w.units.push(Unit::good(22));
    w.run(4.0);
    assert!(w.findings(FindingKind::ClientIsolation).is_empty());
    assert_eq!(w.snapshot().counts.of(Standing::Missing), 2);
}

#[test]
fn an_empty_wire_and_one_missing_device_are_no_port_kept_apart() {
    let mut w = apart(Vec::new());
    w.run_to(secs(6.0));
    assert_eq!(w.snapshot().counts.of(Standing::Missing), 3);
    assert!(w.findings(FindingKind::ClientIsolation).is_empty());
    let mut w = apart(vec![Unit::new(1, "10.40.8.1"), Unit::good(21), Unit::good(23)]);
    w.run_to(secs(6.0));
    assert!(w.findings(FindingKind::ClientIsolation).is_empty());
}

#[test]
fn no_querier_is_said_only_after_its_time_and_where_it_matters() {
    let quiet = |onvif: bool, asks: bool| {
        let mut camera = device("Organ loft", 21);
        if onvif {
            camera.control = vec!["onvif".parse().unwrap()];
        }
        let mut unit = Unit::good(21);
        unit.ports
            .insert("onvif".parse().unwrap(), ControlState::Answered);
        let mut w = World::board(vec![camera], vec![unit]);
        for at in (0..=380).step_by(20) {
            w.run_to(secs(f64::from(at)));
            assert!(w.findings(FindingKind::NoQuerier).is_empty(), "{at} s");
            if asks && at % 120 == 0 {
                w.see(Fact::GroupQuery { mac: mac(2) });
            }
        }
        w.run_to(secs(386.0));
        w
    };
    let w = quiet(true, false);
    assert_eq!(w.severity(FindingKind::NoQuerier), Some(Severity::Note));
    assert!(w.ledger.ready());
    assert!(quiet(false, false).findings(FindingKind::NoQuerier).is_empty());
    let mut w = quiet(true, true);
    assert!(w.findings(FindingKind::NoQuerier).is_empty());
    // The querier goes.
    w.run(400.0);
    assert_eq!(w.findings(FindingKind::NoQuerier).len(), 1);
    w.see(Fact::GroupQuery { mac: mac(2) });
    w.run(1.0);
    assert!(w.findings(FindingKind::NoQuerier).is_empty());
}

#[test]
fn a_virtual_router_is_a_note() {
    let shared = Unit {
        mac: Mac::new([0, 0, 0x5e, 0, 1, 7]),
        ..Unit::new(1, "10.40.8.1")
    };
    let mut w = apart(vec![
        shared,
        Unit::new(1, "10.40.8.1"),
        Unit::good(21),
        Unit::good(22),
        Unit::good(23),
    ]);
    w.run_to(secs(12.0));
    let note = &w.findings(FindingKind::VirtualRouter)[0];
    assert_eq!(
        (note.severity, note.address),
        (Severity::Note, Some(ip("10.40.8.1")))
    );
    assert!(note.text.contains("number 7"), "{}", note.text);
    assert!(w.ledger.ready(), "{}", w.snapshot().headline);
    assert!(w.findings(FindingKind::AddressConflict).is_empty());
    // It is asked like any other.
    assert!(w.asked.iter().any(|(_, a)| matches!(
        a,
        vocab::Ask::Arp { address, form: ArpForm::Broadcast, .. } if *address == ip("10.40.8.1")
    )));
}

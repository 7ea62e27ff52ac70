//! Every row of the standings table, and the pairs that can arise on a wire.

use rig::{AddressSpec, How, Need};

use super::world::{Unit, World, device, ip, mac, secs};
use crate::{FindingKind, Severity, Standing};

fn one(units: Vec<Unit>) -> World {
    let mut w = World::board(vec![device("Organ loft", 21)], units);
    w.run_to(secs(3.0));
    w
}

#[test]
fn present_when_its_hardware_holds_its_address() {
    let w = one(vec![Unit::good(21)]);
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    let s = w.snapshot();
    let seen = s.devices[0].seen.clone().unwrap();
    assert_eq!((seen.mac, seen.address), (Some(mac(21)), Some(ip("10.40.8.21"))));
    assert!(seen.rtt.is_some() && s.devices[0].advice.is_empty() && s.findings.is_empty());
    assert!(s.unlisted.is_empty());
}

#[test]
fn missing_only_after_a_run_of_questions_left_and_none_was_answered() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![]);
    let at = w.run_until(5.0, |w| w.standing("Organ loft") == Standing::Missing);
    let sent = w
        .asked
        .iter()
        .filter(|(_, a)| matches!(a, vocab::Ask::Arp { address, .. } if *address == ip("10.40.8.21")))
        .count();
    // Nothing is known of this wire yet, so that six are too many to be loss (docs/detector.md).
    assert!(sent >= 6, "{sent}");
    assert!(at >= secs(1.0) && at < secs(3.0), "{at:?}");
    let s = w.snapshot();
    assert!(s.devices[0].seen.is_none());
    assert_eq!(w.severity(FindingKind::Missing), Some(Severity::Fault));
    assert!(s.headline.contains("Organ loft is missing"), "{}", s.headline);
}

#[test]
fn unknown_stays_while_nothing_was_sent() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![]);
    // The scanner takes the questions, and none ever leaves.
    w.station.state = vocab::LinkState::NoCarrier;
    w.run_to(secs(200.0));
    assert_eq!(w.standing("Organ loft"), Standing::Unknown);
}

#[test]
fn wrong_subnet_is_found_at_a_factory_address_without_touching_anything() {
    let w = one(vec![Unit::new(21, "192.168.0.20")]);
    assert_eq!(w.standing("Organ loft"), Standing::WrongSubnet);
    let s = w.snapshot();
    assert_eq!(s.devices[0].detail, "at 192.168.0.20");
    assert_eq!(
        s.devices[0].seen.as_ref().unwrap().address,
        Some(ip("192.168.0.20"))
    );
    assert!(
        s.devices[0].advice.contains("10.40.8.21, mask 255.255.255.0"),
        "{}",
        s.devices[0].advice
    );
    assert!(s.devices[0].advice.contains("gallery, left"));
    assert_eq!(w.severity(FindingKind::WrongSubnet), Some(Severity::Fault));
    assert!(s.unlisted.is_empty());
}

#[test]
fn one_that_is_back_at_a_wrong_address_is_found_there_without_a_word() {
    let mut w = one(vec![Unit::new(21, "10.40.8.121")]);
    assert_eq!(w.standing("Organ loft"), Standing::Moved);
    w.units[0].on = false;
    w.run_until(60.0, |w| w.standing("Organ loft") == Standing::Missing);
    w.units[0].on = true;
    w.run(100.0);
    assert_eq!(w.standing("Organ loft"), Standing::Moved);
}

#[test]
fn wrong_subnet_is_found_where_it_is_heard_by_chance() {
    let mut w = one(vec![Unit::new(21, "172.20.1.7")]);
    assert_eq!(w.standing("Organ loft"), Standing::Missing);
    w.announce(mac(21), "172.20.1.7");
    // It was missing and is heard: it returns, and has its boot time to settle.
    assert_eq!(w.standing("Organ loft"), Standing::Starting);
    assert_eq!(w.snapshot().devices[0].detail, "for now at 172.20.1.7");
    w.run(76.0);
    assert_eq!(w.standing("Organ loft"), Standing::WrongSubnet);
    // It is asked there, so that it is seen to go.
    w.units[0].on = false;
    w.run_until(60.0, |w| w.standing("Organ loft") == Standing::Missing);
}

#[test]
fn moved_when_its_hardware_is_elsewhere_in_the_subnet() {
    let w = one(vec![Unit::new(21, "10.40.8.99")]);
    assert_eq!(w.standing("Organ loft"), Standing::Moved);
    assert_eq!(w.snapshot().devices[0].detail, "at 10.40.8.99");
    assert_eq!(w.severity(FindingKind::Moved), Some(Severity::Fault));
    assert!(w.snapshot().unlisted.is_empty());
}

#[test]
fn moved_and_reserved_is_mended_in_the_dhcp_server() {
    let mut d = device("Organ loft", 21);
    d.how = How::Reserved;
    let mut w = World::board(vec![d], vec![Unit::new(21, "10.40.8.99")]);
    w.run_to(secs(3.0));
    assert!(w.snapshot().devices[0].advice.contains("DHCP server"));
}

#[test]
fn replaced_when_other_hardware_holds_its_address() {
    let w = one(vec![Unit::new(99, "10.40.8.21")]);
    assert_eq!(w.standing("Organ loft"), Standing::Replaced);
    let s = w.snapshot();
    assert_eq!(s.devices[0].seen.as_ref().unwrap().mac, Some(mac(99)));
    assert!(
        s.unlisted.is_empty(),
        "the claimant that stands for it is not listed twice"
    );
    assert_eq!(w.severity(FindingKind::Replaced), Some(Severity::Fault));
}

#[test]
fn moved_wins_over_replaced() {
    let w = one(vec![Unit::new(99, "10.40.8.21"), Unit::new(21, "10.40.8.77")]);
    assert_eq!(w.standing("Organ loft"), Standing::Moved);
    assert_eq!(w.snapshot().unlisted[0].mac, Some(mac(99)));
}

#[test]
fn wrong_subnet_wins_over_replaced() {
    let w = one(vec![Unit::new(99, "10.40.8.21"), Unit::new(21, "192.168.0.22")]);
    assert_eq!(w.standing("Organ loft"), Standing::WrongSubnet);
    assert_eq!(w.snapshot().unlisted[0].mac, Some(mac(99)));
}

#[test]
fn moved_is_not_wrong_subnet_as_soon_as_one_address_lies_inside() {
    let mut unit = Unit::new(21, "192.168.0.22");
    unit.addresses.push(ip("10.40.8.80"));
    let w = one(vec![unit]);
    assert_eq!(w.standing("Organ loft"), Standing::Moved);
}

#[test]
fn a_further_address_is_a_note_and_never_a_standing() {
    let mut unit = Unit::good(21);
    unit.addresses.push(ip("169.254.3.7"));
    unit.addresses.push(ip("10.40.8.80"));
    let mut w = one(vec![unit]);
    w.announce(mac(21), "169.254.3.7");
    w.run(5.0);
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    assert_eq!(w.severity(FindingKind::ExtraAddress), Some(Severity::Note));
    assert!(w.snapshot().ready);
    let seen = w.snapshot().devices[0].seen.clone().unwrap();
    assert_eq!(seen.address, Some(ip("10.40.8.21")));
    assert_eq!(seen.addresses.len(), 3);
}

#[test]
fn a_device_that_goes_is_missing_within_seconds_and_seen_when_it_returns() {
    let mut w = one(vec![Unit::good(21)]);
    w.units[0].on = false;
    let gone = w.now;
    let at = w.run_until(6.0, |w| w.standing("Organ loft") == Standing::Missing);
    assert!(at.since(gone).as_secs_f64() < 3.5, "{:?}", at.since(gone));
    w.run(120.0);
    w.units[0].on = true;
    let back = w.now;
    let at = w.run_until(6.0, |w| w.standing("Organ loft") == Standing::Present);
    assert!(at.since(back).as_secs_f64() < 2.5);
    assert_eq!(w.course("Organ loft"), [Standing::Missing, Standing::Present]);
}

#[test]
fn one_lost_answer_is_no_alarm() {
    let mut w = one(vec![Unit::good(21)]);
    for _ in 0..20 {
        w.run(3.0);
        w.units[0].on = false;
        w.run(0.3);
        w.units[0].on = true;
    }
    assert!(w.course("Organ loft").is_empty());
}

#[test]
fn a_moved_device_that_is_mended_is_present_and_keeps_no_shadow() {
    let mut w = one(vec![Unit::new(21, "10.40.8.99")]);
    w.units[0].addresses = vec![ip("10.40.8.21")];
    w.announce(mac(21), "10.40.8.21");
    w.run(10.0);
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    assert!(w.findings(FindingKind::ExtraAddress).is_empty());
}

#[test]
fn a_swap_and_its_undoing_never_look_like_a_clash() {
    let mut w = one(vec![Unit::good(21), Unit::new(99, "10.40.8.21")]);
    w.run(1.0);
    let mut w2 = one(vec![Unit::good(21)]);
    w2.units.push(Unit {
        on: false,
        ..Unit::new(99, "10.40.8.21")
    });
    w2.units[0].on = false;
    // Faster than the old unit can be known to be gone.
    w2.run(0.3);
    w2.units[1].on = true;
    w2.announce(mac(99), "10.40.8.21");
    w2.run(10.0);
    assert_eq!(w2.standing("Organ loft"), Standing::Replaced);
    w2.units[1].on = false;
    w2.run(10.0);
    assert_eq!(w2.standing("Organ loft"), Standing::Missing);
    w2.units[0].on = true;
    w2.run(10.0);
    assert_eq!(w2.standing("Organ loft"), Standing::Present);
    assert!(!w2.course("Organ loft").contains(&Standing::Conflict));
    // The other way round the same wire does show one.
    assert_eq!(w.standing("Organ loft"), Standing::Conflict);
}

#[test]
fn without_a_mac_the_address_identifies() {
    let mut d = device("Organ loft", 21);
    d.macs.clear();
    let mut w = World::board(vec![d], vec![Unit::new(99, "10.40.8.21")]);
    w.run_to(secs(3.0));
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    assert_eq!(w.snapshot().devices[0].seen.as_ref().unwrap().mac, Some(mac(99)));
    assert!(w.snapshot().unlisted.is_empty());
    w.units[0].addresses = vec![ip("192.168.0.20")];
    w.run_until(8.0, |w| w.standing("Organ loft") == Standing::Missing);
    w.run(40.0);
    assert_eq!(
        w.standing("Organ loft"),
        Standing::Missing,
        "wrong subnet cannot occur"
    );
}

#[test]
fn spare_and_later_devices_make_notes() {
    for need in [Need::Spare, Need::Later] {
        let mut devices = Vec::new();
        for (n, name) in [(20, "a"), (21, "b"), (22, "c"), (23, "d"), (24, "e")] {
            let mut d = device(name, n);
            d.need = need;
            devices.push(d);
        }
        devices[4].control = vec!["http".parse().unwrap()];
        devices.push(device("Organ loft", 30));
        let units = vec![
            Unit::good(30),
            Unit::new(21, "192.168.0.20"),
            Unit::new(22, "10.40.8.90"),
            Unit::new(99, "10.40.8.23"),
            Unit::good(24),
        ];
        let mut w = World::board(devices, units);
        w.run_to(secs(25.0));
        for kind in [
            FindingKind::Missing,
            FindingKind::WrongSubnet,
            FindingKind::Moved,
            FindingKind::Replaced,
            FindingKind::NoControl,
        ] {
            assert_eq!(w.severity(kind), Some(Severity::Note), "{kind:?}");
        }
        let s = w.snapshot();
        assert!(s.ready, "{}", s.headline);
        assert!(
            s.headline.contains("5 spare or later ones do not"),
            "{}",
            s.headline
        );
    }
}

#[test]
fn a_dozing_device_that_may_is_missing_without_an_alarm() {
    let mut d = device("Foyer screen", 21);
    d.sleeps = true;
    let mut w = World::board(vec![d], vec![Unit::good(21)]);
    w.run_to(secs(3.0));
    w.units[0].on = false;
    w.run(5.0);
    assert_eq!(w.standing("Foyer screen"), Standing::Missing);
    assert_eq!(w.severity(FindingKind::Missing), Some(Severity::Note));
    assert!(!w.snapshot().ready);
    let worse = |w: &World| {
        w.changes
            .iter()
            .any(|c| c.worse && matches!(c.subject, crate::Subject::Device { .. }))
    };
    assert!(!worse(&w), "nothing rings for it");
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(3.0));
    w.units[0].on = false;
    w.run(5.0);
    assert!(worse(&w), "for another it does");
}

#[test]
fn a_device_with_several_macs_is_one() {
    let mut d = device("Organ loft", 21);
    d.macs.push(mac(121));
    let mut w = World::board(vec![d], vec![Unit::good(21), Unit::new(121, "10.40.8.21")]);
    w.run_to(secs(5.0));
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    assert!(w.snapshot().unlisted.is_empty());
}

#[test]
fn a_device_without_an_address_is_not_counted() {
    let mut d = device("Tripod", 21);
    d.address = AddressSpec::None;
    let w = World::board(vec![d, device("Organ loft", 22)], vec![]);
    assert_eq!(w.snapshot().counts.total(), 1);
}

#[test]
fn one_that_falls_silent_is_missing_though_it_had_an_address_on_another_subnet_too() {
    let mut both = Unit::good(21);
    both.addresses.push(ip("169.254.7.7"));
    let mut w = one(vec![both]);
    w.announce(mac(21), "169.254.7.7");
    w.run(5.0);
    w.units[0].on = false;
    w.run_until(6.0, |w| w.standing("Organ loft") == Standing::Missing);
    w.run(60.0);
    assert_eq!(w.course("Organ loft"), [Standing::Missing]);
}

#[test]
fn one_that_kept_only_that_address_is_found_there_without_a_word() {
    let mut both = Unit::good(21);
    both.addresses.push(ip("169.254.7.7"));
    let mut w = one(vec![both]);
    w.announce(mac(21), "169.254.7.7");
    w.run(5.0);
    w.units[0].addresses.remove(0);
    w.run_until(12.0, |w| w.standing("Organ loft") == Standing::WrongSubnet);
    w.run(60.0);
    assert_eq!(w.standing("Organ loft"), Standing::WrongSubnet);
}

#[test]
fn who_falls_silent_with_it_is_not_said_to_be_in_its_place() {
    let second = Unit {
        mac: mac(121),
        speaks: Some(mac(21)),
        ..Unit::good(21)
    };
    for first in [true, false] {
        let mut units = vec![Unit::good(21), second.clone()];
        if !first {
            units.reverse();
        }
        let mut w = one(units);
        assert_eq!(w.standing("Organ loft"), Standing::Present);
        for step in 0..10 {
            w.run(20.0 + f64::from(step) * 0.13);
            let before = w.course("Organ loft").len();
            w.units.iter_mut().for_each(|u| u.on = false);
            w.run(10.0);
            assert_eq!(w.course("Organ loft")[before..], [Standing::Missing]);
            w.units.iter_mut().for_each(|u| u.on = true);
        }
    }
}

/// The file knows of no hardware there, so that whoever owns the address is it, whatever shows that: here not a
/// probe, but that it answers an echo itself.
#[test]
fn without_hardware_in_the_file_nobody_at_the_address_is_a_different_unit() {
    let mut d = device("Organ loft", 21);
    d.macs.clear();
    let mut w = World::board(vec![d], vec![Unit::good(21)]);
    w.run_to(secs(10.0));
    w.units[0] = Unit {
        nobody: false,
        ..Unit::new(99, "10.40.8.21")
    };
    w.run(40.0);
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    let course = w.course("Organ loft");
    assert!(!course.contains(&Standing::Replaced), "{course:?}");
}

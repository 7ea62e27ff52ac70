//! The head count of a deed: nothing in it makes this computer's kernel know a neighbour.

use vocab::{ArpForm, Ask, ControlPort, ControlState, ControlWord, RollCall};

use super::world::{Unit, World, device, ip, rig, secs, settings};
use crate::{Purpose, Standing};

const HTTP: ControlPort = ControlPort {
    word: ControlWord::Http,
    port: 80,
};

/// A camera where it should be, two at the address of another, and a stranger where a missing one might be.
fn world(purpose: Purpose) -> World {
    let devices = [("Organ loft", 21), ("West door", 22), ("Conductor", 23)];
    let devices = devices.map(|(name, n)| {
        let mut one = device(name, n);
        one.control = vec![HTTP];
        one
    });
    let mut units = vec![Unit::good(21), Unit::good(22)];
    for unit in &mut units {
        unit.ports.insert(HTTP, ControlState::Answered);
    }
    units.push(Unit::new(98, "10.40.8.22"));
    units.push(Unit::new(99, "192.168.0.20"));
    let mut w = World::new(settings(rig(devices.into()), purpose), units);
    w.plug();
    w.run_to(secs(40.0));
    w
}

/// Whether whoever answers this answers this computer alone, by IP.
fn draws_an_answer(ask: &Ask) -> bool {
    match ask {
        Ask::Arp { .. } | Ask::Pass { .. } | Ask::Dhcp { .. } => false,
        Ask::RollCall(which) => !matches!(which, RollCall::DnsSd | RollCall::Enquiry),
        Ask::Echo { .. } | Ask::Trial { .. } | Ask::Control { .. } | Ask::ControlAway { .. } => true,
    }
}

#[test]
fn only_what_is_answered_by_arp_or_to_everybody_is_asked() {
    let of = |purpose| {
        let w = world(purpose);
        let all = w.asked.iter().map(|(_, ask)| ask.clone());
        all.filter(draws_an_answer).collect::<Vec<_>>()
    };
    assert_eq!(of(Purpose::Deed), []);
    let check = of(Purpose::Check);
    let echoes = check.iter().filter(|ask| matches!(ask, Ask::Echo { .. })).count();
    let ports = check
        .iter()
        .filter(|ask| matches!(ask, Ask::Control { .. }))
        .count();
    assert!(echoes > 0 && ports > 0, "a check does ask: {check:?}");
}

#[test]
fn all_are_found_and_two_on_one_address_are_told_apart() {
    let w = world(Purpose::Deed);
    assert_eq!(w.standing("West door"), Standing::Conflict);
    assert_eq!(w.standing("Conductor"), Standing::Missing);
    let loft = w.standing("Organ loft");
    assert!(!matches!(loft, Standing::Missing | Standing::Unknown), "{loft:?}");
    let snapshot = w.snapshot();
    assert!(
        snapshot
            .unlisted
            .iter()
            .any(|h| h.addresses == [ip("192.168.0.20")])
    );
    let asked = |ask: &Ask| matches!(ask, Ask::Arp { address, form: ArpForm::Unicast(_), .. } if *address == ip("10.40.8.22"));
    assert!(w.asked.iter().filter(|(_, ask)| asked(ask)).count() > 1);
}

//! Two ports of one unit in one network, and two units that look like it.

use proptest::prelude::*;

use super::world::{Unit, World, device, ip, mac, secs};
use crate::{FindingKind, Severity, Standing};

/// One unit with the ports `a` and `b`; its kernel answers for both addresses at both, and sends by `a`.
fn two_ports(a: u8, b: u8) -> Vec<Unit> {
    let addresses = vec![ip(&format!("10.40.8.{a}")), ip(&format!("10.40.8.{b}"))];
    [a, b]
        .map(|n| Unit {
            addresses: addresses.clone(),
            speaks: Some(mac(a)),
            ..Unit::good(n)
        })
        .to_vec()
}

fn never(w: &World, standing: Standing) {
    for d in &w.snapshot().devices {
        assert!(
            !w.course(&d.name).contains(&standing),
            "{}: {:?}",
            d.name,
            w.course(&d.name)
        );
    }
}

#[test]
fn two_ports_of_one_unit_are_a_note_and_no_clash() {
    let mut units = two_ports(50, 51);
    units.push(Unit::good(21));
    let mut w = World::board(vec![device("Organ loft", 21), device("Replay", 50)], units);
    w.run_to(secs(20.0));
    assert_eq!(w.standing("Replay"), Standing::Present);
    assert!(w.ledger.ready(), "{}", w.snapshot().headline);
    never(&w, Standing::Conflict);
    assert!(w.findings(FindingKind::AddressConflict).is_empty());
    let note = &w.findings(FindingKind::TwoPorts);
    assert_eq!((note.len(), note[0].severity), (1, Severity::Note));
    assert_eq!(note[0].devices, ["Replay"]);
    assert_eq!(note[0].macs, [mac(50), mac(51)]);
    assert!(
        note[0].text.contains("came back from the other"),
        "{}",
        note[0].text
    );
    assert!(note[0].advice.contains("02:52:43:00:00:33"), "{}", note[0].advice);
    // With the second cable out it is like any other.
    w.units.remove(1);
    w.run(8.0);
    assert_eq!(w.standing("Replay"), Standing::Present);
    assert!(w.findings(FindingKind::TwoPorts).is_empty());
}

#[test]
fn the_port_that_does_not_send_may_be_the_listed_one() {
    let mut w = World::board(vec![device("Replay", 51)], two_ports(50, 51));
    w.run_to(secs(10.0));
    assert_eq!(w.standing("Replay"), Standing::Present);
    assert!(w.ledger.ready());
    never(&w, Standing::Conflict);
    assert_eq!(w.findings(FindingKind::TwoPorts).len(), 1);
}

#[test]
fn without_echoes_the_same_two_addresses_on_both_tell_it() {
    let mut units = two_ports(50, 51);
    for u in &mut units {
        u.echo = false;
    }
    let mut w = World::board(vec![device("Replay", 50)], units);
    w.run_to(secs(10.0));
    assert_eq!(w.standing("Replay"), Standing::Present);
    never(&w, Standing::Conflict);
    let note = &w.findings(FindingKind::TwoPorts)[0];
    assert!(note.text.contains("very same addresses"), "{}", note.text);
}

#[test]
fn two_units_that_were_cloned_with_all_their_addresses_are_a_clash() {
    let mut units = two_ports(50, 51);
    for u in &mut units {
        u.speaks = None;
    }
    let mut w = World::board(vec![device("Replay", 50)], units);
    w.run_to(secs(3.0));
    assert_eq!(w.standing("Replay"), Standing::Conflict);
    assert!(w.findings(FindingKind::TwoPorts).is_empty());
}

#[test]
fn two_listed_devices_are_never_one_by_their_addresses() {
    let mut units = two_ports(50, 51);
    for unit in &mut units {
        (unit.speaks, unit.echo) = (None, false);
    }
    let mut w = World::board(vec![device("Replay", 50), device("Titles", 51)], units);
    w.run_to(secs(10.0));
    assert_eq!(w.standing("Replay"), Standing::Conflict);
    assert_eq!(w.standing("Titles"), Standing::Conflict);
    assert!(w.findings(FindingKind::TwoPorts).is_empty());
}

#[test]
fn a_factory_address_and_a_link_local_one_on_both_tell_nothing() {
    let mut units = vec![Unit::good(21), Unit::new(99, "10.40.8.21")];
    for unit in &mut units {
        unit.echo = false;
        unit.addresses.push(ip("192.168.0.20"));
        unit.addresses.push(ip("169.254.7.7"));
    }
    let mut w = World::board(vec![device("Organ loft", 21)], units);
    w.run_to(secs(10.0));
    assert_eq!(w.standing("Organ loft"), Standing::Conflict);
}

#[test]
fn a_clash_with_a_unit_that_answers_no_echo_is_told_a_little_later() {
    let mut units = vec![Unit::good(21), Unit::new(99, "10.40.8.21")];
    units[1].echo = false;
    let mut w = World::board(vec![device("Organ loft", 21)], units);
    let at = w.run_until(6.0, |w| w.standing("Organ loft") == Standing::Conflict);
    assert!(at < secs(5.0), "{at:?}");
    assert!(!w.ledger.ready());
}

#[test]
fn strangers_with_two_ports_are_a_note_without_a_device() {
    let mut units = two_ports(50, 51);
    units.push(Unit::good(21));
    let mut w = World::board(vec![device("Organ loft", 21)], units);
    w.run_to(secs(20.0));
    assert!(w.findings(FindingKind::AddressConflict).is_empty());
    let note = &w.findings(FindingKind::TwoPorts);
    assert_eq!((note.len(), note[0].devices.len()), (1, 0), "{note:?}");
    assert!(w.ledger.ready());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]
    /// Whatever else two clashing units hold, if each answers for itself they are two.
    #[test]
    fn two_units_that_answer_for_themselves_are_never_one(
        a in prop::collection::vec(60_u8..64, 0..4),
        b in prop::collection::vec(60_u8..64, 0..4),
        echoes in prop::bool::ANY,
    ) {
        let with = |mut unit: Unit, more: &[u8]| {
            unit.addresses.extend(more.iter().map(|n| ip(&format!("10.40.8.{n}"))));
            unit.addresses.sort();
            unit.addresses.dedup();
            unit
        };
        let mut one = with(Unit::good(21), &a);
        let two = with(Unit::new(99, "10.40.8.21"), &b);
        // One that keeps silent says nothing; then they must differ, or the sets would speak.
        one.echo = echoes || one.addresses == two.addresses;
        let mut w = World::board(vec![device("Organ loft", 21)], vec![one, two]);
        w.run_to(secs(8.0));
        prop_assert_eq!(w.standing("Organ loft"), Standing::Conflict);
        prop_assert!(w.findings(FindingKind::TwoPorts).is_empty());
    }

    /// However the two ports of a unit are listed and heard, nobody is in a clash.
    #[test]
    fn one_unit_is_never_two(listed in 50_u8..52, sends in 50_u8..52, first in prop::bool::ANY, at in 0.0_f64..6.0) {
        let mut units = two_ports(50, 51);
        for u in &mut units {
        u.speaks = Some(mac(sends));
    }
        let late = units.remove(usize::from(first));
        let mut w = World::board(vec![device("Replay", listed)], units);
        w.run_to(secs(at));
        w.units.push(late);
        w.run(12.0);
        prop_assert_eq!(w.standing("Replay"), Standing::Present);
        never(&w, Standing::Conflict);
    }
}

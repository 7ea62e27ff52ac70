//! RFC 5227 seen by a third: probes, announcements and defences between others.

use vocab::Mac;

use super::world::{Unit, World, device, mac, secs};
use crate::{FindingKind, Standing};

const ADDRESS: &str = "10.40.8.21";
const GUEST: Mac = Mac::new([0x02, 0x52, 0x43, 0, 0, 99]);

fn loft() -> World {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(20.0));
    assert!(w.snapshot().ready);
    w
}

fn no_clash(w: &World) {
    assert!(!w.course("Organ loft").contains(&Standing::Conflict));
    assert!(w.findings(FindingKind::AddressConflict).is_empty());
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    assert!(w.snapshot().ready, "{}", w.snapshot().headline);
}

#[test]
fn section_2_1_1_one_that_probes_and_is_answered_and_gives_way_is_no_clash() {
    let mut w = loft();
    // PROBE_NUM 3, 1 to 2 s apart; the holder answers, which we do not even hear.
    for gap in [1.3, 1.7, 5.0] {
        w.probe(GUEST, ADDRESS);
        w.run(gap);
    }
    no_clash(&w);
}

#[test]
fn section_2_1_1_two_that_probe_at_the_same_time_are_no_clash() {
    // The address is free: its device is in the van.
    let mut w = World::board(vec![device("Organ loft", 21)], Vec::new());
    w.run_to(secs(20.0));
    assert_eq!(w.standing("Organ loft"), Standing::Missing);
    for n in [98, 99, 98, 99] {
        w.probe(mac(n), ADDRESS);
        w.run(0.2);
    }
    w.run(10.0);
    assert_eq!(w.standing("Organ loft"), Standing::Missing);
    assert!(w.findings(FindingKind::AddressConflict).is_empty());
    // The device itself among them is starting, and takes the address when the other has given way.
    w.probe(mac(21), ADDRESS);
    w.probe(mac(99), ADDRESS);
    w.run(1.0);
    assert_eq!(w.standing("Organ loft"), Standing::Starting);
    w.units.push(Unit::good(21));
    w.announce(mac(21), ADDRESS);
    w.run(5.0);
    no_clash(&w);
}

#[test]
fn section_2_3_one_that_announces_and_stays_is_a_clash() {
    let mut w = loft();
    w.probe(GUEST, ADDRESS);
    w.run(3.0);
    w.units.push(Unit::new(99, ADDRESS));
    w.announce(GUEST, ADDRESS);
    w.run(2.0);
    w.announce(GUEST, ADDRESS);
    w.run_until(0.5, |w| w.standing("Organ loft") == Standing::Conflict);
}

#[test]
fn section_2_4_a_that_gives_its_address_up_at_once_is_no_clash() {
    let mut w = loft();
    // It takes the address, hears the holder's defence, and has given it up 50 ms later.
    w.units.push(Unit::new(99, ADDRESS));
    w.announce(GUEST, ADDRESS);
    w.announce(mac(21), ADDRESS);
    w.run(0.05);
    w.units.pop();
    w.run(10.0);
    no_clash(&w);
    assert!(w.course("Organ loft").is_empty(), "{:?}", w.course("Organ loft"));
}

#[test]
fn section_2_4_b_that_defends_once_and_then_gives_way_is_a_clash_until_then() {
    let mut w = loft();
    w.units.push(Unit::new(99, ADDRESS));
    for from in [GUEST, mac(21), GUEST] {
        w.announce(from, ADDRESS);
        w.run(0.3);
    }
    assert_eq!(w.standing("Organ loft"), Standing::Conflict);
    // Hearing another conflicting packet within DEFEND_INTERVAL it has to cease.
    w.announce(mac(21), ADDRESS);
    w.units.pop();
    w.run_until(3.5, |w| w.standing("Organ loft") == Standing::Present);
    w.run(5.0);
    assert!(w.snapshot().ready);
}

#[test]
fn section_2_4_c_that_defends_for_ever_is_one_clash_and_no_flicker() {
    let mut w = loft();
    w.units.push(Unit::new(99, ADDRESS));
    for _ in 0..30 {
        for from in [GUEST, mac(21)] {
            w.announce(from, ADDRESS);
            w.run(0.5);
        }
    }
    assert_eq!(w.course("Organ loft"), [Standing::Conflict]);
    assert_eq!(w.findings(FindingKind::AddressConflict).len(), 1);
}

//! Who lives at an address beside whom: shown by asking each alone, and by nothing less.

use std::time::Duration;

use proptest::prelude::*;
use vocab::{ArpForm, ArpOp, ArpSeen, Ask, Fact, Mac, Moment};

use super::world::{Unit, World, device, ip, mac, rig, secs, settings};
use crate::{FindingKind, Purpose, Standing};

const ADDRESS: &str = "10.40.8.21";
/// From the second host's first answer to the clash.
const SOON: Duration = Duration::from_millis(2_500);

fn loft() -> World {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(20.0));
    assert!(w.snapshot().ready);
    w
}

fn guest() -> Unit {
    Unit::new(99, ADDRESS)
}

/// A frame of `from` that claims `address`, to nobody's question.
fn frame(from: Mac, address: &str, target: &str, op: ArpOp) -> Fact {
    Fact::Arp(ArpSeen {
        frame_source: from,
        sender: from,
        address: ip(address),
        target: ip(target),
        op,
        vlan: None,
        answers: None,
    })
}

/// The questions that left since `from` and went to `to` alone.
fn alone(w: &World, from: Moment, to: Mac) -> Vec<Ask> {
    let of = |ask: &Ask| match ask {
        Ask::Arp { form, .. } => *form == ArpForm::Unicast(to),
        Ask::Echo { mac, .. } => *mac == Some(to),
        _ => false,
    };
    let since = w.asked.iter().filter(|(at, ask)| *at >= from && of(ask));
    since.map(|(_, ask)| ask.clone()).collect()
}

fn no_clash(w: &World) {
    assert!(
        !w.course("Organ loft").contains(&Standing::Conflict),
        "{:?}",
        w.course("Organ loft")
    );
    let told = |c: &crate::Change| {
        let kind = |s: &crate::Subject| match s {
            crate::Subject::Finding { kind, .. } => Some(*kind),
            _ => None,
        };
        kind(&c.subject) == Some(FindingKind::AddressConflict)
    };
    assert!(!w.changes.iter().any(told), "{:?}", w.changes);
    assert!(w.findings(FindingKind::AddressConflict).is_empty());
}

#[test]
fn one_frame_alone_makes_no_clash() {
    for (target, op) in [
        (ADDRESS, ArpOp::Request),
        (ADDRESS, ArpOp::Reply),
        ("10.40.8.1", ArpOp::Request),
        ("10.40.8.250", ArpOp::Reply),
    ] {
        for times in [1, 3] {
            let mut w = loft();
            let at = w.now;
            for _ in 0..times {
                w.see(frame(mac(99), ADDRESS, target, op));
                w.run(0.4);
            }
            w.run(10.0);
            no_clash(&w);
            assert_eq!(w.standing("Organ loft"), Standing::Present);
            assert!(w.snapshot().ready, "{}", w.snapshot().headline);
            assert!(!alone(&w, at, mac(99)).is_empty(), "it was asked");
        }
    }
}

#[test]
fn nor_does_one_on_the_gateways_address_or_on_ours() {
    for address in ["10.40.8.1", "10.40.8.250"] {
        let mut r = rig(vec![device("Organ loft", 21)]);
        r.network.gateway = Some(ip("10.40.8.1"));
        let units = vec![Unit::good(21), Unit::new(1, "10.40.8.1")];
        let mut w = World::new(settings(r, Purpose::Board), units);
        w.plug();
        w.run_to(secs(20.0));
        w.see(frame(mac(99), address, address, ArpOp::Request));
        w.run(10.0);
        no_clash(&w);
        assert!(w.snapshot().ready, "{address}: {}", w.snapshot().headline);
    }
}

#[test]
fn each_is_asked_alone_by_arp_and_by_an_echo_before_a_clash_is_said() {
    let mut w = loft();
    w.units.push(guest());
    w.announce(mac(99), ADDRESS);
    let from = w.now;
    let told = w.run_until(2.5, |w| w.standing("Organ loft") == Standing::Conflict);
    for m in [mac(21), mac(99)] {
        let asked = alone(&w, from, m);
        let arp = |a: &Ask| matches!(a, Ask::Arp { .. });
        assert!(asked.iter().any(arp), "{m}: {asked:?}");
        assert!(asked.iter().any(|a| !arp(a)), "{m}: {asked:?}");
    }
    assert!(
        told.since(from) < Duration::from_millis(200),
        "{:?}",
        told.since(from)
    );
}

/// What a second holder may be like; each lives there all the same.
fn odd_guests() -> [(&'static str, Unit); 6] {
    let with = |change: fn(&mut Unit)| {
        let mut unit = guest();
        change(&mut unit);
        unit
    };
    [
        ("a usual one", guest()),
        ("no echo", with(|u| u.echo = false)),
        ("no ARP that goes to it alone", with(|u| u.alone = false)),
        ("neither", with(|u| (u.echo, u.alone) = (false, false))),
        ("no probe", with(|u| u.nobody = false)),
        (
            "no probe, and no ARP alone",
            with(|u| (u.nobody, u.alone) = (false, false)),
        ),
    ]
}

#[test]
fn whatever_the_second_does_not_answer_it_is_found_in_time() {
    for (what, unit) in odd_guests() {
        for (n, word) in [true, false].into_iter().enumerate() {
            let mut w = loft();
            w.run(0.37 * n as f64);
            w.units.push(unit.clone());
            let joined = w.now;
            if word {
                w.announce(mac(99), ADDRESS);
            }
            let claims = |w: &World| w.ledger.hosts.holders(ip(ADDRESS)).nth(1).is_some();
            let first = w.run_until(4.0, claims);
            let told = w.run_until(6.0, |w| w.standing("Organ loft") == Standing::Conflict);
            assert!(told.since(first) <= SOON, "{what}: {:?}", told.since(first));
            // It began when the second was first heard, and does not waver.
            let began = w.findings(FindingKind::AddressConflict)[0].since;
            assert!(began >= joined && began <= first, "{what}: {began:?}");
            w.run(20.0);
            assert_eq!(w.standing("Organ loft"), Standing::Conflict, "{what}");
            assert_eq!(w.course("Organ loft"), [Standing::Conflict], "{what}");
            assert!(w.findings(FindingKind::ProxyArp).is_empty(), "{what}");
        }
    }
}

#[test]
fn it_ends_soon_whichever_leaves() {
    for (what, unit) in odd_guests() {
        for guest_leaves in [true, false] {
            let mut w = loft();
            w.units.push(unit.clone());
            w.run_until(8.0, |w| w.standing("Organ loft") == Standing::Conflict);
            w.run(3.3);
            w.units.remove(usize::from(guest_leaves));
            let left = w.now;
            let then = if guest_leaves {
                Standing::Present
            } else {
                Standing::Replaced
            };
            let over = w.run_until(6.0, |w| w.standing("Organ loft") == then);
            assert!(
                over.since(left) <= Duration::from_millis(3_500),
                "{what}, {guest_leaves}: {:?}",
                over.since(left)
            );
            assert!(w.findings(FindingKind::AddressConflict).is_empty());
            assert_eq!(w.course("Organ loft"), [Standing::Conflict, then]);
        }
    }
}

#[test]
fn one_more_takes_nothing_back_of_a_clash() {
    for second_leaves in [false, true] {
        let mut w = loft();
        w.units.push(guest());
        w.run_until(8.0, |w| w.standing("Organ loft") == Standing::Conflict);
        w.run(3.3);
        w.units.push(Unit::new(98, ADDRESS));
        w.announce(mac(98), ADDRESS);
        if second_leaves {
            w.units[1].addresses = vec![ip("10.40.8.99")];
            w.announce(mac(99), "10.40.8.99");
        }
        w.run(10.0);
        assert_eq!(w.course("Organ loft"), [Standing::Conflict], "{second_leaves}");
        // As the last of the others leaves it is over.
        w.units.truncate(1);
        w.run_until(6.0, |w| w.standing("Organ loft") == Standing::Present);
    }
}

#[test]
fn a_clash_of_strangers_ends_too() {
    let mut w = loft();
    let units = [98, 99].map(|n| Unit::new(n, "10.40.8.150"));
    w.units.extend(units);
    for n in [98, 99] {
        w.announce(mac(n), "10.40.8.150");
    }
    w.run(2.0);
    assert_eq!(w.findings(FindingKind::AddressConflict).len(), 1);
    w.units.pop();
    w.run(25.0);
    assert!(w.findings(FindingKind::AddressConflict).is_empty());
}

/// A unit is taken out, and another is put in its place `gap` later.
fn swap(w: &mut World, gap: f64, word: bool) {
    w.units.clear();
    w.run(gap);
    w.units.push(guest());
    if word {
        w.probe(mac(99), ADDRESS);
        w.announce(mac(99), ADDRESS);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]
    /// However soon another unit takes the place of one that was unplugged, they never clash.
    #[test]
    fn a_unit_that_was_replaced_is_never_in_a_clash(
        when in 0.0_f64..2.0,
        gap in prop_oneof![0.0_f64..0.02, 0.0_f64..3.0],
        word in prop::bool::ANY,
    ) {
        let mut w = loft();
        w.run(when);
        swap(&mut w, gap, word);
        w.run(8.0);
        no_clash(&w);
        prop_assert_eq!(w.standing("Organ loft"), Standing::Replaced);
    }

    /// A switch that answers for a unit out of its memory makes it live no longer.
    #[test]
    fn nor_where_the_old_one_is_still_spoken_of(when in 0.0_f64..2.0, every in 0.3_f64..2.0) {
        let mut w = loft();
        w.run(when);
        swap(&mut w, 0.5, true);
        for _ in 0..10 {
            w.see(frame(mac(21), ADDRESS, "10.40.8.1", ArpOp::Request));
            w.run(every);
        }
        no_clash(&w);
    }
}

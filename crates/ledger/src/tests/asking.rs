//! What is asked, how often, and by whose allowance.

use std::net::Ipv4Addr;

use vocab::{ArpForm, Ask, Budget, LinkState, Pace, Rank};

use super::world::{Unit, World, device, ip, mac, rig, secs, settings};
use crate::{Purpose, Standing};

fn arps(w: &World, from: f64, to: f64) -> Vec<(Ipv4Addr, ArpForm, Rank, Budget)> {
    w.asked
        .iter()
        .filter(|(t, _)| *t >= secs(from) && *t < secs(to))
        .filter_map(|(_, a)| match a {
            Ask::Arp {
                address,
                form,
                rank,
                budget,
            } => Some((*address, *form, *rank, *budget)),
            _ => None,
        })
        .collect()
}

#[test]
fn the_rig_comes_first_then_the_factory_addresses_and_the_rest() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(2.0));
    let all = arps(&w, 0.0, 2.0);
    assert_eq!(
        all[0],
        (ip("10.40.8.21"), ArpForm::Broadcast, Rank::Rig, Budget::Pass)
    );
    let factory: Vec<_> = all.iter().filter(|a| a.0.octets()[0] == 192).collect();
    assert_eq!(factory.len(), 10);
    assert!(
        factory
            .iter()
            .all(|a| a.1 == ArpForm::Nobody && a.2 == Rank::Heard)
    );
    assert!(
        all.iter()
            .any(|a| a.0 == ip("10.40.8.250") && a.1 == ArpForm::Nobody),
        "our own is probed only"
    );
    assert!(
        all.iter()
            .all(|a| a.0 != ip("10.40.8.250") || a.1 == ArpForm::Nobody)
    );
}

#[test]
fn watching_keeps_its_rates() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(110.0));
    let all = arps(&w, 10.0, 110.0);
    let count =
        |f: &dyn Fn(&ArpForm) -> bool| all.iter().filter(|a| a.0 == ip("10.40.8.21") && f(&a.1)).count();
    let unicast = count(&|f| *f == ArpForm::Unicast(mac(21)));
    let broadcast = count(&|f| *f == ArpForm::Broadcast);
    assert!((45..=101).contains(&unicast), "{unicast}");
    assert!((48..=51).contains(&broadcast), "{broadcast}");
    assert!(all.iter().all(|a| a.3 == Budget::Watch || a.1 == ArpForm::Nobody));
    let echoes = w
        .asked
        .iter()
        .filter(|(t, a)| *t >= secs(10.0) && matches!(a, Ask::Echo { .. }))
        .count();
    assert!((19..=21).contains(&echoes), "{echoes}");
    assert!(!w.snapshot().devices[0].echoes.is_empty());
}

#[test]
fn many_devices_share_thirty_broadcasts_a_second() {
    let devices: Vec<_> = (1..=240).map(|n| device(&format!("d{n}"), n)).collect();
    let mut w = World::board(devices, (1..=240).map(Unit::good).collect());
    w.run_to(secs(50.0));
    let n = arps(&w, 10.0, 50.0)
        .iter()
        .filter(|a| a.1 == ArpForm::Broadcast)
        .count();
    assert!(n <= 31 * 40, "{n}");
    assert!(n >= 25 * 40, "{n}");
}

#[test]
fn a_slow_pace_is_never_taken_for_loss_and_leaves_room_for_the_rest() {
    let mut r = rig((1..=12).map(|n| device(&format!("d{n}"), n)).collect());
    r.network.pace = Pace::House;
    let mut w = World::new(settings(r, Purpose::Board), (1..=12).map(Unit::good).collect());
    w.plug();
    w.run_to(secs(60.0));
    let n = w.asked.iter().filter(|(t, _)| *t >= secs(20.0)).count();
    assert!(n <= 10 * 40, "{n}");
    assert!((1..=12).all(|n| w.standing(&format!("d{n}")) == Standing::Present));
}

#[test]
fn while_one_is_missing_the_factory_addresses_are_asked_now_and_then() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![]);
    w.run_to(secs(130.0));
    let n = arps(&w, 5.0, 130.0)
        .iter()
        .filter(|a| a.0 == ip("192.168.0.20"))
        .count();
    assert!((3..=5).contains(&n), "{n}");
    // It comes up there in the middle of the evening.
    w.units.push(Unit::new(21, "192.168.0.25"));
    w.run_until(32.0, |w| w.standing("Organ loft") == Standing::Starting);
    let mut calm = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    calm.run_to(secs(130.0));
    assert_eq!(
        arps(&calm, 5.0, 130.0)
            .iter()
            .filter(|a| a.0 == ip("192.168.0.20"))
            .count(),
        0
    );
}

#[test]
fn a_missing_devices_last_foreign_address_is_asked_too() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::new(21, "172.20.1.7")]);
    w.announce(mac(21), "172.20.1.7");
    w.run_to(secs(5.0));
    assert_eq!(w.standing("Organ loft"), Standing::WrongSubnet);
    w.units[0].on = false;
    w.run_until(60.0, |w| w.standing("Organ loft") == Standing::Missing);
    w.run(90.0);
    w.units[0].on = true;
    w.run_until(45.0, |w| w.standing("Organ loft") == Standing::Starting);
}

/// A pass for devices by DHCP goes through the leases alone.
#[test]
fn a_sweep_by_hand_goes_through_all_though_a_pass_over_some_is_under_way() {
    let mut tablet = device("Tablet", 40);
    tablet.address = rig::AddressSpec::Dhcp;
    let mut rig = rig(vec![tablet]);
    rig.network.leases = vec!["10.40.8.100-199".parse().unwrap()];
    let mut w = World::new(settings(rig, Purpose::Board), vec![]);
    w.plug();
    w.run_to(secs(20.0));
    let passes = |w: &World, what: &str| {
        let what: vocab::AddressRange = what.parse().unwrap();
        let of = |a: &Ask| matches!(a, Ask::Pass { range, .. } if *range == what);
        w.asked.iter().filter(|(_, a)| of(a)).count()
    };
    let before = passes(&w, "10.40.8.100-199");
    w.run_until(40.0, |w| passes(w, "10.40.8.100-199") > before);
    let whole = passes(&w, "10.40.8.1-254");
    for _ in 0..3 {
        let now = w.now;
        w.ledger.sweep_now(now);
    }
    w.run(5.0);
    assert_eq!(
        passes(&w, "10.40.8.1-254"),
        whole + 1,
        "once, however often it is asked for"
    );
}

#[test]
fn sweep_now_repeats_the_passes_and_keeps_the_verdicts() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(20.0));
    w.units.push(Unit::new(99, "10.40.8.99"));
    let now = w.now;
    w.ledger.sweep_now(now);
    assert!(w.snapshot().ready && w.snapshot().pass.is_some());
    w.run(3.0);
    let s = w.snapshot();
    assert!(s.ready && s.pass.is_none());
    assert_eq!(s.unlisted[0].mac, Some(mac(99)));
    assert!(
        arps(&w, 20.0, 23.0)
            .iter()
            .any(|a| a.3 == Budget::Pass && a.1 == ArpForm::Broadcast)
    );
}

#[test]
fn the_pass_leaves_out_what_is_asked_otherwise() {
    let mut s = settings(rig(vec![device("b", 30), device("a", 21)]), Purpose::Board);
    s.factory.clear();
    let mut ledger = crate::Ledger::new(s, secs(0.0));
    ledger.fold(&vocab::Sighting {
        at: secs(0.0),
        fact: vocab::Fact::Station(super::world::station()),
    });
    let mut pass = None;
    while let Some(ask) = ledger.next_ask(secs(0.0)) {
        if let Ask::Pass { range, except, .. } = ask {
            assert_eq!(range.to_string(), "10.40.8.1-10.40.8.254");
            pass = Some(except);
        }
    }
    assert_eq!(
        pass.unwrap(),
        [ip("10.40.8.21"), ip("10.40.8.30"), ip("10.40.8.250")]
    );
}

#[test]
fn nothing_is_asked_before_the_link_is_up() {
    let mut w = World::new(settings(rig(vec![device("a", 1)]), Purpose::Board), vec![]);
    w.run(5.0);
    w.station.state = LinkState::NoCarrier;
    w.plug();
    w.run(5.0);
    assert!(w.asked.is_empty());
    assert!(!w.ledger.pass_complete());
}

#[test]
fn the_revision_stands_still_while_nothing_shows() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(10.0));
    let before = w.ledger.revision();
    w.run(30.0);
    let grown = w.ledger.revision() - before;
    assert!(
        (1..=31).contains(&grown),
        "numbers once a second at most: {grown}"
    );
    w.units[0].on = false;
    w.run(5.0);
    assert!(w.ledger.revision() > before + grown);
}

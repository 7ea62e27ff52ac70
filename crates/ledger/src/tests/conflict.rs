//! Two on one address, proxies, and what only looks like it.

use vocab::Mac;

use super::world::{Unit, World, device, ip, mac, rig, secs, settings};
use crate::{FindingKind, Purpose, Severity, Standing};

fn two() -> World {
    let mut w = World::board(
        vec![device("Organ loft", 21)],
        vec![Unit::good(21), Unit::new(99, "10.40.8.21")],
    );
    w.run_to(secs(3.0));
    w
}

#[test]
fn a_clash_shows_the_listed_hardware_and_lists_the_other() {
    let w = two();
    assert_eq!(w.standing("Organ loft"), Standing::Conflict);
    let s = w.snapshot();
    assert_eq!(s.devices[0].seen.as_ref().unwrap().mac, Some(mac(21)));
    assert_eq!(s.unlisted[0].mac, Some(mac(99)));
    let f = &w.findings(FindingKind::AddressConflict)[0];
    assert_eq!(
        (f.severity, f.address, f.macs.len()),
        (Severity::Fault, Some(ip("10.40.8.21")), 2)
    );
    assert!(f.advice.contains("02:52:43:00:00:63"), "{}", f.advice);
    assert!(!s.ready && s.headline.starts_with("Not ready"));
    assert_eq!(w.findings(FindingKind::AddressConflict).len(), 1);
}

#[test]
fn it_ends_when_one_leaves() {
    for leaves in [0, 1] {
        let mut w = two();
        w.units[leaves].on = false;
        w.run(6.0);
        let expected = if leaves == 0 {
            Standing::Replaced
        } else {
            Standing::Present
        };
        assert_eq!(w.standing("Organ loft"), expected);
    }
}

#[test]
fn a_clash_that_begins_later_is_found_by_the_watch() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(20.0));
    assert!(w.snapshot().ready);
    // It says nothing by itself; only the broadcast question every 2 s brings it out.
    w.units.push(Unit::new(99, "10.40.8.21"));
    let at = w.run_until(6.0, |w| w.standing("Organ loft") == Standing::Conflict);
    assert!(at < secs(23.5), "{at:?}");
    assert!(!w.snapshot().ready);
    assert_eq!(w.course("Organ loft"), [Standing::Conflict]);
}

#[test]
fn two_strangers_on_a_listed_address_are_a_clash_too() {
    let mut w = World::board(
        vec![device("Organ loft", 21)],
        vec![Unit::new(98, "10.40.8.21"), Unit::new(99, "10.40.8.21")],
    );
    w.run_to(secs(4.0));
    assert_eq!(w.standing("Organ loft"), Standing::Conflict);
    assert_eq!(
        w.snapshot().unlisted.len(),
        1,
        "one stands for the device, the other is listed"
    );
}

#[test]
fn without_a_mac_two_owners_clash() {
    let mut d = device("Organ loft", 21);
    d.macs.clear();
    let mut w = World::board(
        vec![d],
        vec![Unit::new(98, "10.40.8.21"), Unit::new(99, "10.40.8.21")],
    );
    w.run_to(secs(4.0));
    assert_eq!(w.standing("Organ loft"), Standing::Conflict);
}

fn proxy() -> Unit {
    Unit {
        proxy: true,
        ..Unit::new(1, "10.40.8.1")
    }
}

#[test]
fn a_proxy_makes_nothing_present_replaced_or_a_clash() {
    let mut nameless = device("Lobby", 23);
    nameless.macs.clear();
    let mut w = World::board(
        vec![device("Organ loft", 21), device("West door", 22), nameless],
        vec![Unit::good(21), proxy()],
    );
    w.announce(mac(1), "10.40.8.1");
    w.run_to(secs(8.0));
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    assert_eq!(w.standing("West door"), Standing::Missing);
    assert_eq!(w.standing("Lobby"), Standing::Missing);
    assert_eq!(w.severity(FindingKind::ProxyArp), Some(Severity::Risk));
    assert_eq!(w.findings(FindingKind::ProxyArp).len(), 1);
    assert!(w.findings(FindingKind::AddressConflict).is_empty());
    for name in ["Organ loft", "West door", "Lobby"] {
        assert!(
            !w.course(name).contains(&Standing::Conflict) && !w.course(name).contains(&Standing::Replaced)
        );
    }
    // The proxy's own address is the only one that it is listed with.
    let s = w.snapshot();
    let listed = s.unlisted.iter().find(|h| h.mac == Some(mac(1))).unwrap();
    assert!(
        listed.addresses.contains(&ip("10.40.8.1")),
        "{:?}",
        listed.addresses
    );
    w.run(60.0);
    assert_eq!(w.standing("West door"), Standing::Missing);
}

#[test]
fn a_listed_router_that_is_a_proxy_stands_at_its_own_address() {
    let mut w = World::board(vec![device("Router", 1), device("West door", 22)], vec![proxy()]);
    w.run_to(secs(8.0));
    assert_eq!(w.standing("Router"), Standing::Present);
    assert_eq!(w.standing("West door"), Standing::Missing);
    assert!(
        w.findings(FindingKind::ExtraAddress).is_empty(),
        "what it answers for is not its own"
    );
}

#[test]
fn strangers_who_clash_make_a_note_and_leave_the_rig_ready() {
    let mut w = World::board(
        vec![device("Organ loft", 21)],
        vec![
            Unit::good(21),
            Unit::new(98, "10.40.8.150"),
            Unit::new(99, "10.40.8.150"),
        ],
    );
    w.run_to(secs(6.0));
    assert_eq!(w.severity(FindingKind::AddressConflict), Some(Severity::Note));
    assert!(w.snapshot().ready);
    let trouble: Vec<_> = w.snapshot().unlisted.iter().map(|h| h.mac).collect();
    assert_eq!(trouble, [Some(mac(98)), Some(mac(99))]);
}

#[test]
fn a_clash_on_the_gateway_or_our_own_address_is_a_fault() {
    for address in ["10.40.8.1", "10.40.8.250"] {
        let mut r = rig(vec![device("Organ loft", 21)]);
        r.network.gateway = Some(ip("10.40.8.1"));
        let units = vec![Unit::good(21), Unit::new(1, "10.40.8.1"), Unit::new(99, address)];
        let mut w = World::new(settings(r, Purpose::Board), units);
        w.plug();
        w.run_to(secs(6.0));
        assert_eq!(
            w.severity(FindingKind::AddressConflict),
            Some(Severity::Fault),
            "{address}"
        );
        let s = w.snapshot();
        assert!(!s.ready);
        assert!(
            s.unlisted.iter().all(|h| h.mac != Some(mac(1))),
            "the gateway is never unlisted"
        );
        assert_eq!(s.gateway, Some((ip("10.40.8.1"), Some(mac(1)))));
        w.units.pop();
        w.run(100.0);
        assert!(w.snapshot().ready, "{address}: {}", w.snapshot().headline);
        let ends = w.changes.iter().filter(|c| {
            matches!(
                c.subject,
                crate::Subject::Finding {
                    kind: FindingKind::AddressConflict,
                    began: false,
                    ..
                }
            )
        });
        assert_eq!(ends.count(), 1);
    }
}

#[test]
fn a_virtual_router_beside_the_real_one_is_no_clash() {
    let mut r = rig(vec![device("Organ loft", 21)]);
    r.network.gateway = Some(ip("10.40.8.1"));
    let shared = Unit {
        mac: Mac::new([0, 0, 0x5e, 0, 1, 7]),
        ..Unit::new(2, "10.40.8.1")
    };
    let mut w = World::new(
        settings(r, Purpose::Board),
        vec![Unit::good(21), Unit::new(1, "10.40.8.1"), shared],
    );
    w.plug();
    w.run_to(secs(10.0));
    assert!(w.findings(FindingKind::AddressConflict).is_empty());
    assert!(w.snapshot().ready);
    let asks = w.asked.iter().filter(|(t, _)| *t > secs(5.0)).count();
    assert!(asks < 60, "no hurry about it: {asks}");
}

#[test]
fn a_clash_at_a_factory_address_is_not_the_rigs() {
    let mut w = World::board(
        vec![device("Organ loft", 21)],
        vec![Unit::new(21, "192.168.0.20"), Unit::new(99, "192.168.0.20")],
    );
    w.run_to(secs(6.0));
    assert_eq!(w.standing("Organ loft"), Standing::WrongSubnet);
    assert_eq!(w.severity(FindingKind::AddressConflict), Some(Severity::Note));
}

/// The other is known to be gone a moment sooner.
#[test]
fn two_that_leave_an_address_together_leave_nobody_there_for_a_moment() {
    for after in [0.1, 0.3, 0.5] {
        let mut w = two();
        w.run_to(secs(10.0));
        assert_eq!(w.standing("Organ loft"), Standing::Conflict);
        w.units[1].addresses = vec![ip("10.40.8.121")];
        w.run(after);
        w.units[0].addresses = vec![ip("10.40.8.120")];
        w.run(30.0);
        let course = w.course("Organ loft");
        assert!(!course.contains(&Standing::Present), "{after}: {course:?}");
    }
}

//! Whoever gave an address up holds it no more, though as a proxy it answers for it still.

use rig::AskWhen;
use vocab::{ControlPort, ControlState, ControlWord};

use super::world::{Unit, World, device, ip, mac, secs};
use crate::{FindingKind, Standing};

const HTTP: ControlPort = ControlPort {
    word: ControlWord::Http,
    port: 80,
};

fn proxy() -> Unit {
    Unit {
        proxy: true,
        ..Unit::new(1, "10.40.8.1")
    }
}

/// Organ loft stands, West door is away, and there is a proxy.
fn hall() -> World {
    let mut w = World::board(
        vec![device("Organ loft", 21), device("West door", 22)],
        vec![Unit::good(21), proxy()],
    );
    w.announce(mac(1), "10.40.8.1");
    w.run_to(secs(20.0));
    assert_eq!(w.findings(FindingKind::ProxyArp).len(), 1);
    w
}

/// The unit at that place has this address from now on, and says so.
fn takes(w: &mut World, n: usize, address: &str) {
    w.units[n].addresses = vec![ip(address)];
    let mac = w.units[n].mac;
    w.announce(mac, address);
}

#[test]
fn a_proxy_that_gave_a_devices_address_back_does_not_clash_with_it() {
    let mut w = hall();
    takes(&mut w, 0, "10.40.8.161");
    takes(&mut w, 1, "10.40.8.21");
    w.run(5.0);
    assert_eq!(w.standing("Organ loft"), Standing::Moved);
    let before = w.course("Organ loft").len();
    takes(&mut w, 1, "10.40.8.1");
    takes(&mut w, 0, "10.40.8.21");
    w.run(60.0);
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    assert!(!w.course("Organ loft")[before..].contains(&Standing::Conflict));
    assert!(w.findings(FindingKind::AddressConflict).is_empty());
}

#[test]
fn a_missing_device_is_replaced_by_a_proxy_only_while_that_bears_its_address() {
    let mut w = hall();
    assert_eq!(w.standing("West door"), Standing::Missing);
    takes(&mut w, 1, "10.40.8.22");
    w.run(20.0);
    assert_eq!(w.standing("West door"), Standing::Replaced);
    takes(&mut w, 1, "10.40.8.1");
    w.run(30.0);
    assert_eq!(w.standing("West door"), Standing::Missing);
    // It bears it once more.
    takes(&mut w, 1, "10.40.8.22");
    w.run(20.0);
    assert_eq!(w.standing("West door"), Standing::Replaced);
}

#[test]
fn a_proxy_that_gave_an_address_up_out_of_our_sight_is_asked_anew() {
    let mut w = hall();
    takes(&mut w, 1, "10.40.8.22");
    w.run(20.0);
    w.listen_only(true);
    w.units[1].addresses = vec![ip("10.40.8.1")];
    w.run(5.0);
    w.listen_only(false);
    w.run(40.0);
    assert_eq!(w.standing("West door"), Standing::Missing);
}

#[test]
fn one_that_bears_two_addresses_loses_none_by_announcing_the_other() {
    let mut nameless = device("Lobby", 23);
    nameless.macs.clear();
    let mut both = Unit::good(23);
    both.addresses.push(ip("10.40.8.123"));
    let mut w = World::board(vec![nameless], vec![both]);
    w.run_to(secs(20.0));
    for _ in 0..5 {
        w.announce(mac(23), "10.40.8.123");
        w.run(7.0);
        w.announce(mac(23), "10.40.8.23");
        w.run(12.0);
    }
    assert_eq!(w.standing("Lobby"), Standing::Present);
    assert!(w.course("Lobby").is_empty(), "{:?}", w.course("Lobby"));
    assert!(w.findings(FindingKind::ProxyArp).is_empty());
}

#[test]
fn ports_of_one_unit_say_nothing_of_another_at_its_address() {
    let mut lobby = device("Lobby", 23);
    lobby.macs.clear();
    lobby.control = vec![HTTP];
    lobby.ask = AskWhen::Once;
    let unit = |n, state| {
        let mut unit = Unit::new(n, "10.40.8.23");
        unit.ports.insert(HTTP, state);
        unit
    };
    let units = vec![unit(98, ControlState::Refused), unit(99, ControlState::Answered)];
    let mut w = World::board(vec![lobby], units);
    w.units[1].on = false;
    w.run_to(secs(40.0));
    assert_eq!(w.standing("Lobby"), Standing::NoControl);
    w.units[0].on = false;
    w.run(10.0);
    w.units[1].on = true;
    w.announce(mac(99), "10.40.8.23");
    w.run(100.0);
    assert_eq!(w.standing("Lobby"), Standing::Present);
    let before = w.course("Lobby").len();
    // The first one comes back, and leaves.
    w.units[0].on = true;
    w.announce(mac(98), "10.40.8.23");
    w.run(10.0);
    assert_eq!(w.standing("Lobby"), Standing::Conflict);
    w.units[0].on = false;
    w.run(100.0);
    assert_eq!(w.standing("Lobby"), Standing::Present);
    assert!(!w.course("Lobby")[before..].contains(&Standing::NoControl));
    // It comes back once more, and the other leaves.
    w.units[0].on = true;
    w.announce(mac(98), "10.40.8.23");
    w.run(10.0);
    w.units[1].on = false;
    w.run(100.0);
    assert_eq!(w.standing("Lobby"), Standing::NoControl);
}

/// From here on West door is never said to be a different unit, nor to clash, for `seconds`.
fn stays_nobodys(w: &mut World, seconds: f64) {
    let before = w.course("West door").len();
    w.run(seconds);
    let course = w.course("West door").split_off(before);
    assert!(
        !course.contains(&Standing::Replaced) && !course.contains(&Standing::Conflict),
        "{course:?}"
    );
}

#[test]
fn a_proxy_that_comes_back_is_no_owner_of_what_it_had_until_a_probe_tells() {
    let mut w = hall();
    takes(&mut w, 1, "10.40.8.22");
    w.run(20.0);
    assert_eq!(w.standing("West door"), Standing::Replaced);
    w.listen_only(true);
    w.units[1].addresses = vec![ip("10.40.8.1")];
    w.run(5.0);
    w.listen_only(false);
    stays_nobodys(&mut w, 3.0);
    // No second probe may leave yet as the device starts.
    w.units.push(Unit::good(22));
    w.announce(mac(22), "10.40.8.22");
    stays_nobodys(&mut w, 30.0);
    assert_eq!(w.standing("West door"), Standing::Present);
}

#[test]
fn a_proxy_that_leaves_for_another_subnet_gave_up_what_it_had() {
    let mut w = hall();
    takes(&mut w, 1, "10.40.8.22");
    w.run(20.0);
    assert_eq!(w.standing("West door"), Standing::Replaced);
    takes(&mut w, 1, "192.168.7.7");
    w.run(30.0);
    assert_eq!(w.standing("West door"), Standing::Missing);
}

//! Devices that take their address by DHCP.

use rig::AddressSpec;

use super::world::{Unit, World, device, ip, mac, secs};
use crate::{Standing, Subject};

fn by_dhcp(n: u8) -> rig::Device {
    let mut d = device("Tablet", n);
    d.address = AddressSpec::Dhcp;
    d
}

#[test]
fn any_address_in_the_subnet_will_do() {
    let mut w = World::board(vec![by_dhcp(21)], vec![Unit::new(21, "10.40.8.133")]);
    w.run_to(secs(3.0));
    assert_eq!(w.standing("Tablet"), Standing::Present);
    assert_eq!(
        w.snapshot().devices[0].seen.as_ref().unwrap().address,
        Some(ip("10.40.8.133"))
    );
}

#[test]
fn ready_is_said_after_five_seconds_only() {
    let mut w = World::board(vec![by_dhcp(21)], vec![Unit::new(21, "10.40.8.133")]);
    let at = w.run_until(10.0, |w| w.snapshot().ready);
    assert!((5.0..5.3).contains(&at.since(secs(0.0)).as_secs_f64()), "{at:?}");
}

#[test]
fn missing_after_two_passes_and_found_when_it_turns_up() {
    let mut w = World::board(vec![by_dhcp(21)], vec![]);
    w.run_until(5.0, |w| w.standing("Tablet") == Standing::Missing);
    w.run(20.0);
    w.units.push(Unit::new(21, "10.40.8.140"));
    w.run_until(40.0, |w| w.standing("Tablet") == Standing::Present);
    assert_eq!(w.course("Tablet"), [Standing::Missing, Standing::Present]);
}

#[test]
fn wrong_subnet_by_dhcp() {
    let mut w = World::board(vec![by_dhcp(21)], vec![Unit::new(21, "192.168.0.22")]);
    w.run_to(secs(6.0));
    assert_eq!(w.standing("Tablet"), Standing::WrongSubnet);
}

#[test]
fn a_new_lease_is_no_trouble_and_a_clash_is_one() {
    let mut w = World::board(vec![by_dhcp(21)], vec![Unit::new(21, "10.40.8.133")]);
    w.run_to(secs(8.0));
    w.units[0].addresses = vec![ip("10.40.8.134")];
    w.announce(mac(21), "10.40.8.134");
    w.run(10.0);
    assert_eq!(w.standing("Tablet"), Standing::Present);
    assert!(w.course("Tablet").is_empty());
    assert_eq!(
        w.snapshot().devices[0].seen.as_ref().unwrap().addresses,
        [ip("10.40.8.134")]
    );
    w.units.push(Unit::new(99, "10.40.8.134"));
    w.run(6.0);
    assert_eq!(w.standing("Tablet"), Standing::Conflict);
}

#[test]
fn going_is_seen() {
    let mut w = World::board(vec![by_dhcp(21)], vec![Unit::new(21, "10.40.8.133")]);
    w.run_to(secs(8.0));
    w.units[0].on = false;
    w.run_until(6.0, |w| w.standing("Tablet") == Standing::Missing);
    assert!(matches!(w.changes.last().unwrap().subject, Subject::Ready(false)));
}

#[test]
fn without_a_mac_it_stays_missing_and_says_why() {
    let mut d = by_dhcp(21);
    d.macs.clear();
    let mut w = World::board(vec![d], vec![Unit::new(21, "10.40.8.133")]);
    w.run_to(secs(3.0));
    assert_eq!(w.standing("Tablet"), Standing::Missing);
    assert!(w.snapshot().devices[0].advice.contains("mac"));
    assert_eq!(w.snapshot().unlisted.len(), 1);
}

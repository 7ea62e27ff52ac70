//! Devices that take their address by DHCP.

use std::time::Duration;

use rig::AddressSpec;
use vocab::{Ask, Fact, Moment, Wake};

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

/// What asks for a lease, as the one with this number does when it starts.
fn discovers(w: &mut World, n: u8) {
    w.see(Fact::Wakes {
        mac: mac(n),
        how: Wake::DhcpDiscover,
    });
}

/// It gets its address out of our sight, after the passes of before its start and well within its time.
#[test]
fn one_that_starts_is_looked_for_once_more_as_its_time_ends() {
    for (begins, boot) in [(40.0, 12), (55.0, 12), (41.0, 25)] {
        let mut d = by_dhcp(21);
        d.boot = Duration::from_secs(boot);
        let mut w = World::board(vec![d], vec![]);
        w.run_to(secs(begins));
        assert_eq!(w.standing("Tablet"), Standing::Missing);
        discovers(&mut w, 21);
        w.run(1.0);
        assert_eq!(w.standing("Tablet"), Standing::Starting);
        w.run(boot as f64 - 5.0);
        w.units.push(Unit::new(21, "10.40.8.140"));
        w.run(5.0);
        assert_eq!(w.standing("Tablet"), Standing::Present, "{begins} {boot}");
        let course = w.course("Tablet");
        assert_eq!(course[..2], [Standing::Missing, Standing::Starting], "{course:?}");
        assert!(!course[2..].contains(&Standing::Missing), "{course:?}");
    }
}

/// Those that start one by one do not make the passes more than one in 10 s.
#[test]
fn many_that_start_are_looked_for_together() {
    let devices = (21..=60).map(|n| rig::Device {
        name: format!("Tablet {n}"),
        boot: Duration::from_secs(12),
        ..by_dhcp(n)
    });
    let mut w = World::board(devices.collect(), vec![]);
    w.run_to(secs(40.0));
    for n in 21..=60 {
        discovers(&mut w, n);
        w.run(1.5);
    }
    w.run(40.0);
    let passes = w.asked.iter().filter(|(_, a)| matches!(a, Ask::Pass { .. }));
    let all: Vec<Moment> = passes.map(|(at, _)| *at).collect();
    assert!(all.len() > 4, "{all:?}");
    let between = |two: &[Moment]| two[1].since(two[0]);
    // The first two are the first sweep's own.
    assert!(
        all[1..]
            .windows(2)
            .all(|two| between(two) >= Duration::from_secs(10)),
        "{all:?}"
    );
}

/// It comes back by another lease, and says nothing.
#[test]
fn one_that_leaves_and_is_back_elsewhere_without_a_word_is_found() {
    let mut w = World::board(vec![by_dhcp(21)], vec![Unit::new(21, "10.40.8.133")]);
    w.run_to(secs(60.0));
    w.units[0].addresses = vec![ip("10.40.8.134")];
    w.run_until(40.0, |w| {
        w.snapshot().devices[0].seen.as_ref().and_then(|s| s.address) == Some(ip("10.40.8.134"))
    });
    assert_eq!(w.standing("Tablet"), Standing::Present);
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

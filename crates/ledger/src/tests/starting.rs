//! Seen to appear or return: the boot time, and what wins over it.

use vocab::{ControlState, NameSource};

use super::world::{Unit, World, device, ip, mac, secs};
use crate::{FindingKind, Standing};

fn with_port(n: u8, state: ControlState) -> Unit {
    let mut unit = Unit::good(n);
    unit.ports.insert("visca-udp".parse().unwrap(), state);
    unit
}

fn world(units: Vec<Unit>) -> World {
    let mut d = device("Organ loft", 21);
    d.control = vec!["visca-udp".parse().unwrap()];
    let mut w = World::board(vec![d], units);
    w.run_to(secs(3.0));
    w
}

#[test]
fn a_returning_device_starts_until_its_control_ports_answer() {
    let mut w = world(vec![]);
    assert_eq!(w.standing("Organ loft"), Standing::Missing);
    w.units.push(with_port(21, ControlState::Refused));
    w.run(4.0);
    assert_eq!(w.standing("Organ loft"), Standing::Starting);
    assert!(w.findings(FindingKind::NoControl).is_empty());
    w.run(40.0);
    assert_eq!(
        w.standing("Organ loft"),
        Standing::Starting,
        "longer than the 20 s of the first sweep"
    );
    w.units[0] = with_port(21, ControlState::Answered);
    w.run(6.0);
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    assert_eq!(
        w.course("Organ loft"),
        [Standing::Missing, Standing::Starting, Standing::Present]
    );
}

#[test]
fn past_its_boot_time_it_will_not_take_control() {
    let mut w = world(vec![]);
    w.units.push(with_port(21, ControlState::Silent));
    let start = w.now;
    let at = w.run_until(90.0, |w| w.standing("Organ loft") == Standing::NoControl);
    let took = at.since(start).as_secs_f64();
    assert!((74.0..79.0).contains(&took), "{took}");
    assert_eq!(w.snapshot().devices[0].detail, "visca-udp silent");
}

#[test]
fn a_start_on_another_address_says_where_for_now() {
    let mut w = world(vec![]);
    w.units.push(Unit::new(21, "169.254.3.7"));
    w.probe(mac(21), "169.254.3.7");
    assert_eq!(w.standing("Organ loft"), Standing::Starting);
    w.announce(mac(21), "169.254.3.7");
    assert_eq!(w.snapshot().devices[0].detail, "for now at 169.254.3.7");
    w.run(10.0);
    w.units[0] = with_port(21, ControlState::Answered);
    w.probe(mac(21), "10.40.8.21");
    w.announce(mac(21), "10.40.8.21");
    w.run(6.0);
    assert_eq!(w.standing("Organ loft"), Standing::Present);
}

#[test]
fn probing_for_its_own_address_is_a_restart() {
    let mut w = world(vec![with_port(21, ControlState::Answered)]);
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    w.units[0].on = false;
    w.probe(mac(21), "10.40.8.21");
    assert_eq!(w.standing("Organ loft"), Standing::Starting);
    w.run(10.0);
    assert_eq!(
        w.standing("Organ loft"),
        Standing::Starting,
        "starting goes before missing"
    );
    w.units[0].on = true;
    w.run(10.0);
    assert_eq!(w.standing("Organ loft"), Standing::Present);
}

#[test]
fn dhcp_discovery_is_a_start_and_gives_a_name() {
    let mut w = world(vec![with_port(21, ControlState::Answered)]);
    w.units[0].on = false;
    w.named(mac(21), None, &[("cam", NameSource::Dhcp)]);
    w.discover(mac(21));
    assert_eq!(w.standing("Organ loft"), Standing::Starting);
    assert_eq!(
        w.snapshot().devices[0].seen.as_ref().unwrap().names[0]
            .text
            .as_str(),
        "cam"
    );
    w.run(80.0);
    assert_eq!(w.standing("Organ loft"), Standing::Missing);
}

#[test]
fn a_device_that_looks_around_with_probes_is_not_starting() {
    let mut w = world(vec![with_port(21, ControlState::Answered)]);
    w.probe(mac(21), "192.168.0.20");
    w.probe(mac(21), "10.40.8.77");
    assert_eq!(w.standing("Organ loft"), Standing::Present);
}

#[test]
fn starting_wins_over_moved_wrong_subnet_and_replaced() {
    for address in ["10.40.8.99", "192.168.0.20"] {
        let mut w = world(vec![]);
        w.units.push(Unit::new(21, address));
        w.units.push(Unit::new(99, "10.40.8.21"));
        w.probe(mac(21), address);
        w.announce(mac(21), address);
        w.run(10.0);
        assert_eq!(w.standing("Organ loft"), Standing::Starting);
        w.run(70.0);
        assert_ne!(w.standing("Organ loft"), Standing::Starting);
    }
    let mut w = world(vec![Unit::new(99, "10.40.8.21")]);
    assert_eq!(w.standing("Organ loft"), Standing::Replaced);
    w.probe(mac(21), "10.40.8.21");
    assert_eq!(w.standing("Organ loft"), Standing::Starting);
    w.run(76.0);
    assert_eq!(w.standing("Organ loft"), Standing::Replaced);
}

#[test]
fn conflict_wins_over_starting() {
    let mut w = world(vec![
        with_port(21, ControlState::Refused),
        Unit::new(99, "10.40.8.21"),
    ]);
    w.probe(mac(21), "10.40.8.21");
    w.run(3.0);
    assert_eq!(w.standing("Organ loft"), Standing::Conflict);
}

#[test]
fn a_settled_device_that_goes_is_missing_at_once_even_within_its_boot_time() {
    let mut w = world(vec![]);
    w.units.push(with_port(21, ControlState::Answered));
    w.run(5.0);
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    w.units[0].on = false;
    w.run(5.0);
    assert_eq!(w.standing("Organ loft"), Standing::Missing);
}

#[test]
fn answers_from_before_a_restart_count_no_more() {
    let mut w = world(vec![with_port(21, ControlState::Answered)]);
    w.probe(mac(21), "10.40.8.21");
    w.units[0] = with_port(21, ControlState::Refused);
    w.run(5.0);
    assert_eq!(w.standing("Organ loft"), Standing::Starting);
    w.run(75.0);
    assert_eq!(w.standing("Organ loft"), Standing::NoControl);
}

#[test]
fn a_device_of_the_first_sweep_is_judged_at_once_by_its_address() {
    let w = world(vec![Unit::new(21, "10.40.8.99")]);
    assert_eq!(w.standing("Organ loft"), Standing::Moved);
    assert_eq!(
        w.snapshot().devices[0].seen.as_ref().unwrap().address,
        Some(ip("10.40.8.99"))
    );
}

//! Our own sight: link down and up, listen-only, this computer's addresses.

use vocab::{LinkState, Medium, OtherPort};

use super::world::{Unit, World, device, ip, mac, rig, secs, settings, station};
use crate::{FindingKind, Purpose, Severity, Standing, Subject};

fn twelve() -> World {
    let devices: Vec<_> = (1..=12).map(|n| device(&format!("d{n}"), n)).collect();
    let mut w = World::board(devices, (1..=12).map(Unit::good).collect());
    w.run_to(secs(5.0));
    assert!(w.snapshot().ready);
    w
}

#[test]
fn link_down_is_one_line_and_everything_unknown() {
    for state in [LinkState::NoCarrier, LinkState::Down, LinkState::Gone] {
        let mut w = twelve();
        w.changes.clear();
        w.station.state = state;
        w.plug();
        w.run(30.0);
        let s = w.snapshot();
        assert_eq!(s.counts.of(Standing::Unknown), 12);
        assert!(s.devices.iter().all(|d| d.last_heard.is_some()));
        assert_eq!((s.findings.len(), s.findings[0].kind), (1, FindingKind::LinkDown));
        assert_eq!(s.findings[0].severity, Severity::Fault);
        assert_eq!(w.changes.len(), 1, "{:?}", w.changes);
        assert!(!s.ready && s.headline.starts_with("Nothing can be said"));
        let sent = w.asked.len();
        w.run(30.0);
        assert_eq!(w.asked.len(), sent);
    }
}

#[test]
fn link_back_learns_anew_without_alarms() {
    let mut w = twelve();
    w.station.state = LinkState::NoCarrier;
    w.plug();
    w.run(10.0);
    w.changes.clear();
    w.units[3].on = false;
    w.station.state = LinkState::Up;
    w.plug();
    assert_eq!(w.snapshot().counts.of(Standing::Unknown), 12);
    w.run(5.0);
    let s = w.snapshot();
    assert_eq!(s.counts.of(Standing::Present), 11);
    assert_eq!(w.standing("d4"), Standing::Missing);
    let about: Vec<_> = w
        .changes
        .iter()
        .filter_map(|c| match &c.subject {
            Subject::Device { name, .. } => Some(name.as_str()),
            _ => None,
        })
        .collect();
    assert_eq!(about, ["d4"]);
    w.units[3].on = true;
    w.run(5.0);
    assert!(w.snapshot().ready);
}

#[test]
fn a_port_that_answered_before_our_own_gap_is_not_dialled_again() {
    let mut d = device("Organ loft", 21);
    d.control = vec!["http".parse().unwrap()];
    let mut unit = Unit::good(21);
    unit.ports
        .insert("http".parse().unwrap(), vocab::ControlState::Answered);
    let mut w = World::board(vec![d], vec![unit]);
    w.run_to(secs(5.0));
    let dials = |w: &World| {
        w.asked
            .iter()
            .filter(|(_, a)| matches!(a, vocab::Ask::Control { .. }))
            .count()
    };
    assert_eq!(dials(&w), 1);
    w.station.state = LinkState::NoCarrier;
    w.plug();
    w.run(5.0);
    w.station.state = LinkState::Up;
    w.plug();
    w.run(5.0);
    assert_eq!((w.standing("Organ loft"), dials(&w)), (Standing::Present, 1));
}

#[test]
fn listen_only_asks_nothing_and_says_nothing() {
    let mut w = twelve();
    w.changes.clear();
    w.listen_only(true);
    let sent = w.asked.len();
    w.run(20.0);
    assert_eq!(w.asked.len(), sent);
    let s = w.snapshot();
    assert!(s.listen_only && !s.ready && !s.unseen.is_empty());
    assert_eq!(s.counts.of(Standing::Unknown), 12);
    assert!(w.changes.is_empty(), "{:?}", w.changes);
    w.announce(mac(3), "10.40.8.3");
    assert_eq!(w.standing("d3"), Standing::Unknown);
    assert_eq!(w.snapshot().devices[2].last_heard, Some(w.now));
    w.listen_only(false);
    w.run(5.0);
    assert!(w.snapshot().ready);
    assert!(
        w.changes
            .iter()
            .all(|c| matches!(c.subject, Subject::Ready(true)))
    );
}

fn with(change: impl FnOnce(&mut vocab::Station)) -> World {
    let mut w = World::new(
        settings(rig(vec![device("Organ loft", 21)]), Purpose::Board),
        vec![Unit::good(21)],
    );
    w.station = station();
    change(&mut w.station);
    w.plug();
    w.run_to(secs(8.0));
    w
}

#[test]
fn this_computer_off_the_subnet_stands_on_top_and_asking_goes_on() {
    let mut w = with(|s| s.addresses = vec!["192.168.7.4/24".parse().unwrap()]);
    let s = w.snapshot();
    assert_eq!(s.findings[0].kind, FindingKind::ThisComputerOffSubnet);
    assert_eq!(s.findings[0].severity, Severity::Fault);
    assert!(
        s.findings[0].advice.contains("10.40.8.254, mask 255.255.255.0"),
        "{}",
        s.findings[0].advice
    );
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    assert!(!s.ready);
    w.station.addresses = vec!["10.40.8.250/24".parse().unwrap()];
    w.plug();
    w.run(5.0);
    assert!(w.snapshot().ready && w.snapshot().findings.is_empty());
}

#[test]
fn off_the_subnet_a_missing_device_is_found_out_too() {
    let mut w = with(|s| s.addresses = vec!["192.168.7.4/24".parse().unwrap()]);
    w.units[0].on = false;
    w.run_until(60.0, |w| w.standing("Organ loft") == Standing::Missing);
}

#[test]
fn a_wrong_mask_is_a_fault() {
    let w = with(|s| s.addresses = vec!["10.40.8.250/16".parse().unwrap()]);
    assert_eq!(w.severity(FindingKind::MaskMismatch), Some(Severity::Fault));
    assert!(!w.snapshot().ready);
}

#[test]
fn wifi_and_a_second_way_are_risks() {
    let w = with(|s| {
        s.medium = Medium::Wireless;
        s.others = vec![OtherPort {
            name: "eth1".to_owned(),
            mac: Some(mac(251)),
            addresses: vec!["10.40.8.251/24".parse().unwrap()],
            medium: Medium::Wired,
        }];
    });
    assert_eq!(w.severity(FindingKind::WirelessLink), Some(Severity::Risk));
    assert_eq!(w.severity(FindingKind::TwoWaysToRig), Some(Severity::Risk));
    assert!(w.snapshot().ready);
}

#[test]
fn this_computer_is_a_device_by_its_hardware_and_never_unlisted() {
    let mut d = device("Desk computer", 250);
    d.control = vec!["http".parse().unwrap()];
    let mut w = World::new(settings(rig(vec![d]), Purpose::Board), vec![Unit::good(250)]);
    w.plug();
    w.run_to(secs(15.0));
    assert_eq!(w.standing("Desk computer"), Standing::Present);
    let s = w.snapshot();
    assert!(s.ready && s.unlisted.is_empty(), "{}", s.headline);
    assert_eq!(
        s.devices[0].seen.as_ref().unwrap().address,
        Some(ip("10.40.8.250"))
    );
    assert!(
        w.asked
            .iter()
            .all(|(_, a)| !matches!(a, vocab::Ask::Control { .. }))
    );
    w.station.addresses = vec!["10.40.8.249/24".parse().unwrap()];
    w.plug();
    assert_eq!(w.standing("Desk computer"), Standing::Moved);
    w.station.addresses = vec!["192.168.7.4/24".parse().unwrap()];
    w.plug();
    assert_eq!(w.standing("Desk computer"), Standing::WrongSubnet);
}

#[test]
fn our_address_with_other_hardware_than_listed_is_a_different_unit() {
    let mut d = device("Desk computer", 250);
    d.macs = vec![mac(77)];
    let mut w = World::board(vec![d], vec![]);
    w.run_to(secs(3.0));
    assert_eq!(w.standing("Desk computer"), Standing::Replaced);
    assert!(w.snapshot().devices[0].detail.contains("this computer"));
    // And with the listed hardware there as well they clash.
    w.units.push(Unit {
        mac: mac(77),
        ..Unit::new(77, "10.40.8.250")
    });
    w.run(40.0);
    assert_eq!(w.standing("Desk computer"), Standing::Conflict);
}

#[test]
fn another_interface_of_ours_is_no_stranger() {
    let mut w = with(|s| {
        s.others = vec![OtherPort {
            name: "eth1".to_owned(),
            mac: None,
            addresses: vec!["172.20.1.9/24".parse().unwrap()],
            medium: Medium::Wired,
        }];
    });
    w.announce(mac(200), "172.20.1.9");
    assert!(w.snapshot().unlisted.is_empty());
    w.announce(mac(201), "172.20.1.10");
    assert_eq!(w.snapshot().unlisted_total, 1);
}

#[test]
fn hardware_of_another_interface_of_ours_neither_clashes_nor_counts() {
    let mut w = with(|s| {
        s.others = vec![OtherPort {
            name: "eth1".to_owned(),
            mac: Some(mac(251)),
            addresses: vec!["10.40.8.251/24".parse().unwrap()],
            medium: Medium::Wired,
        }];
    });
    // A kernel answers by each interface for all of its addresses.
    w.announce(mac(251), "10.40.8.250");
    w.announce(mac(251), "10.40.8.251");
    w.run(5.0);
    assert_eq!(w.snapshot().unlisted, []);
    assert_eq!(w.severity(FindingKind::AddressConflict), None);
}

#[test]
fn nothing_is_ready_while_another_may_hold_our_own_address() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.units.push(Unit {
        mac: mac(77),
        ..Unit::new(77, "10.40.8.250")
    });
    w.run_to(secs(10.0));
    assert_eq!(w.severity(FindingKind::AddressConflict), Some(Severity::Fault));
    let ready = |c: &crate::Change| matches!(c.subject, crate::Subject::Ready(true));
    assert!(!w.changes.iter().any(ready), "{:?}", w.changes);
}

#[test]
fn findings_that_our_own_gap_hides_are_not_called_over() {
    let mut r = rig(vec![device("Organ loft", 21)]);
    r.network.gateway = Some(ip("10.40.8.1"));
    let mut w = World::new(settings(r, Purpose::Board), vec![Unit::good(21)]);
    w.plug();
    w.run_to(secs(5.0));
    assert_eq!(w.severity(FindingKind::GatewaySilent), Some(Severity::Risk));
    w.changes.clear();
    w.station.state = LinkState::NoCarrier;
    w.plug();
    w.run(5.0);
    let kinds: Vec<_> = w.changes.iter().map(|c| &c.subject).collect();
    assert!(
        matches!(
            kinds[..],
            [Subject::Finding {
                kind: FindingKind::LinkDown,
                began: true,
                ..
            }]
        ),
        "{kinds:?}"
    );
    assert_eq!(w.snapshot().findings.len(), 1);
}

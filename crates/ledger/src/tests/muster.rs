//! Several networks of one rig, shown as one.

use rig::{Network, Reach, Rig};
use vocab::{Fact, LinkState, Mac, Pace, Sighting, Station};

use super::world::{device, rig, secs, settings, station};
use crate::{FindingKind, Muster, Purpose, Severity, Subject};

fn two() -> Rig {
    let mut wall = device("Wall", 31);
    wall.address = rig::AddressSpec::Fixed("10.40.12.31".parse().unwrap());
    wall.network = "media".to_owned();
    let mut rig = rig(vec![device("Loft", 21), wall, device("Door", 22)]);
    rig.others.push(Network {
        name: "media".to_owned(),
        reach: Reach::Wire,
        subnet: "10.40.12.0/24".parse().unwrap(),
        gateway: None,
        leases: Vec::new(),
        pace: Pace::Own,
        shared: false,
    });
    rig
}

fn other_port(state: LinkState) -> Station {
    Station {
        name: "lan1".to_owned(),
        index: 9,
        mac: Mac::new([2, 0x52, 0x43, 0xfe, 0, 9]),
        addresses: vec!["10.40.12.5/24".parse().unwrap()],
        state,
        ..station()
    }
}

fn tell(muster: &mut Muster, leg: usize, at: f64, station: Station) {
    let fact = Fact::Station(station);
    muster.fold(leg, &Sighting { at: secs(at), fact });
}

#[test]
fn devices_are_shown_in_the_order_of_the_file() {
    let muster = Muster::new(settings(two(), Purpose::Board), secs(0.0));
    let networks: Vec<_> = muster.networks().collect();
    assert_eq!(networks, [Some("main"), Some("media")]);
    let snapshot = muster.snapshot(secs(0.0));
    let shown: Vec<_> = snapshot
        .devices
        .iter()
        .map(|d| (d.name.as_str(), d.network.as_deref()))
        .collect();
    assert_eq!(
        shown,
        [
            ("Loft", Some("main")),
            ("Wall", Some("media")),
            ("Door", Some("main"))
        ]
    );
    assert_eq!(snapshot.counts, muster.counts());
    assert_eq!(snapshot.networks.len(), 2);
}

#[test]
fn one_network_alone_is_shown_as_ever() {
    let muster = Muster::new(settings(rig(vec![device("Loft", 21)]), Purpose::Board), secs(0.0));
    let snapshot = muster.snapshot(secs(0.0));
    assert!(snapshot.networks.is_empty() && snapshot.devices[0].network.is_none());
}

#[test]
fn the_second_networks_link_is_told_with_its_name_and_the_first_goes_on() {
    let mut muster = Muster::new(settings(two(), Purpose::Board), secs(0.0));
    tell(&mut muster, 0, 0.1, station());
    tell(&mut muster, 1, 0.1, other_port(LinkState::Up));
    // Each asks for its own.
    let mut asked = [0; 2];
    while let Some((leg, _)) = muster.next_ask(secs(0.1)) {
        asked[leg] += 1;
    }
    assert!(asked.iter().all(|n| *n > 0), "{asked:?}");
    let before = muster.revision();
    tell(&mut muster, 1, 1.0, other_port(LinkState::NoCarrier));
    assert!(muster.revision() > before);
    let snapshot = muster.snapshot(secs(1.0));
    let down: Vec<_> = snapshot
        .findings
        .iter()
        .filter(|f| f.kind == FindingKind::LinkDown)
        .collect();
    assert_eq!(down.len(), 1);
    assert_eq!(
        (down[0].severity, down[0].network.as_deref()),
        (Severity::Fault, Some("media"))
    );
    assert_eq!(
        down[0].macs,
        [other_port(LinkState::Up).mac],
        "it is about that port"
    );
    assert!(
        snapshot.headline.contains("media: This computer's network cable"),
        "{}",
        snapshot.headline
    );
    let said: Vec<_> = std::iter::from_fn(|| muster.next_change()).collect();
    let named =
        |c: &crate::Change| matches!(c.subject, Subject::Finding { .. }) && c.text.starts_with("media: ");
    assert!(said.iter().any(named), "{said:?}");
}

#[test]
fn a_file_with_other_networks_is_not_taken() {
    let mut muster = Muster::new(settings(two(), Purpose::Board), secs(0.0));
    let mut more = two();
    more.devices.push(super::world::device("Gate", 23));
    assert!(muster.take_rig(&more, secs(1.0)));
    assert_eq!(muster.snapshot(secs(1.0)).devices.len(), 4);
    let mut other = two();
    other.others[0].reach = Reach::Routed;
    assert!(!muster.take_rig(&other, secs(2.0)));
    other.others.clear();
    assert!(!muster.take_rig(&other, secs(2.0)));
    assert_eq!(muster.snapshot(secs(2.0)).devices.len(), 4, "all stays as it was");
}

/// The networks that were asked, of all questions that are `wanted`.
fn asked(muster: &mut Muster, at: f64, wanted: impl Fn(&vocab::Ask) -> bool) -> Vec<usize> {
    muster.tick(secs(at));
    let mut legs = Vec::new();
    while let Some((leg, ask)) = muster.next_ask(secs(at)) {
        if wanted(&ask) {
            legs.push(leg);
        }
    }
    legs.dedup();
    legs
}

#[test]
fn what_is_wanted_of_a_device_goes_to_its_network_and_a_sweep_to_all() {
    let mut rig = two();
    rig.devices[1].control = vec!["http".parse().unwrap()];
    let mut muster = Muster::new(settings(rig, Purpose::Board), secs(0.0));
    tell(&mut muster, 0, 0.0, station());
    tell(&mut muster, 1, 0.0, other_port(LinkState::Up));
    asked(&mut muster, 0.0, |_| false);
    let wall = Mac::new([2, 0x52, 0x43, 0, 0, 31]);
    let arp = vocab::ArpSeen {
        frame_source: wall,
        sender: wall,
        address: "10.40.12.31".parse().unwrap(),
        target: "10.40.12.5".parse().unwrap(),
        op: vocab::ArpOp::Reply,
        vlan: None,
        answers: Some((vocab::ArpForm::Broadcast, std::time::Duration::from_millis(1))),
    };
    let at = secs(0.1);
    muster.fold(
        1,
        &Sighting {
            at,
            fact: Fact::Arp(arp),
        },
    );
    let port = |ask: &vocab::Ask| matches!(ask, vocab::Ask::Control { .. });
    assert_eq!(asked(&mut muster, 0.2, port), [1], "it appeared");
    let told = Fact::Control {
        address: "10.40.12.31".parse().unwrap(),
        mac: Some(wall),
        port: "http".parse().unwrap(),
        state: vocab::ControlState::Answered,
        detail: None,
        asked: secs(0.2),
    };
    let at = secs(0.25);
    muster.fold(1, &Sighting { at, fact: told });
    assert!(muster.ask_control(secs(0.3), "Wall"));
    assert!(!muster.ask_control(secs(0.3), "Loft"), "it has no ports");
    assert_eq!(asked(&mut muster, 0.4, port), [1]);
    // Whatever they are called, the first passes are over with this.
    for (leg, id) in [(0, 0), (0, 1), (1, 0), (1, 1)] {
        let fact = Fact::PassDone {
            id: vocab::PassId(id),
        };
        muster.fold(leg, &Sighting { at: secs(0.5), fact });
    }
    asked(&mut muster, 0.6, |_| false);
    muster.sweep_now(secs(60.0));
    let pass = |ask: &vocab::Ask| matches!(ask, vocab::Ask::Pass { .. });
    assert_eq!(asked(&mut muster, 60.0, pass), [0, 1]);
    assert!(muster.search(secs(61.0), crate::Places::Usual, Pace::Own) || muster.is_searching());
}

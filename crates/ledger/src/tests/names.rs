//! What hosts call themselves: kept with its source, bounded, and deciding nothing.

use vocab::{Ask, Fact, NameSource, RollCall};

use super::world::{Unit, World, device, ip, mac, secs};
use crate::{HostView, Standing};

fn host(w: &World, n: u16) -> Option<HostView> {
    w.snapshot()
        .unlisted
        .into_iter()
        .find(|h| h.mac == Some(mac(n as u8)))
}

fn calm() -> World {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(3.0));
    w
}

/// Every question to everybody, in the order of asking.
const ALL: [RollCall; 4] = [
    RollCall::Nodes,
    RollCall::DnsSd,
    RollCall::WsDiscovery,
    RollCall::Enquiry,
];

fn roll_calls(w: &World) -> Vec<(u64, RollCall)> {
    w.asked
        .iter()
        .filter_map(|(at, ask)| match ask {
            Ask::RollCall(which) => Some((at.as_millis() / 1_000, *which)),
            _ => None,
        })
        .collect()
}

#[test]
fn names_keep_their_source_and_those_for_people_come_first() {
    let mut w = calm();
    w.named(mac(90), None, &[("box-7", NameSource::Dhcp)]);
    w.named(
        mac(90),
        Some("10.40.8.90"),
        &[
            ("box-7", NameSource::Mdns),
            ("Stage box", NameSource::DnsSd),
            ("B20", NameSource::Hardware),
        ],
    );
    w.named(
        mac(90),
        Some("10.40.8.90"),
        &[("box-7", NameSource::Dhcp), ("", NameSource::Mdns)],
    );
    let names: Vec<String> = host(&w, 90)
        .unwrap()
        .names
        .iter()
        .map(ToString::to_string)
        .collect();
    assert_eq!(names, ["Stage box (DNS-SD)", "box-7 (mDNS)", "B20 (hardware)"]);
    for n in 0..100 {
        w.named(mac(90), None, &[(&format!("n{n}"), NameSource::Mdns)]);
    }
    let names = host(&w, 90).unwrap().names;
    assert_eq!(names.len(), 8);
    assert_eq!(
        names[0].text.as_str(),
        "Stage box",
        "no flood of others pushes it out"
    );
}

#[test]
fn a_name_is_news_once_and_decides_nothing() {
    let mut w = calm();
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    let before = w.ledger.revision();
    w.named(mac(21), Some("10.40.8.21"), &[("Stage left", NameSource::Mdns)]);
    assert!(w.ledger.revision() > before);
    let seen = w.snapshot().devices[0].seen.clone().unwrap();
    assert_eq!(seen.names[0].text.as_str(), "Stage left");
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    let before = w.ledger.revision();
    w.named(mac(21), Some("10.40.8.21"), &[("Stage left", NameSource::Mdns)]);
    assert_eq!(w.ledger.revision(), before);
}

#[test]
fn a_device_that_only_speaks_from_a_foreign_address_is_found_there() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::new(21, "172.20.1.7")]);
    w.run_to(secs(5.0));
    assert_eq!(w.standing("Organ loft"), Standing::Missing);
    w.named(mac(21), Some("172.20.1.7"), &[]);
    assert_eq!(
        w.standing("Organ loft"),
        Standing::Missing,
        "its word alone is no claim"
    );
    w.run(85.0);
    assert_eq!(w.standing("Organ loft"), Standing::WrongSubnet);
}

#[test]
fn an_address_that_is_only_said_is_shown_and_no_claim() {
    let mut w = calm();
    w.named(mac(90), Some("192.168.7.9"), &[("Stage box", NameSource::DnsSd)]);
    w.run(5.0);
    let seen = host(&w, 90).unwrap();
    assert_eq!((seen.addresses, seen.on_subnet), (vec![ip("192.168.7.9")], false));
    let asked = |w: &World| {
        w.asked
            .iter()
            .filter(|(_, a)| matches!(a, Ask::Arp { address, .. } if *address == ip("192.168.7.9")))
            .count()
    };
    assert_eq!(asked(&w), 1);
    // However often it speaks, the silent address is asked for twice a minute at most.
    for _ in 0..58 {
        w.run(1.0);
        w.named(mac(90), Some("192.168.7.9"), &[]);
    }
    assert!(asked(&w) <= 3, "{}", asked(&w));
    // Nor does it clash with who holds the address that it names.
    w.named(mac(91), Some("10.40.8.21"), &[("Impostor", NameSource::Mdns)]);
    w.run(5.0);
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    assert!(host(&w, 91).is_none(), "it speaks for another");
    assert!(w.snapshot().findings.is_empty(), "{:?}", w.snapshot().findings);
}

#[test]
fn everybody_is_asked_at_the_start_on_request_and_each_minute_while_somebody_is_missing() {
    let mut w = calm();
    assert_eq!(roll_calls(&w).iter().map(|c| c.1).collect::<Vec<_>>(), ALL);
    w.run(120.0);
    assert_eq!(
        roll_calls(&w).len(),
        ALL.len(),
        "all are here, and nobody is a stranger"
    );
    w.ledger.sweep_now(w.now);
    w.run(1.0);
    assert_eq!(roll_calls(&w).len(), 2 * ALL.len());
    w.units[0].on = false;
    w.run(180.0);
    let later = roll_calls(&w).len() - 2 * ALL.len();
    assert!(
        (2 * ALL.len()..=3 * ALL.len()).contains(&later),
        "{:?}",
        roll_calls(&w)
    );
}

#[test]
fn a_stranger_without_a_name_is_reason_to_ask_again_and_one_with_a_name_is_not() {
    let mut w = World::board(
        vec![device("Organ loft", 21)],
        vec![Unit::good(21), Unit::good(90)],
    );
    w.run_to(secs(70.0));
    assert_eq!(roll_calls(&w).len(), 2 * ALL.len());
    w.named(mac(90), Some("10.40.8.90"), &[("Stage box", NameSource::DnsSd)]);
    w.run(120.0);
    assert_eq!(roll_calls(&w).len(), 2 * ALL.len());
}

#[test]
fn nobody_is_asked_in_silence_nor_without_frames() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.listen_only(true);
    w.run(100.0);
    let before = roll_calls(&w).len();
    w.run(100.0);
    assert_eq!(roll_calls(&w).len(), before);
    let mut plain = World::new(
        super::world::settings(
            super::world::rig(vec![device("Organ loft", 21)]),
            crate::Purpose::Board,
        ),
        vec![],
    );
    plain.station.mode = vocab::Mode::Unprivileged;
    plain.see(Fact::Station(plain.station.clone()));
    plain.run_to(secs(100.0));
    assert_eq!(roll_calls(&plain), []);
}

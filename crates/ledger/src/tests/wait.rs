//! Waiting for a device to start: who is caught, by what, and who is not.

use vocab::{Fact, Wake};

use super::world::{Unit, World, device, mac, secs};
use crate::{Caught, Sign};

fn waiting() -> World {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(3.0));
    let now = secs(3.0);
    w.ledger.wait_for_start(now);
    w
}

fn caught(w: &World) -> Vec<Caught> {
    w.snapshot().waiting.unwrap().caught
}

fn told(w: &World) -> Vec<(u8, Option<String>, Sign)> {
    caught(w)
        .into_iter()
        .map(|c| (c.mac.octets()[5], c.address.map(|a| a.to_string()), c.sign))
        .collect()
}

#[test]
fn who_starts_is_caught_by_probe_announcement_dhcp_or_first_word() {
    let mut w = waiting();
    w.run(2.0);
    assert!(caught(&w).is_empty(), "who answers our questions does not start");
    w.probe(mac(0x51), "192.168.77.5");
    w.announce(mac(0x52), "172.16.9.9");
    w.discover(mac(0x53));
    // A kernel that never announces asks for its router first.
    w.arp(mac(0x54), mac(0x54), "10.99.0.7", "10.99.0.1");
    w.named(mac(0x55), Some("10.98.0.3"), &[]);
    let at = |a: &str| Some(a.to_owned());
    assert_eq!(
        told(&w),
        [
            (0x51, at("192.168.77.5"), Sign::Probes),
            (0x52, at("172.16.9.9"), Sign::Announces),
            (0x53, None, Sign::Dhcp),
            (0x54, at("10.99.0.7"), Sign::Spoke),
            (0x55, at("10.98.0.3"), Sign::Spoke),
        ]
    );
    // What follows tells more of the address, and repetition is no news.
    w.see(Fact::Wakes {
        mac: mac(0x53),
        how: Wake::DhcpRequest {
            wanted: Some("10.40.8.150".parse().unwrap()),
        },
    });
    w.announce(mac(0x51), "192.168.77.5");
    let before = w.ledger.revision();
    w.announce(mac(0x51), "192.168.77.5");
    assert_eq!(w.ledger.revision(), before);
    let told = told(&w);
    assert_eq!(told[0], (0x51, at("192.168.77.5"), Sign::Announces));
    assert_eq!(told[2], (0x53, at("10.40.8.150"), Sign::Dhcp));
}

#[test]
fn a_listed_device_is_named_and_one_that_stands_is_not_caught_by_talking() {
    let mut w = waiting();
    w.arp(mac(21), mac(21), "10.40.8.21", "10.40.8.1");
    assert!(caught(&w).is_empty(), "it was there before");
    w.announce(mac(21), "10.40.8.21");
    assert_eq!(caught(&w)[0].device.as_deref(), Some("Organ loft"));
}

#[test]
fn who_looks_around_in_nobodys_name_is_no_device_that_starts() {
    let mut w = waiting();
    for n in 1..=9 {
        w.probe(mac(0x51), &format!("192.168.77.{n}"));
    }
    assert!(caught(&w).is_empty());
}

#[test]
fn a_flood_is_bounded_and_nothing_is_caught_before_and_after() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(3.0));
    w.announce(mac(0x50), "172.16.9.1");
    assert_eq!(w.snapshot().waiting, None);
    w.ledger.wait_for_start(secs(3.0));
    assert!(w.ledger.is_waiting());
    for n in 0x60..0x90 {
        w.announce(mac(n), &format!("172.16.9.{n}"));
    }
    let view = w.snapshot().waiting.unwrap();
    assert_eq!((view.caught.len(), view.more), (16, true));
    w.ledger.stop_waiting();
    w.announce(mac(0x95), "172.16.9.2");
    assert_eq!(w.snapshot().waiting, None);
}

#[test]
fn it_goes_on_in_silence() {
    let mut w = waiting();
    w.listen_only(true);
    w.announce(mac(0x52), "172.16.9.9");
    assert_eq!(caught(&w).len(), 1);
}

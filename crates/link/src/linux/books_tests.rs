//! Stations from what a kernel said.
#![cfg(target_endian = "little")]

use vocab::{LinkState, Mac, Medium, Mode, Station};

use super::super::news::{self, News};
use super::Books;

const NEAR: Mac = Mac::new([0x02, 0x52, 0x43, 0, 0, 0x05]);

fn wired(_: &str) -> Medium {
    Medium::Wired
}

/// The books after these recorded messages.
fn after(names: &[&str]) -> Books {
    let recorded = news::tests::recorded();
    let mut books = Books::default();
    for name in names {
        for piece in news::read(&recorded[name]) {
            books.enter(&piece, &wired);
        }
    }
    books
}

fn station(names: &[&str]) -> Station {
    after(names).station("near", Mode::Raw, None)
}

#[test]
fn the_life_of_an_interface() {
    let made = station(&["near-made"]);
    assert_eq!((made.index, made.mac, made.state), (3, NEAR, LinkState::Down));
    let up = station(&["near-made", "near-up", "address", "address-2"]);
    assert_eq!(up.state, LinkState::Up);
    assert_eq!(
        up.addresses,
        ["10.40.8.5/24".parse().unwrap(), "10.40.9.1/24".parse().unwrap()]
    );
    let less = station(&["near-up", "address", "address-2", "address-2-gone"]);
    assert_eq!(less.addresses, ["10.40.8.5/24".parse().unwrap()]);
    let gone = after(&["near-up", "address", "near-gone"]).station("near", Mode::Raw, Some(&up));
    assert_eq!((gone.index, gone.mac, gone.state), (0, NEAR, LinkState::Gone));
    assert_eq!(gone.addresses, []);
}

#[test]
fn an_address_said_twice_is_one() {
    assert_eq!(station(&["near-up", "address", "address"]).addresses.len(), 1);
}

#[test]
fn of_ipv6_the_sure_link_local_address_is_kept() {
    let mut books = after(&["near-up"]);
    let address = |text: &str| text.parse::<std::net::Ipv6Addr>().unwrap();
    let of = |books: &Books| books.station("near", Mode::Raw, None).link_local;
    let (low, high) = (address("fe80::1"), address("fe80::52:43ff:fe00:5"));
    let mut enter = |address, sure| {
        books.enter(
            &News::Address6 {
                index: 3,
                address,
                sure,
            },
            &wired,
        );
        of(&books)
    };
    assert_eq!(enter(high, false), None, "it may be another's yet");
    assert_eq!(enter(high, true), Some(high));
    assert_eq!(enter(low, true), Some(low));
    assert_eq!(enter(low, false), Some(high), "it turned out to be another's");
    books.enter(
        &News::Address6Gone {
            index: 3,
            address: high,
        },
        &wired,
    );
    assert_eq!(of(&books), None);
}

#[test]
fn a_partial_message_keeps_what_it_leaves_out() {
    let mut books = after(&["near-up"]);
    books.enter(
        &News::Link {
            index: 3,
            hardware: 1,
            flags: 0x1003,
            name: None,
            mac: None,
        },
        &wired,
    );
    let station = books.station("near", Mode::Raw, None);
    assert_eq!((station.mac, station.state), (NEAR, LinkState::NoCarrier));
}

#[test]
fn carrier_that_is_not_yet_usable_is_no_carrier() {
    let mut books = after(&["near-up"]);
    // Up with carrier but not running: a Wi-Fi that is not let in yet.
    books.enter(
        &News::Link {
            index: 3,
            hardware: 1,
            flags: 0x1_1003,
            name: None,
            mac: None,
        },
        &wired,
    );
    assert_eq!(books.station("near", Mode::Raw, None).state, LinkState::NoCarrier);
}

#[test]
fn others_are_up_with_addresses_and_no_loopback() {
    let mut books = after(&["near-up", "address"]);
    let net = |text: &str| text.parse().unwrap();
    for (index, name, flags, hardware) in [
        (1, "lo", 0x1_0049, 772),
        (4, "wlan0", 0x1_0043, 1),
        (5, "off", 0x2, 1),
        (6, "bare", 0x1_0043, 1),
        (7, "tun0", 0x1_0041, 65534),
    ] {
        let name = Some(name.to_owned());
        books.enter(
            &News::Link {
                index,
                hardware,
                flags,
                name,
                mac: None,
            },
            &|name| {
                if name == "wlan0" {
                    Medium::Wireless
                } else {
                    Medium::Wired
                }
            },
        );
        if index != 6 {
            books.enter(
                &News::Address {
                    index,
                    net: net(&format!("10.40.{index}.9/24")),
                },
                &wired,
            );
        }
    }
    let others = books.station("near", Mode::Raw, None).others;
    let seen: Vec<_> = others.iter().map(|o| (o.name.as_str(), o.medium)).collect();
    assert_eq!(seen, [("wlan0", Medium::Wireless), ("tun0", Medium::Wired)]);
    assert_eq!(books.is_ethernet("lo"), Some(false));
    assert_eq!(books.is_ethernet("tun0"), Some(false));
    assert_eq!(books.is_ethernet("eth9"), None);
    assert_eq!(books.names(), ["near", "wlan0", "off", "bare"]);
}

#[test]
fn a_renamed_interface_is_another() {
    let mut books = after(&["near-up"]);
    let name = Some("else".to_owned());
    books.enter(
        &News::Link {
            index: 3,
            hardware: 1,
            flags: 0x1_0043,
            name,
            mac: None,
        },
        &|_| Medium::Wireless,
    );
    assert_eq!(books.station("near", Mode::Raw, None).state, LinkState::Gone);
    assert_eq!(books.station("else", Mode::Raw, None).medium, Medium::Wireless);
}

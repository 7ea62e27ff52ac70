//! Messages as a kernel sent them.

use std::collections::BTreeMap;

use proptest::prelude::*;

use super::{News, Table, read, request};
use vocab::Mac;

const NEAR: Mac = Mac::new([0x02, 0x52, 0x43, 0, 0, 0x05]);

/// The recorded datagrams by name. They are in the order of a little-endian machine.
pub(in crate::linux) fn recorded() -> BTreeMap<&'static str, Vec<u8>> {
    let lines = include_str!("recorded.txt")
        .lines()
        .filter(|line| !line.starts_with('#'));
    let pairs = lines.map(|line| {
        let (name, hex) = line.split_once(' ').unwrap();
        let byte = |at: usize| u8::from_str_radix(&hex[at..at + 2], 16).unwrap();
        (name, (0..hex.len()).step_by(2).map(byte).collect())
    });
    pairs.collect()
}

/// By the layout of rtnetlink(7): a head of 16 bytes, `struct ifaddrmsg`, and attributes.
#[test]
fn an_ipv6_address_is_read_with_whether_it_is_sure() {
    let message = |kind: u16, address: &str, flags: Option<u32>| {
        let mut body = vec![10, 64, 0x40, 253];
        body.extend(3_u32.to_ne_bytes());
        let mut attribute = |kind: u16, value: &[u8]| {
            body.extend((4 + value.len() as u16).to_ne_bytes());
            body.extend(kind.to_ne_bytes());
            body.extend(value);
        };
        attribute(1, &address.parse::<std::net::Ipv6Addr>().unwrap().octets());
        if let Some(flags) = flags {
            attribute(8, &flags.to_ne_bytes());
        }
        let mut all = (16 + body.len() as u32).to_ne_bytes().to_vec();
        all.extend(kind.to_ne_bytes());
        all.extend([0; 10]);
        all.extend(body);
        read(&all)
    };
    let address = "fe80::52:43ff:fe00:5".parse().unwrap();
    let text = "fe80::52:43ff:fe00:5";
    for (flags, sure) in [
        (None, false),
        (Some(0xc0), false),
        (Some(0x88), false),
        (Some(0x80), true),
    ] {
        let wanted = News::Address6 {
            index: 3,
            address,
            sure,
        };
        assert_eq!(message(20, text, flags), [wanted], "{flags:?}");
    }
    assert_eq!(
        message(21, text, None),
        [News::Address6Gone { index: 3, address }]
    );
    assert_eq!(
        message(20, "2001:db8::5", Some(0x80)),
        [],
        "of no use on the link"
    );
}

#[test]
#[cfg(target_endian = "little")]
fn interfaces_addresses_and_neighbours_are_read() {
    let all = recorded();
    let News::Link {
        index,
        hardware,
        flags,
        name,
        mac,
    } = &read(&all["near-up"])[0]
    else {
        panic!()
    };
    assert_eq!(
        (*index, *hardware, name.as_deref(), *mac),
        (3, 1, Some("near"), Some(NEAR))
    );
    assert_eq!(*flags & 0x1_0041, 0x1_0041, "up, running, carrier");
    assert_eq!(
        read(&all["address"]),
        [News::Address {
            index: 3,
            net: "10.40.8.5/24".parse().unwrap()
        }]
    );
    assert_eq!(
        read(&all["address-2-gone"]),
        [News::AddressGone {
            index: 3,
            net: "10.40.9.1/24".parse().unwrap()
        }]
    );
    let address = "10.40.8.21".parse().unwrap();
    let [
        News::Neighbour {
            index: 3,
            address: who,
            state: 0x02,
            mac,
            confirmed,
        },
    ] = read(&all["neighbour-reachable"])[..]
    else {
        panic!()
    };
    assert_eq!(
        (who, mac),
        (address, Some(Mac::new([0x02, 0x52, 0x43, 0, 0, 0x21])))
    );
    assert!(confirmed.unwrap() < 100);
    assert!(matches!(
        read(&all["neighbour-failed"])[..],
        [News::Neighbour { state: 0x20, .. }]
    ));
    assert_eq!(
        read(&all["neighbour-gone"]),
        [News::NeighbourGone { index: 3, address }]
    );
    assert_eq!(read(&all["near-gone"]), [News::LinkGone { index: 3 }]);
}

#[test]
fn a_port_leaving_a_bridge_is_not_gone() {
    assert_eq!(read(&recorded()["bridge-port-gone"]), []);
}

#[test]
fn several_messages_in_one_datagram_are_all_read() {
    let all = recorded();
    let both = [
        &all["address"][..],
        &all["address-2"],
        &[16, 0, 0, 0, 3, 0],
        &[0; 10],
    ]
    .concat();
    assert_eq!(
        read(&both).len(),
        if cfg!(target_endian = "little") { 3 } else { 0 }
    );
}

#[test]
#[cfg(target_endian = "little")]
fn a_refusal_and_a_disturbed_table_are_noticed() {
    let refusal = [
        &36_u32.to_ne_bytes()[..],
        &2_u16.to_ne_bytes(),
        &[0; 10],
        &(-16_i32).to_ne_bytes(),
        &[0; 16],
    ];
    assert_eq!(read(&refusal.concat()), [News::Refused(16)]);
    let mut disturbed = recorded()["address"].clone();
    disturbed[6] |= 0x10;
    assert_eq!(read(&disturbed)[0], News::Interrupted);
}

#[test]
fn requests_have_the_length_they_say() {
    for table in [Table::Links, Table::Addresses, Table::Neighbours] {
        let bytes = request(table, 7);
        assert_eq!(
            u32::from_ne_bytes(bytes[..4].try_into().unwrap()) as usize,
            bytes.len()
        );
        assert_eq!(bytes[8..12], 7_u32.to_ne_bytes());
    }
}

proptest! {
    #[test]
    fn no_bytes_make_it_panic(
        noise in proptest::collection::vec(any::<u8>(), 0..200),
        which in 0_usize..11,
        spots in proptest::collection::vec((0_usize..1500, any::<u8>()), 1..20),
        cut in 0_usize..1500,
    ) {
        let _ = read(&noise);
        let mut bytes = recorded().into_values().nth(which).unwrap();
        for (at, value) in spots {
            let at = at % bytes.len();
            bytes[at] = value;
        }
        bytes.truncate(cut.max(4));
        prop_assert!(read(&bytes).len() <= bytes.len());
    }
}

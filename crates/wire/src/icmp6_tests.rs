//! `ICMPv6`: echo, neighbour discovery, and what a host passes over.

use proptest::prelude::*;

use super::*;
use crate::{What, ethernet, peek};

const A: Ipv6Addr = Ipv6Addr::new(0xfe80, 0, 0, 0, 0, 0x52, 0x43, 0x21);
const B: Ipv6Addr = Ipv6Addr::new(0xfe80, 0, 0, 0, 0, 0x52, 0x43, 5);
const LOFT: Mac = Mac::new([2, 0x52, 0x43, 0, 0, 0x21]);
const OURS: Mac = Mac::new([2, 0x52, 0x43, 0, 0, 5]);

fn path() -> Path6 {
    Path6 {
        from_mac: LOFT,
        from: A,
        to_mac: OURS,
        to: B,
    }
}

/// Any message with a sound checksum.
fn carried(from: Ipv6Addr, to: Ipv6Addr, hop_limit: u8, bytes: &[u8]) -> Result<String, Reason> {
    let mut bytes = bytes.to_vec();
    bytes[2..4].fill(0);
    let checksum = sum(from, to, &bytes).finish().to_be_bytes();
    bytes[2..4].copy_from_slice(&checksum);
    let packet = Ipv6 {
        source: from,
        destination: to,
        next: ICMP6,
        hop_limit,
        payload: &bytes,
    };
    Icmp6::parse(&packet)
        .map(|m| format!("{m:?}"))
        .map_err(|e| e.reason)
}

fn message(kind: u8, target: Option<Ipv6Addr>, options: &[u8]) -> Vec<u8> {
    let mut out = vec![kind, 0, 0, 0, 0, 0, 0, 0];
    if kind == ROUTER_ADVERTISEMENT {
        out.extend([0; 8]);
    }
    out.extend(target.iter().flat_map(Ipv6Addr::octets));
    out.extend(options);
    out
}

#[test]
fn echoes_come_back_and_damage_is_seen() {
    let echo = Echo {
        identifier: 0x1234,
        sequence: 9,
        data: b"odd",
    };
    let mut frame = path().echo_reply(&echo);
    assert_eq!(
        peek(&frame).unwrap().what,
        What::EchoReply6 { from: A, to: B, echo }
    );
    let packet = Ipv6::parse(&frame[ethernet::HEADER..]).unwrap();
    assert_eq!(Icmp6::parse(&packet), Ok(Icmp6::EchoReply(echo)));
    frame[ethernet::HEADER + ipv6::HEADER + 9] ^= 1;
    assert_eq!(peek(&frame).map_err(|e| e.reason), Err(Reason::Checksum));
}

#[test]
fn an_advertisement_tells_who_and_where() {
    let frame = Path6::to_group(LOFT, A, ipv6::ALL_NODES).advertisement();
    let What::Neighbour6(neighbour) = peek(&frame).unwrap().what else {
        panic!("{frame:?}")
    };
    assert_eq!((neighbour.address, neighbour.hardware), (Some(A), Some(LOFT)));
}

#[test]
fn who_asks_for_an_address_without_one_is_about_to_take_it() {
    let group = "ff02::1:ff43:21".parse().unwrap();
    let asks = message(NEIGHBOUR_SOLICITATION, Some(A), &[]);
    let said = carried(Ipv6Addr::UNSPECIFIED, group, 255, &asks).unwrap();
    assert!(said.contains(&format!("address: Some({A})")), "{said}");
    // A router is asked for without a sender as well: then nobody is known by it.
    let asks = message(ROUTER_SOLICITATION, None, &[]);
    let said = carried(Ipv6Addr::UNSPECIFIED, "ff02::2".parse().unwrap(), 255, &asks).unwrap();
    assert!(said.contains("address: None"), "{said}");
}

#[test]
fn what_the_standard_has_a_host_pass_over_is_refused() {
    let own = [SOURCE_HARDWARE, 1, 2, 0x52, 0x43, 0, 0, 0x21];
    let asks = message(NEIGHBOUR_SOLICITATION, Some(B), &own);
    assert!(carried(A, B, 255, &asks).is_ok());
    assert_eq!(
        carried(A, B, 254, &asks),
        Err(Reason::Value),
        "it came over a router"
    );
    assert_eq!(carried(Ipv6Addr::UNSPECIFIED, B, 255, &asks), Err(Reason::Value));
    let group: Ipv6Addr = "ff02::5".parse().unwrap();
    assert_eq!(
        carried(A, B, 255, &message(NEIGHBOUR_SOLICITATION, Some(group), &[])),
        Err(Reason::Value)
    );
    let mut solicited = message(NEIGHBOUR_ADVERTISEMENT, Some(A), &[]);
    solicited[4] = 0x40;
    assert!(carried(A, B, 255, &solicited).is_ok());
    assert_eq!(carried(A, ipv6::ALL_NODES, 255, &solicited), Err(Reason::Value));
    let routed: Ipv6Addr = "2001:db8::1".parse().unwrap();
    let router = message(ROUTER_ADVERTISEMENT, None, &own);
    let said = carried(A, ipv6::ALL_NODES, 255, &router).unwrap();
    assert!(said.contains(&format!("hardware: {:?}", Some(LOFT))), "{said}");
    assert_eq!(carried(routed, ipv6::ALL_NODES, 255, &router), Err(Reason::Value));
}

#[test]
fn options_that_loop_or_overrun_are_refused() {
    let with = |options: &[u8]| carried(A, B, 255, &message(NEIGHBOUR_SOLICITATION, Some(B), options));
    assert_eq!(
        with(&[14, 0, 0, 0, 0, 0, 0, 0]),
        Err(Reason::Length),
        "it would never end"
    );
    assert_eq!(
        with(&[SOURCE_HARDWARE, 2, 2, 0x52, 0x43, 0, 0, 0x21]),
        Err(Reason::Short)
    );
    assert_eq!(with(&[SOURCE_HARDWARE]), Err(Reason::Short));
    // An option of a kind or length that is not read is passed over.
    let said = with(&[&[14, 1, 0, 0, 0, 0, 0, 0][..], &[SOURCE_HARDWARE, 2], &[0; 14]].concat()).unwrap();
    assert!(said.contains("hardware: None"), "{said}");
    for cut in 8..24 {
        let asks = message(NEIGHBOUR_SOLICITATION, Some(B), &[]);
        assert_eq!(carried(A, B, 255, &asks[..cut]), Err(Reason::Short), "{cut}");
    }
}

proptest! {
    #[test]
    fn no_options_make_it_panic(kind in 120u8..140, hops in 254u8..=255, bytes in prop::collection::vec(any::<u8>(), 4..200)) {
        let mut bytes = bytes;
        bytes[0] = kind;
        let _ = carried(A, B, hops, &bytes);
    }
}

//! LLDP: what must be there, what may be, and what lies.

use proptest::prelude::*;

use super::*;
use crate::{What, peek};

const S1: Mac = Mac::new([0x02, 0x52, 0x43, 0, 0, 0xf1]);

fn s1() -> Switch<'static> {
    Switch {
        name: "S1 gallery",
        mac: S1,
        port: "3",
        address: Some(Ipv4Addr::new(10, 40, 8, 2)),
        passes_on: true,
        ttl: USUAL_TTL,
    }
}

fn payload(switch: &Switch<'_>) -> Vec<u8> {
    switch.frame()[ethernet::HEADER..].to_vec()
}

fn entry(kind: u8, value: &[u8]) -> Vec<u8> {
    let head = (u16::from(kind) << 9) | value.len() as u16;
    [&head.to_be_bytes()[..], value].concat()
}

/// The three that must be there, and then `rest`.
fn with(rest: &[Vec<u8>]) -> Vec<u8> {
    [
        entry(1, b"\x07tower"),
        entry(2, b"\x05uplink"),
        entry(3, &[0, 9]),
        rest.concat(),
    ]
    .concat()
}

fn reason(bytes: &[u8]) -> Option<Reason> {
    Message::parse(bytes).err().map(|e| e.reason)
}

#[test]
fn a_switch_is_read_as_it_was_written() {
    let frame = s1().frame();
    let heard = peek(&frame).unwrap();
    assert_eq!((heard.source, heard.destination), (S1, GROUP_MAC));
    let What::Lldp(message) = heard.what else {
        panic!("{:?}", heard.what)
    };
    assert_eq!(message.chassis, Id::Mac(S1));
    assert_eq!(message.title().as_str(), "S1 gallery");
    assert_eq!(message.port_title().as_str(), "3");
    assert_eq!(message.ttl, Duration::from_secs(121));
    assert_eq!(message.passes_on, Some(true));
    assert_eq!(message.address, Some(Ipv4Addr::new(10, 40, 8, 2)));
    let camera = Switch {
        passes_on: false,
        address: None,
        ttl: Duration::ZERO,
        ..s1()
    };
    let message = Message::parse(&payload(&camera)).unwrap();
    assert_eq!(
        (message.passes_on, message.address, message.ttl),
        (Some(false), None, Duration::ZERO)
    );
}

#[test]
fn identifiers_take_their_form_from_their_subtype() {
    let id = |chassis: &[u8], port: &[u8]| {
        let bytes = [entry(1, chassis), entry(2, port), entry(3, &[0, 9])].concat();
        Message::parse(&bytes).map(|m| (m.chassis.to_text().to_string(), m.port.to_text().to_string()))
    };
    let of = |a: &str, b: &str| Ok((a.to_owned(), b.to_owned()));
    assert_eq!(
        id(b"\x04\x02\x52\x43\0\0\xf1", b"\x03\x02\x52\x43\0\0\xf2"),
        of("02:52:43:00:00:f1", "02:52:43:00:00:f2")
    );
    assert_eq!(id(b"\x05\x01\x0a\x28\x08\x02", b"\x07\x33"), of("10.40.8.2", "3"));
    // Not text, or of another length than its subtype has: as it stands, in hexadecimal.
    assert_eq!(id(b"\x04\x02\x52", b"\x07\x00\x01"), of("0252", "0001"));
    assert_eq!(id(b"\x07\xff\xfe", b"\x05Gi\x1b[2J"), of("fffe", "47691b5b324a"));
    assert!(
        id(b"\x04", b"\x07\x33").is_err(),
        "an identifier has at least one byte"
    );
}

#[test]
fn a_port_known_by_its_hardware_is_called_by_its_description() {
    let port = |subtype: u8, id: &[u8]| {
        let bytes = [
            entry(1, b"\x07tower"),
            entry(2, &[&[subtype], id].concat()),
            entry(3, &[0, 9]),
            entry(4, b"Port 3"),
        ]
        .concat();
        Message::parse(&bytes).unwrap().port_title().to_string()
    };
    assert_eq!(port(3, &[2, 0x52, 0x43, 0, 0, 0xf2]), "Port 3");
    assert_eq!(port(5, b"1/0/3"), "1/0/3");
    // Blanks, and characters that take no room: nothing could be read.
    assert_eq!(port(5, b"  "), "2020");
    assert_eq!(port(5, "\u{200b}\u{202e}".as_bytes()), "e2808be280ae");
}

#[test]
fn the_three_that_must_come_first_are_required_in_order() {
    assert!(Message::parse(&with(&[])).is_ok(), "the end may be left out");
    let order = |kinds: [u8; 3]| {
        let value = |kind: u8| match kind {
            3 => vec![0, 9],
            _ => b"\x07x".to_vec(),
        };
        reason(&kinds.map(|k| entry(k, &value(k))).concat())
    };
    assert_eq!(order([1, 2, 3]), None);
    for wrong in [[1, 3, 2], [2, 1, 3], [1, 2, 5], [1, 1, 2], [1, 2, 0]] {
        assert_eq!(order(wrong), Some(Reason::Value), "{wrong:?}");
    }
    assert_eq!(reason(&[]), Some(Reason::Value));
    assert_eq!(
        reason(&[entry(1, b"\x07x"), entry(2, b"\x07x"), entry(3, &[9])].concat()),
        Some(Reason::Value),
        "half a time to live"
    );
}

#[test]
fn an_entry_longer_than_the_frame_is_refused_wherever_it_is_cut() {
    let whole = payload(&Switch {
        address: None,
        ..s1()
    });
    // Behind the end there is only padding.
    let end = whole.windows(4).position(|w| w == [0, 4, 0, 4]).unwrap() + 4;
    for cut in 0..end {
        match Message::parse(&whole[..cut]) {
            // Cut between two entries it is a shorter message, and no entry is read in half.
            Ok(part) => assert!(
                part.passes_on.is_none() && part.name.is_none_or(|n| n.as_str() == "S1 gallery"),
                "{cut}"
            ),
            Err(e) => assert!(e.offset <= cut, "{cut}: {e}"),
        }
    }
    let mut long = with(&[]);
    long.extend([NAME << 1 | 1, 0xff, b'x']);
    assert_eq!(reason(&long), Some(Reason::Short));
    assert_eq!(reason(&with(&vec![entry(9, b""); 1_000])), Some(Reason::Long));
}

#[test]
fn of_two_the_first_counts_and_nonsense_is_passed_over() {
    let message = Message::parse(&with(&[
        entry(NAME, b""),
        entry(NAME, b"\x1b]0;evil\x07Tower"),
        entry(NAME, b"other"),
        entry(CAPABILITIES, &[0]),
        entry(MANAGEMENT, &[5, 2, 10, 40, 8, 2]),
        entry(MANAGEMENT, &[17, 1, 10, 40]),
        entry(127, &[0, 0x12, 0x0f, 2, 1]),
        entry(END, b""),
        vec![0xff; 9],
    ]))
    .unwrap();
    assert_eq!(message.name.unwrap().as_str(), "]0;evilTower");
    assert_eq!((message.passes_on, message.address), (None, None));
}

proptest! {
    #[test]
    fn no_bytes_make_it_panic(bytes: Vec<u8>) {
        let _ = Message::parse(&bytes);
    }

    #[test]
    fn no_entries_make_it_panic(list in prop::collection::vec((0u8..128, prop::collection::vec(any::<u8>(), 0..40)), 0..40)) {
        let rest: Vec<Vec<u8>> = list.iter().map(|(kind, value)| entry(*kind, value)).collect();
        let message = Message::parse(&with(&rest)).unwrap();
        prop_assert!(message.name.is_none_or(|n| n.as_str().chars().count() <= Text::MAX_CHARS));
    }
}

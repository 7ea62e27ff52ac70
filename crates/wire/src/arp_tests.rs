//! ARP against the field values of RFC 826 and RFC 5227.

use super::*;

const OURS: Mac = Mac::new([0x02, 0x52, 0x43, 0x00, 0x00, 0x01]);
const THEIRS: Mac = Mac::new([0x02, 0x52, 0x43, 0x00, 0x00, 0x21]);
const OWN: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 5);
const LOFT: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);

/// RFC 5227 section 1.1: a request, broadcast, sender protocol address all zero, target hardware
/// address zero, target protocol address the one probed; hardware type 1, protocol type 0x0800,
/// lengths 6 and 4 and operation 1 from RFC 826.
#[test]
fn a_probe_byte_for_byte() {
    #[rustfmt::skip]
    let mut wanted = vec![
        0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0x02, 0x52, 0x43, 0x00, 0x00, 0x01, 0x08, 0x06,
        0x00, 0x01, 0x08, 0x00, 0x06, 0x04, 0x00, 0x01,
        0x02, 0x52, 0x43, 0x00, 0x00, 0x01, 0, 0, 0, 0,
        0, 0, 0, 0, 0, 0, 10, 40, 8, 21,
    ];
    wanted.resize(60, 0);
    assert_eq!(probe_frame(OURS, LOFT, Mac::BROADCAST), wanted);
    assert!(Arp::parse(&wanted[14..]).unwrap().is_probe());
}

/// RFC 5227 section 2.3: as a probe, but sender and target protocol address are both the new one.
#[test]
fn an_announcement_byte_for_byte() {
    #[rustfmt::skip]
    let mut wanted = vec![
        0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0x02, 0x52, 0x43, 0x00, 0x00, 0x21, 0x08, 0x06,
        0x00, 0x01, 0x08, 0x00, 0x06, 0x04, 0x00, 0x01,
        0x02, 0x52, 0x43, 0x00, 0x00, 0x21, 10, 40, 8, 21,
        0, 0, 0, 0, 0, 0, 10, 40, 8, 21,
    ];
    wanted.resize(60, 0);
    assert_eq!(announcement_frame(THEIRS, LOFT), wanted);
    let arp = Arp::parse(&wanted[14..]).unwrap();
    assert!(arp.is_announcement() && !arp.is_probe());
}

/// RFC 826: operation 2, the fields swapped, sent to the asker only.
#[test]
fn a_reply_byte_for_byte() {
    #[rustfmt::skip]
    let mut wanted = vec![
        0x02, 0x52, 0x43, 0x00, 0x00, 0x01, 0x02, 0x52, 0x43, 0x00, 0x00, 0x21, 0x08, 0x06,
        0x00, 0x01, 0x08, 0x00, 0x06, 0x04, 0x00, 0x02,
        0x02, 0x52, 0x43, 0x00, 0x00, 0x21, 10, 40, 8, 21,
        0x02, 0x52, 0x43, 0x00, 0x00, 0x01, 10, 40, 8, 5,
    ];
    wanted.resize(60, 0);
    assert_eq!(reply_frame(THEIRS, LOFT, OURS, OWN), wanted);
}

#[test]
fn a_request_may_go_to_one_host() {
    let frame = request_frame(OURS, OWN, LOFT, THEIRS);
    assert_eq!(frame[..6], THEIRS.octets());
    assert_eq!(Arp::parse(&frame[14..]), Ok(Arp::request(OURS, OWN, LOFT)));
    let tagged = Arp::request(OURS, OWN, LOFT).frame(THEIRS, Some(40));
    assert_eq!((tagged.len(), &tagged[12..18]), (60, &[0x81, 0, 0, 40, 8, 6][..]));
}

#[test]
fn other_hardware_protocols_lengths_and_operations_are_told_apart() {
    let good = Arp::request(OURS, OWN, LOFT).emit();
    let spoil = |at: usize, value: u8| {
        let mut bytes = good;
        bytes[at] = value;
        Arp::parse(&bytes).map_err(|e| (e.reason, e.offset))
    };
    assert_eq!(spoil(1, 7), Err((Reason::Unsupported, 0)));
    assert_eq!(spoil(1, 6), Arp::parse(&good).map_err(|e| (e.reason, e.offset)));
    assert_eq!(spoil(2, 0x86), Err((Reason::Unsupported, 2)));
    assert_eq!(spoil(4, 8), Err((Reason::Length, 4)));
    assert_eq!(spoil(5, 16), Err((Reason::Length, 4)));
    assert_eq!(spoil(7, 3), Err((Reason::Unsupported, 6)));
    for cut in 0..LEN {
        assert_eq!(
            Arp::parse(&good[..cut]),
            Err(Malformed::new(Layer::Arp, Reason::Short, cut))
        );
    }
}

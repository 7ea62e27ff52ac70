//! DHCP against the layout of RFC 2131 and the options of RFC 2132.

use super::*;

const CLIENT: Mac = Mac::new([0x02, 0x52, 0x43, 0, 0, 0x21]);
const SERVER: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 1);
const GIVEN: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 101);

fn discover() -> Message {
    Message {
        vendor_class: Some(Text::clean("stage unit")),
        client_id: Some(vec![1, 2, 0x52, 0x43, 0, 0, 0x21]),
        ..Message::discover(0x1234_5678, CLIENT, Some(Text::clean("organ-loft")))
    }
}

#[test]
fn the_layout_of_rfc_2131() {
    let bytes = discover().emit();
    assert_eq!(bytes.len(), 300);
    // op 1 (to the server), htype 1, hlen 6, hops 0, xid, secs 0, flags: broadcast is the top bit.
    assert_eq!(bytes[..12], [1, 1, 6, 0, 0x12, 0x34, 0x56, 0x78, 0, 0, 0x80, 0]);
    assert_eq!(bytes[28..34], CLIENT.octets());
    // The cookie, in decimal as section 3 has it.
    assert_eq!(bytes[236..240], [99, 130, 83, 99]);
    assert_eq!(Message::parse(&bytes), Ok(discover()));
}

#[test]
fn a_lease_is_asked_for_and_given() {
    let offer = Message {
        mask: Some(Ipv4Addr::new(255, 255, 255, 0)),
        routers: vec![SERVER],
        dns: vec![SERVER, GIVEN],
        ..Message::answer(&discover(), Kind::Offer, SERVER, GIVEN, 3_600)
    };
    let bytes = offer.emit();
    assert_eq!(bytes[0], 2);
    assert_eq!(bytes[16..20], GIVEN.octets());
    assert_eq!(Message::parse(&bytes), Ok(offer.clone()));
    let request = Message::request(&offer, None);
    assert_eq!(
        (request.wanted, request.server, request.xid),
        (Some(GIVEN), Some(SERVER), offer.xid)
    );
    assert_eq!(Message::parse(&request.emit()), Ok(request));
}

#[test]
fn names_are_cleaned_and_broken_utf8_hides_no_later_option() {
    let mut bytes = Message::new(Kind::Request, 1, CLIENT).emit();
    bytes.truncate(OPTIONS);
    bytes.extend([
        53, 1, 3, 12, 6, 0x1b, b'[', b'a', 0xff, b'\n', b'b', 50, 4, 10, 40, 8, 9, 255,
    ]);
    let message = Message::parse(&bytes).unwrap();
    assert_eq!(message.name.unwrap().as_str(), "[a\u{fffd} b");
    assert_eq!(message.wanted, Some(Ipv4Addr::new(10, 40, 8, 9)));
}

#[test]
fn broken_messages_are_errors() {
    let good = discover().emit();
    let why = |bytes: &[u8]| Message::parse(bytes).err().map(|e| (e.reason, e.offset));
    for cut in 0..OPTIONS {
        assert_eq!(why(&good[..cut]), Some((Reason::Short, cut)));
    }
    let spoil = |at: usize, value: &[u8]| {
        let mut bytes = good.clone();
        bytes.splice(at..at + value.len(), value.iter().copied());
        why(&bytes)
    };
    assert_eq!(
        spoil(0, &[2]),
        Some((Reason::Value, 0)),
        "a DISCOVER from a server"
    );
    assert_eq!(spoil(2, &[255]), Some((Reason::Unsupported, 1)));
    assert_eq!(spoil(236, &[0]), Some((Reason::Value, 236)));
    assert_eq!(spoil(240, &[12, 255]), Some((Reason::Length, 240)));
    assert_eq!(spoil(240, &[255]), Some((Reason::Unsupported, 240)));
    assert_eq!(spoil(240, &[53, 2, 1, 1, 255]), Some((Reason::Length, 240)));
    assert_eq!(why(&[0; MAX + 1]), Some((Reason::Long, MAX)));
}

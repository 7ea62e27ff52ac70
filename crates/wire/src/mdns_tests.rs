//! What messages say, by the worked examples of the standards, and what none may do.

use proptest::prelude::*;

use super::*;
use crate::announce::Device;

const HOST: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);

fn kind(text: &str) -> ServiceType {
    ServiceType::new(text).unwrap()
}

/// A message by hand: header counts, then the bytes.
fn raw(flags: u16, counts: [u16; 4], body: &[u8]) -> Vec<u8> {
    let mut out = vec![0, 0];
    out.extend(flags.to_be_bytes());
    out.extend(counts.iter().flat_map(|c| c.to_be_bytes()));
    out.extend(body);
    out
}

fn says(message: &Message, from: Ipv4Addr) -> Vec<String> {
    message.names_of(from).iter().map(ToString::to_string).collect()
}

#[test]
fn over_ipv6_a_host_is_named_by_its_own_address() {
    let link_local: Ipv6Addr = "fe80::52:43ff:fe00:21".parse().unwrap();
    let device = Device {
        name: "Organ loft",
        address: link_local.into(),
        services: &[(kind("_rtsp._tcp"), 554)],
        onvif: 80,
    };
    let frame = frame6(Mac::new([2, 0x52, 0x43, 0, 0, 0x21]), link_local, &device.mdns());
    assert_eq!(frame[..6], [0x33, 0x33, 0, 0, 0, 0xfb]);
    let Ok(crate::Heard {
        what: crate::What::Mdns6 { from, message },
        ..
    }) = crate::peek(&frame)
    else {
        panic!("{frame:?}")
    };
    let names = |from: Ipv6Addr| message.names_of(from).len();
    assert_eq!(
        (from, names(from), names("fe80::1".parse().unwrap())),
        (link_local, 2, 0)
    );
}

/// The question of RFC 6763 section 9, byte by byte as RFC 1035 section 4.1.2 lays it out, with
/// the header that RFC 6762 section 18 wants.
#[test]
fn the_meta_query_is_the_one_of_the_standard() {
    let mut wanted = raw(0, [1, 0, 0, 0], b"\x09_services\x07_dns-sd\x04_udp\x05local\x00");
    wanted.extend([0, 12, 0, 1]); // PTR, IN: the top bit clear asks for a multicast answer
    assert_eq!(query(&[Question::Types]), wanted);
    let parsed = Message::parse(&wanted).unwrap();
    assert!(!parsed.response);
    assert_eq!(parsed.questions, [Question::Types]);
}

#[test]
fn frames_to_the_group_have_the_hops_and_ports_of_the_standard() {
    let mac = Mac::new([2, 0x52, 0x43, 0, 0, 0x21]);
    let frame = frame(mac, HOST, &query(&[Question::Offers(kind("_rtsp._tcp"))]));
    let heard = crate::peek(&frame).unwrap();
    assert_eq!(heard.destination, GROUP_MAC);
    // RFC 1112 section 6.4: the low 23 bits of the group, behind 01-00-5e.
    assert_eq!(GROUP_MAC.octets()[3..], GROUP.octets()[1..]);
    let packet = Ipv4::parse(&frame[14..]).unwrap();
    assert_eq!((packet.ttl, packet.destination), (255, GROUP));
    let udp = Udp::parse_verified(packet.payload, HOST, GROUP).unwrap();
    assert_eq!((udp.source_port, udp.destination_port), (5353, 5353));
    let crate::What::Mdns { from, message } = heard.what else {
        panic!("{heard:?}")
    };
    assert_eq!(from, HOST);
    assert_eq!(message.questions, [Question::Offers(kind("_rtsp._tcp"))]);
}

#[test]
fn an_announcement_names_host_and_service() {
    let device = Device {
        name: "Organ loft",
        address: HOST.into(),
        services: &[(kind("_rtsp._tcp"), 554), (kind("_http._tcp"), 80)],
        onvif: 80,
    };
    let message = Message::parse(&device.mdns()).unwrap();
    assert!(message.response);
    assert_eq!(message.hosts, [(Text::clean("organ-loft"), IpAddr::from(HOST))]);
    assert_eq!(message.types, [kind("_rtsp._tcp"), kind("_http._tcp")]);
    assert!(
        message
            .offers
            .iter()
            .all(|o| o.host == Some(Text::clean("organ-loft")))
    );
    assert_eq!(says(&message, HOST), ["organ-loft (mDNS)", "Organ loft (DNS-SD)"]);
}

#[test]
fn who_speaks_for_another_is_not_named_after_him() {
    let device = Device {
        name: "Organ loft",
        address: HOST.into(),
        services: &[(kind("_http._tcp"), 80)],
        onvif: 80,
    };
    let message = Message::parse(&device.mdns()).unwrap();
    assert!(says(&message, Ipv4Addr::new(10, 40, 8, 1)).is_empty());
}

/// RFC 1035 section 3.4.1: one address a record; a host may have several, and others theirs.
#[test]
fn a_host_gives_all_its_own_addresses_and_no_others() {
    let record = |host: &[u8; 4], last: u8| {
        let name = [b"\x04", &host[..], b"\x05local\x00"].concat();
        [&name[..], &[0, 1, 0x80, 1, 0, 0, 0, 120, 0, 4, 10, 40, 8, last]].concat()
    };
    let body = [
        record(b"loft", 21),
        record(b"Loft", 121),
        record(b"west", 22),
        record(b"loft", 21),
    ];
    let message = Message::parse(&raw(0x8400, [0, 4, 0, 0], &body.concat())).unwrap();
    let at = |last| Ipv4Addr::new(10, 40, 8, last);
    assert_eq!(message.addresses_of(HOST), [at(21), at(121)]);
    assert_eq!(message.addresses_of(at(22)), [at(22)]);
    assert!(message.addresses_of(at(5)).is_empty());
}

/// RFC 6763 section 4.1: an instance name may hold anything, full stops and spaces included; here
/// with a compressed ending (RFC 1035 section 4.1.4) and a terminal's escape in it.
#[test]
fn names_for_people_are_cleaned_and_may_hold_full_stops() {
    let mut body = b"\x05_http\x04_tcp\x05local\x00".to_vec();
    body.extend([0, 12, 0, 1, 0, 0, 0, 120]);
    let label = b"Fl. 2\x1b[2J \xe2\x80\xaedoor";
    let length = label.len() as u16 + 3;
    body.extend(length.to_be_bytes());
    body.push(label.len() as u8);
    body.extend(label);
    body.extend([0xc0, 12]);
    let message = Message::parse(&raw(0x8400, [0, 1, 0, 0], &body)).unwrap();
    assert_eq!(says(&message, HOST), ["Fl. 2[2J door (DNS-SD)"]);
}

/// What python-zeroconf 0.154.0 sent in our lab, asked for `_http._tcp.local`: with every kind of
/// record that RFC 6762 wants, NSEC included.
#[test]
fn an_answer_by_zeroconf_is_read() {
    let hex = "000084000000000100000004055f68747470045f746370056c6f63616c00000c000100001194000d0a4f7267616e20\
               6c6f6674c00cc028001080010000119400000a6f7267616e2d6c6f6674c017000180010000007800040a280815c028\
               00218001000000780008000000000050c041c041002f8001000000780005c041000140";
    let digits: Vec<u8> = hex.bytes().filter(u8::is_ascii_hexdigit).collect();
    let bytes: Vec<u8> = digits
        .chunks(2)
        .map(|pair| u8::from_str_radix(core::str::from_utf8(pair).unwrap(), 16).unwrap())
        .collect();
    let message = Message::parse(&bytes).unwrap();
    assert_eq!(says(&message, HOST), ["organ-loft (mDNS)", "Organ loft (DNS-SD)"]);
}

#[test]
fn a_goodbye_says_nothing() {
    let mut body = b"\x0aorgan-loft\x05local\x00".to_vec();
    body.extend([0, 1, 0x80, 1, 0, 0, 0, 120, 0, 4, 10, 40, 8, 21]);
    let there = Message::parse(&raw(0x8400, [0, 1, 0, 0], &body)).unwrap();
    assert_eq!(says(&there, HOST), ["organ-loft (mDNS)"]);
    body[22..26].fill(0); // a lifetime of zero takes it back (RFC 6762 section 10.1)
    let gone = Message::parse(&raw(0x8400, [0, 1, 0, 0], &body)).unwrap();
    assert!(says(&gone, HOST).is_empty());
}

#[test]
fn names_that_loop_or_point_forward_are_refused() {
    for pointer in [[0xc0, 12], [0xc0, 14], [0xc0, 0xff], [0xff, 0xff]] {
        let mut body = pointer.to_vec();
        body.extend([0, 12, 0, 1, 0, 0, 0, 120, 0, 2, 0xc0, 12]);
        let bytes = raw(0x8400, [0, 1, 0, 0], &body);
        assert_eq!(
            Message::parse(&bytes).map_err(|e| e.reason),
            Err(Reason::Value),
            "{pointer:?}"
        );
    }
    // Two names that point at each other.
    let body = [
        1, b'a', 0xc0, 16, 1, b'b', 0xc0, 12, 0, 12, 0, 1, 0, 0, 0, 120, 0, 2, 0xc0, 12,
    ];
    assert!(Message::parse(&raw(0x8400, [0, 1, 0, 0], &body)).is_err());
}

#[test]
fn too_long_and_too_many_stay_bounded() {
    assert_eq!(
        Message::parse(&vec![0; MAX + 1]).map_err(|e| e.reason),
        Err(Reason::Long)
    );
    let mut body = Vec::new();
    for n in 0..400_u16 {
        body.extend([3, b'h', b'0' + (n % 10) as u8, b'a' + (n / 10 % 26) as u8, 5]);
        body.extend(b"local\x00\x00\x01\x00\x01\x00\x00\x00\x78\x00\x04\x0a\x28\x08\x15");
    }
    let message = Message::parse(&raw(0x8400, [0, 400, 0, 0], &body)).map(|m| m.hosts.len());
    assert!(body.len() > MAX || message == Ok(MAX_KEPT), "{message:?}");
    let short = &body[..25 * 300];
    let message = Message::parse(&raw(0x8400, [0, 300, 0, 0], short)).unwrap();
    assert_eq!(message.hosts.len(), MAX_KEPT);
}

#[test]
fn types_of_service_follow_the_rules() {
    for good in ["_http._tcp", "_a-b._UDP", "_123456789012345._tcp"] {
        assert!(ServiceType::new(good).is_some(), "{good}");
    }
    for bad in [
        "http._tcp",
        "_http",
        "_._tcp",
        "_1234567890123456._tcp",
        "_a b._tcp",
        "_a._sctp",
        "_a._tcp.x",
    ] {
        assert!(ServiceType::new(bad).is_none(), "{bad}");
    }
}

proptest! {
    #[test]
    fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
        if let Ok(message) = Message::parse(&bytes) {
            let _ = message.names_of(HOST);
        }
    }

    /// A sound message with a few bytes changed gets further into the reading than noise does.
    #[test]
    fn no_change_to_a_message_makes_it_panic(
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..8),
    ) {
        let services = [(kind("_rtsp._tcp"), 554), (kind("_http._tcp"), 80)];
        let device = Device { name: "Organ loft", address: HOST.into(), services: &services, onvif: 80 };
        let mut bytes = device.mdns();
        for (at, byte) in changes {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        if let Ok(message) = Message::parse(&bytes) {
            prop_assert!(message.names_of(HOST).len() <= 2 * MAX_KEPT);
        }
    }

    #[test]
    fn any_name_comes_back(name in "[A-Za-z0-9 .é-]{1,40}") {
        let device = Device { name: &name, address: HOST.into(), services: &[(kind("_http._tcp"), 80)], onvif: 80 };
        let message = Message::parse(&device.mdns()).unwrap();
        let clean = Text::clean(&name);
        prop_assume!(!clean.is_empty());
        let names = message.names_of(HOST);
        prop_assert!(names.iter().any(|n| n.text == clean), "{names:?}");
    }
}

//! No bytes make any reader panic, and what was written is read back.

use std::net::Ipv4Addr;

use proptest::collection::vec;
use proptest::prelude::*;
use vocab::{ArpOp, ControlPort, ControlWord, Mac, Power, Text};
use wire::announce::Device;
use wire::control::{Judge, MAX_ANSWER, Verdict};
use wire::dhcp::{Kind, Message};
use wire::enquiry::Settings;
use wire::icmp::Echo;
use wire::mdns::ServiceType;
use wire::persona::{Persona, answer};
use wire::visca::Version;
use wire::{
    Arp, Ethernet, Icmp, Ipv4, Path, Path6, Udp, What, arp, enquiry, icmp, ipv6, lldp, mdns, peek, wsd,
};

fn mac() -> impl Strategy<Value = Mac> {
    any::<[u8; 6]>().prop_map(Mac::new)
}

fn ip() -> impl Strategy<Value = Ipv4Addr> {
    any::<u32>().prop_map(Ipv4Addr::from)
}

fn path() -> impl Strategy<Value = Path> {
    (mac(), ip(), mac(), ip()).prop_map(|(from_mac, from, to_mac, to)| Path {
        from_mac,
        from,
        to_mac,
        to,
    })
}

fn word() -> impl Strategy<Value = ControlPort> {
    prop::sample::select(ControlWord::ALL.to_vec()).prop_map(|word| ControlPort {
        word,
        port: word.usual_port().unwrap_or(9_000),
    })
}

fn persona() -> Persona {
    Persona {
        version: Version {
            vendor: 1,
            model: 2,
            rom: 3,
        },
        power: Power::Standby,
        server: "stage unit".to_owned(),
        title: String::new(),
        host_name: String::new(),
        login: false,
        onvif: true,
    }
}

fn message() -> impl Strategy<Value = Message> {
    let texts = (
        prop::option::of("[a-z0-9-]{1,60}"),
        prop::option::of("[a-zA-Z0-9.:-]{1,60}"),
    );
    let lists = (vec(ip(), 0..8), vec(ip(), 0..8), vec(any::<u8>(), 0..40));
    let given = (
        prop::option::of(ip()),
        prop::option::of(ip()),
        prop::option::of(any::<u32>()),
    );
    let kinds = [
        Kind::Discover,
        Kind::Offer,
        Kind::Request,
        Kind::Ack,
        Kind::Nak,
        Kind::Inform,
    ];
    let head = (
        prop::sample::select(kinds.to_vec()),
        any::<u32>(),
        mac(),
        any::<bool>(),
        ip(),
        ip(),
    );
    let id = prop::option::of(vec(any::<u8>(), 1..80));
    (head, texts, lists, given, id).prop_map(
        |(
            (kind, xid, client, broadcast, held, address),
            (name, class),
            lists,
            (wanted, server, lease_s),
            client_id,
        )| {
            let (routers, dns, parameters) = lists;
            Message {
                broadcast,
                held,
                given: address,
                wanted,
                server,
                lease_s,
                mask: server,
                name: name.map(|n| Text::clean(&n)),
                vendor_class: class.map(|c| Text::clean(&c)),
                client_id,
                routers,
                dns,
                parameters,
                ..Message::new(kind, xid, client)
            }
        },
    )
}

/// Whole frames of every kind that is read.
fn frames() -> Vec<Vec<u8>> {
    let (ours, loft) = (
        Mac::new([2, 0x52, 0x43, 0, 0, 1]),
        Mac::new([2, 0x52, 0x43, 0, 0, 0x21]),
    );
    let (own, address) = (Ipv4Addr::new(10, 40, 8, 5), Ipv4Addr::new(10, 40, 8, 21));
    let path = Path {
        from_mac: ours,
        from: own,
        to_mac: loft,
        to: address,
    };
    let echo = Echo {
        identifier: 1,
        sequence: 2,
        data: b"rig count, long enough to need no padding at all",
    };
    let discover = Message::discover(7, loft, Some(Text::clean("organ-loft"))).emit();
    let udp = Udp {
        source_port: 68,
        destination_port: 67,
        payload: &discover,
    };
    let refused = icmp::port_unreachable(&Ipv4::new(own, address, 17, &udp.emit(own, address)).emit());
    vec![
        arp::request_frame(ours, own, address, Mac::BROADCAST),
        Arp::probe(ours, address).frame(Mac::BROADCAST, Some(40)),
        icmp::echo_request_frame(path, &echo),
        icmp::echo_reply_frame(path.back(), &echo),
        path.back().frame(1, &refused),
        udp.frame(path),
        Udp {
            source_port: 1,
            destination_port: 2,
            payload: b"stage left, stage right, and the balcony",
        }
        .frame(path),
        path.frame(6, &[0; 40]),
    ]
}

/// Whole frames of what lists one thing after another: cut between two, they are sound and mean less.
fn lists() -> Vec<Vec<u8>> {
    let loft = Mac::new([2, 0x52, 0x43, 0, 0, 0x21]);
    let address = Ipv4Addr::new(10, 40, 8, 21);
    let six = ipv6::from_hardware(loft);
    let services: Vec<_> = ["_http._tcp", "_rtsp._tcp"]
        .iter()
        .filter_map(|t| Some((ServiceType::new(t)?, 80)))
        .collect();
    let device = Device {
        name: "Organ loft",
        address: address.into(),
        services: &services,
        onvif: 2000,
    };
    let settings = Settings {
        model: Some("PT-20".into()),
        address: Some(address),
        mask: Some(Ipv4Addr::new(255, 255, 255, 0)),
        name: Some("LOFT".into()),
        ..Settings::of(loft)
    };
    let switch = lldp::Switch {
        name: "S1 gallery",
        mac: loft,
        port: "3",
        address: Some(address),
        passes_on: true,
        ttl: lldp::USUAL_TTL,
    };
    let device6 = Device {
        address: six.into(),
        ..device
    };
    vec![
        switch.frame(),
        Path6::to_group(loft, six, ipv6::ALL_NODES).advertisement(),
        mdns::frame(loft, address, &device.mdns()),
        mdns::frame6(loft, six, &device6.mdns()),
        wsd::frame(
            loft,
            address,
            wsd::PORT,
            &device.hello(wsd::Version::April2005, 1),
        ),
        enquiry::frame(loft, address, &settings.emit()),
    ]
}

/// What was said, without the numbers that only count.
fn said(frame: &[u8]) -> Result<String, wire::Malformed> {
    peek(frame).map(|heard| format!("{:?}", heard.what))
}

#[test]
fn a_list_cut_anywhere_is_refused_or_says_no_more_than_the_whole() {
    for frame in lists() {
        let whole = said(&frame).unwrap();
        for cut in 0..frame.len() {
            match said(&frame[..cut]) {
                Ok(part) => assert!(part.len() <= whole.len(), "{cut}: {part}"),
                Err(e) => assert!(e.offset <= cut, "{e}"),
            }
        }
    }
}

#[test]
fn a_frame_cut_anywhere_is_refused_or_means_the_same() {
    for frame in frames() {
        let whole = peek(&frame).unwrap();
        for cut in 0..frame.len() {
            match peek(&frame[..cut]) {
                // Only padding is missing, or a layer that is passed on unread is shorter.
                Ok(part) => assert_eq!(part, whole, "{cut} of {}", frame.len()),
                Err(e) => assert!(e.offset <= cut, "{e}"),
            }
        }
        assert!(peek(&frame[..13]).is_err());
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4_000))]

    #[test]
    fn no_bytes_make_a_reader_panic(bytes in vec(any::<u8>(), 0..700)) {
        let _ = peek(&bytes);
        let _ = Ethernet::parse(&bytes);
        let _ = Arp::parse(&bytes);
        let _ = Ipv4::parse(&bytes);
        let _ = Ipv4::parse_unverified(&bytes);
        let _ = Ipv4::parse_quoted(&bytes);
        let _ = Icmp::parse(&bytes);
        let _ = Udp::parse(&bytes);
        let _ = Udp::parse_verified(&bytes, Ipv4Addr::LOCALHOST, Ipv4Addr::LOCALHOST);
        let _ = Message::parse(&bytes);
        let _ = wire::Ipv6::parse(&bytes).map(|packet| wire::Icmp6::parse(&packet).is_ok());
        let _ = lldp::Message::parse(&bytes);
        let _ = mdns::Message::parse(&bytes);
        let _ = wsd::Message::parse(&bytes);
        let _ = enquiry::Message::parse(&bytes);
        let _ = wire::visca::Datagram::parse(&bytes);
        let _ = wire::visca::Reply::parse(&bytes);
        let _ = wire::visca::split(&bytes);
        let _ = wire::http::parse(&bytes);
        let _ = wire::rtsp::parse(&bytes);
        let _ = wire::tls::Record::parse(&bytes);
        for word in ControlWord::ALL {
            let port = ControlPort { word, port: 9_000 };
            let mut ear = wire::follow::Ear::new(port, 7);
            let _ = bytes.chunks(50).find_map(|part| ear.feed(part));
        }
        let _ = icmp::port_unreachable(&bytes);
    }

    /// Pages and answers in XML that begin well and go wrong anywhere.
    #[test]
    fn no_body_makes_a_reader_panic(body in "[<>/&;#a-z =\"\u{80}-\u{ff}]{0,200}", title in any::<bool>()) {
        let begin = if title { "<title" } else { "<d:HostnameInformation xmlns:d='http://www.onvif.org/ver10/device/wsdl'>" };
        let text = format!("HTTP/1.1 200 OK\r\nContent-Type: text/html\r\n\r\n{begin}{body}");
        let head = wire::http::parse(text.as_bytes()).unwrap();
        let _ = wire::onvif::host_name(&head);
        if let wire::http::Sought::Found(title) = wire::page::title(&head) {
            prop_assert!(title.as_str().chars().count() <= Text::MAX_CHARS);
        }
    }

    /// Random bytes seldom get past the first header: real frames with a few bytes changed do.
    #[test]
    fn no_damage_makes_peek_panic(
        which in 0usize..14,
        damage in vec((0usize..400, any::<u8>()), 1..6),
        cut in 0usize..400,
    ) {
        let mut frame = [frames(), lists()].concat().swap_remove(which);
        for (at, value) in damage {
            let at = at % frame.len();
            frame[at] = value;
        }
        let _ = peek(&frame);
        frame.truncate(cut);
        let _ = peek(&frame);
    }

    #[test]
    fn no_options_make_dhcp_panic(hlen in 5u8..8, options in vec(any::<u8>(), 0..300)) {
        let mut bytes = Message::new(Kind::Discover, 1, Mac::ZERO).emit();
        bytes.truncate(240);
        bytes[2] = hlen;
        bytes.extend(options);
        if let Ok(message) = Message::parse(&bytes) {
            prop_assert!(message.routers.len() <= 8 && message.dns.len() <= 8);
            prop_assert!(message.client_id.is_none_or(|id| id.len() <= 255));
        }
    }

    /// Pieces of an answer come to the same verdict as the whole, and a verdict always comes to an end.
    #[test]
    fn no_answer_makes_a_judge_panic(
        port in word(),
        start in prop::sample::select(vec![
            "", "HTTP/1.1 200 OK\r\n", "RTSP/1.0 401 No\r\n", "HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n5\r\n<s:En",
            "HTTP/1.1 500 No\r\nContent-Length: 99999999999999999999\r\n\r\n<Envelope", "\x16\x03",
        ]),
        pieces in vec(vec(any::<u8>(), 0..60), 0..8),
    ) {
        let first = |pieces: &[&[u8]]| {
            let mut judge = Judge::new(port, 7);
            let verdict = pieces.iter().map(|p| judge.feed(p)).find(|v| *v != Verdict::More);
            verdict.unwrap_or_else(|| judge.on_close())
        };
        let whole = [start.as_bytes(), &pieces.concat()].concat();
        let mut cut: Vec<&[u8]> = vec![start.as_bytes()];
        cut.extend(pieces.iter().map(Vec::as_slice));
        let (in_pieces, at_once) = (first(&cut), first(&[&whole]));
        if !port.word.is_udp() && !matches!(in_pieces, Verdict::Answered(_)) {
            prop_assert_eq!(&in_pieces, &at_once);
        }
        let mut judge = Judge::new(port, 7);
        let _ = judge.feed(&whole);
        let _ = judge.feed(&[b'x'; MAX_ANSWER]);
        prop_assert_ne!(judge.feed(b"x"), Verdict::More);
    }

    #[test]
    fn no_request_makes_a_device_panic(port in word(), bytes in vec(any::<u8>(), 0..200)) {
        let _ = answer(port, &persona(), &bytes);
        let text = [b"POST /onvif/device_service HTTP/1.1\r\nContent-Length: 18446744073709551615\r\n\r\n", &bytes[..]];
        let _ = answer(port, &persona(), &text.concat());
    }
}

proptest! {
    #[test]
    fn arp_comes_back(
        (sender_mac, sender_ip, target_mac, target_ip) in (mac(), ip(), mac(), ip()),
        reply: bool,
        to in mac(),
        vlan in prop::option::of(1u16..4095),
    ) {
        let op = if reply { ArpOp::Reply } else { ArpOp::Request };
        let arp = Arp { op, sender_mac, sender_ip, target_mac, target_ip };
        let frame = arp.frame(to, vlan);
        prop_assert_eq!(frame.len(), 60);
        let heard = peek(&frame).unwrap();
        prop_assert_eq!((heard.source, heard.destination, heard.vlan), (sender_mac, to, vlan));
        prop_assert_eq!(heard.what, What::Arp(arp));
    }

    #[test]
    fn echoes_come_back(path in path(), identifier: u16, sequence: u16, data in vec(any::<u8>(), 0..1400)) {
        let echo = Echo { identifier, sequence, data: &data };
        let wanted = What::EchoRequest { from: path.from, to: path.to, echo };
        let frame = icmp::echo_request_frame(path, &echo);
        prop_assert_eq!(peek(&frame).unwrap().what, wanted);
        let wanted = What::EchoReply { from: path.to, to: path.from, ttl: 64, echo };
        let frame = icmp::echo_reply_frame(path.back(), &echo);
        prop_assert_eq!(peek(&frame).unwrap().what, wanted);
    }

    #[test]
    fn datagrams_come_back(path in path(), from in 69u16.., to: u16, payload in vec(any::<u8>(), 0..1400)) {
        // At these any bytes are read, and few make sense.
        let read = [wire::mdns::PORT, wire::wsd::PORT, wire::wsd::OWN_PORT, wire::enquiry::PORT];
        prop_assume!(!read.contains(&to));
        let udp = Udp { source_port: from, destination_port: to, payload: &payload };
        let frame = udp.frame(path);
        prop_assert_eq!(peek(&frame).unwrap().what, What::Udp { from: path.from, to: path.to, udp });
        prop_assert!(Udp::parse_verified(&frame[34..], path.from, path.to).is_ok());
    }

    #[test]
    fn dhcp_comes_back(path in path(), message in message()) {
        let payload = message.emit();
        let frame = Udp { source_port: 68, destination_port: 67, payload: &payload }.frame(path);
        let wanted = What::Dhcp { from: path.from, to: path.to, message: Box::new(message) };
        prop_assert_eq!(peek(&frame).unwrap().what, wanted);
    }
}

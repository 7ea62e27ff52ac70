//! Our frames read by decoders that were not made here, and their frames read by us.
//!
//! The decoders are scapy and tshark, driven by `tests/tools/decode_frames.py`; either alone is
//! enough for our frames. Without both the test says so and counts as skipped, unless
//! `RIGMUSTER_REQUIRE_TOOLS=1`. Frames made by scapy are also kept as a fixture, so that they
//! are read everywhere; where scapy is there, it must still make the same.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used)]

use std::fmt::Write as _;
use std::fs;
use std::io::Write;
use std::net::Ipv4Addr;
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::time::Duration;

use serde_json::{Value, json};
use vocab::{Mac, Text};
use wire::dhcp::{Kind, Message};
use wire::icmp::{Echo, Original};
use wire::icmp6::Neighbour;
use wire::{Arp, Path, Path6, Reason, Udp, What, arp, enquiry, icmp, ipv6, lldp, mdns, peek, wsd};

const OURS: Mac = Mac::new([0x02, 0x52, 0x43, 0, 0, 0x01]);
const LOFT: Mac = Mac::new([0x02, 0x52, 0x43, 0, 0, 0x21]);
const OWN: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 5);
const LOFT_IP: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// Runs the script, or `None` where there is no Python.
fn script(arguments: &[&str], input: &str) -> Option<String> {
    let mut child = Command::new("python3")
        .arg(root().join("tests/tools/decode_frames.py"))
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .ok()?;
    child.stdin.take().unwrap().write_all(input.as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "the script failed with {arguments:?}");
    Some(String::from_utf8(output.stdout).unwrap())
}

/// The decoders on this machine.
fn tools() -> Vec<String> {
    let found = script(&["tools"], "").unwrap_or_default();
    let found: Vec<String> = found
        .lines()
        .filter(|l| !l.is_empty())
        .map(str::to_owned)
        .collect();
    if !found.iter().any(|t| t == "scapy") {
        rigmuster_tests::skipped("independent decoder", "there is no scapy (pip install scapy)");
    }
    found
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut out, b| {
        let _ = write!(out, "{b:02x}");
        out
    })
}

fn unhex(text: &str) -> Vec<u8> {
    (0..text.len())
        .step_by(2)
        .map(|at| u8::from_str_radix(&text[at..at + 2], 16).unwrap())
        .collect()
}

/// Our frames, each with what a decoder must find in it.
fn samples() -> Vec<(Vec<u8>, Value)> {
    let all = "ff:ff:ff:ff:ff:ff";
    let (ours, loft, zero) = (OURS.to_string(), LOFT.to_string(), Mac::ZERO.to_string());
    let (own, loft_ip) = (OWN.to_string(), LOFT_IP.to_string());
    let head = |op: u16| json!([1, 0x0800, 6, 4, op]);
    let ask = |dst: &str, sender: &str| json!({ "dst": dst, "src": ours, "arp": head(1), "sender": [ours, sender], "target": [zero, loft_ip] });
    let path = Path {
        from_mac: OURS,
        from: OWN,
        to_mac: LOFT,
        to: LOFT_IP,
    };
    let echo = Echo {
        identifier: 0x1234,
        sequence: 9,
        data: b"rig count",
    };
    let udp = Udp {
        source_port: 50_000,
        destination_port: 52_381,
        payload: b"\x01\x10\x00\x05stage",
    };
    let discover = Message {
        wanted: Some(Ipv4Addr::new(10, 40, 8, 9)),
        vendor_class: Some(Text::clean("stage unit")),
        ..Message::discover(0x1234_5678, LOFT, Some(Text::clean("organ-loft")))
    };
    let client = Path {
        from_mac: LOFT,
        from: Ipv4Addr::UNSPECIFIED,
        to_mac: Mac::BROADCAST,
        to: Ipv4Addr::BROADCAST,
    };
    let dhcp = Udp {
        source_port: 68,
        destination_port: 67,
        payload: &discover.emit(),
    }
    .frame(client);
    let mut tagged = ask(&loft, &own);
    tagged["vlan"] = json!(40);
    vec![
        (
            arp::request_frame(OURS, OWN, LOFT_IP, Mac::BROADCAST),
            ask(all, &own),
        ),
        (arp::request_frame(OURS, OWN, LOFT_IP, LOFT), ask(&loft, &own)),
        (
            arp::probe_frame(OURS, LOFT_IP, Mac::BROADCAST),
            ask(all, "0.0.0.0"),
        ),
        (Arp::request(OURS, OWN, LOFT_IP).frame(LOFT, Some(40)), tagged),
        (
            arp::announcement_frame(LOFT, LOFT_IP),
            json!({ "dst": all, "src": loft, "arp": head(1), "sender": [loft, loft_ip], "target": [zero, loft_ip] }),
        ),
        (
            arp::reply_frame(LOFT, LOFT_IP, OURS, OWN),
            json!({ "dst": ours, "src": loft, "arp": head(2), "sender": [loft, loft_ip], "target": [ours, own] }),
        ),
        (
            icmp::echo_request_frame(path, &echo),
            json!({ "dst": loft, "src": ours, "ip": [own, loft_ip], "ip_sum": true, "icmp": [8, 0, 0x1234, 9],
                "data": hex(echo.data), "icmp_sum": true }),
        ),
        (
            udp.frame(path),
            json!({ "dst": loft, "src": ours, "ip": [own, loft_ip], "ip_sum": true, "udp": [50_000, 52_381],
                "data": hex(udp.payload), "udp_sum": true }),
        ),
        (
            dhcp,
            json!({ "dst": all, "src": loft, "ip": ["0.0.0.0", "255.255.255.255"], "ip_sum": true,
                "udp": [68, 67], "udp_sum": true,
                "dhcp": { "kind": 1, "xid": 0x1234_5678, "client": loft, "name": "organ-loft",
                    "wanted": "10.40.8.9", "class": "stage unit", "parameters": [1, 3, 6, 51, 54] } }),
        ),
        (
            Path6::to_group(OURS, ipv6::from_hardware(OURS), ipv6::ALL_NODES).echo_request(&echo),
            json!({ "dst": "33:33:00:00:00:01", "src": ours, "ip6": ["fe80::52:43ff:fe00:1", "ff02::1", 255],
                "icmp6": [128, 0x1234, 9, true] }),
        ),
        (
            enquiry::frame(OURS, OWN, &enquiry::question()),
            json!({ "dst": all, "src": ours, "ip": [own, "255.255.255.255"], "ip_sum": true,
                "udp": [52_380, 52_380], "udp_sum": true, "data": hex(b"\x02ENQ:network\xff\x03") }),
        ),
        (
            lldp::Switch {
                name: "S2 desk",
                mac: LOFT,
                port: "3",
                address: Some(Ipv4Addr::new(10, 40, 8, 3)),
                passes_on: true,
                ttl: lldp::USUAL_TTL,
            }
            .frame(),
            json!({ "dst": lldp::GROUP_MAC.to_string(), "src": loft, "lldp": { "chassis": loft, "port": "3",
                "ttl": 121, "name": "S2 desk", "bridge": true, "managed": "10.40.8.3" } }),
        ),
    ]
}

#[test]
fn others_read_in_our_frames_what_we_wrote() {
    let samples = samples();
    let lines: String = samples.iter().map(|(frame, _)| hex(frame) + "\n").collect();
    for tool in tools() {
        let text = script(&["decode", &tool], &lines).unwrap();
        let read: Vec<Value> = serde_json::from_str(&text).unwrap();
        assert_eq!(read.len(), samples.len(), "{tool}");
        for (found, (_, wanted)) in read.iter().zip(&samples) {
            assert_eq!(found, wanted, "{tool}");
        }
    }
}

#[test]
fn we_read_in_their_frames_what_they_wrote() {
    let kept = fs::read_to_string(root().join("fixtures/frames/made_by_scapy.json")).unwrap();
    let kept: Value = serde_json::from_str(&kept).unwrap();
    if tools().iter().any(|t| t == "scapy") {
        let fresh: Value = serde_json::from_str(&script(&["make"], "").unwrap()).unwrap();
        assert_eq!(fresh, kept, "the fixture is out of date: decode_frames.py make");
    }
    let frame = |name: &str| unhex(kept[name].as_str().unwrap());
    let what = |name: &str, to: Mac, vlan: Option<u16>, check: &dyn Fn(What<'_>)| {
        let bytes = frame(name);
        let heard = peek(&bytes).unwrap();
        assert_eq!(
            (heard.source, heard.destination, heard.vlan),
            (LOFT, to, vlan),
            "{name}"
        );
        check(heard.what);
    };
    let all = Mac::BROADCAST;
    let is_arp = |wanted: Arp| move |what: What<'_>| assert_eq!(what, What::Arp(wanted));
    what("arp_probe", all, None, &is_arp(Arp::probe(LOFT, LOFT_IP)));
    what(
        "arp_announcement",
        all,
        None,
        &is_arp(Arp::announcement(LOFT, LOFT_IP)),
    );
    let reply = Arp::reply(LOFT, LOFT_IP, OURS, OWN);
    what("arp_reply", OURS, None, &is_arp(reply));
    what("arp_tagged", OURS, Some(40), &is_arp(reply));
    what("arp_twice_tagged", OURS, Some(300), &is_arp(reply));
    what("echo_reply", OURS, None, &|what| {
        let echo = Echo {
            identifier: 0x1234,
            sequence: 9,
            data: b"odd",
        };
        assert_eq!(
            what,
            What::EchoReply {
                from: LOFT_IP,
                to: OWN,
                // Scapy's own.
                ttl: 64,
                echo
            }
        );
    });
    let hosts = Mac::new([0x01, 0x00, 0x5e, 0, 0, 1]);
    for name in ["igmp_query", "igmp_query_3"] {
        what(name, hosts, None, &|what| {
            assert_eq!(what, What::GroupQuery { from: LOFT_IP });
        });
    }
    what("igmp_report", hosts, None, &|what| {
        assert!(matches!(what, What::Ipv4Other { protocol: 2, .. }), "{what:?}");
    });
    what("echo_request_with_options", OURS, None, &|what| {
        let echo = Echo {
            identifier: 1,
            sequence: 2,
            data: b"",
        };
        assert_eq!(
            what,
            What::EchoRequest {
                from: LOFT_IP,
                to: OWN,
                echo
            }
        );
    });
    what("port_unreachable", OURS, None, &|what| {
        let original = Original {
            source: OWN,
            destination: LOFT_IP,
            protocol: 17,
            ports: Some((50_000, 52_381)),
        };
        assert_eq!(
            what,
            What::Unreachable {
                from: LOFT_IP,
                to: OWN,
                code: 3,
                original
            }
        );
    });
    what("udp", OURS, None, &|what| {
        let udp = Udp {
            source_port: 52_381,
            destination_port: 50_000,
            payload: b"stage",
        };
        assert_eq!(
            what,
            What::Udp {
                from: LOFT_IP,
                to: OWN,
                udp
            }
        );
    });
    assert!(Udp::parse_verified(&frame("udp")[34..], LOFT_IP, OWN).is_ok());
    what("udp_fragment", OURS, None, &|what| {
        assert!(matches!(what, What::Ipv4Other { protocol: 17, .. }), "{what:?}");
    });
    what("dhcp_discover", all, None, &|what| {
        let What::Dhcp { from, to, message } = what else {
            panic!("{what:?}")
        };
        assert_eq!((from, to), (Ipv4Addr::UNSPECIFIED, Ipv4Addr::BROADCAST));
        let wanted = Message {
            wanted: Some(Ipv4Addr::new(10, 40, 8, 9)),
            vendor_class: Some(Text::clean("stage unit")),
            client_id: Some(vec![1, 2, 0x52, 0x43, 0, 0, 0x21]),
            ..Message::discover(0x1234_5678, LOFT, Some(Text::clean("organ-loft")))
        };
        assert_eq!((message.kind, &*message), (Kind::Discover, &wanted));
    });
    what("lldp_switch", lldp::GROUP_MAC, None, &|what| {
        let What::Lldp(message) = what else {
            panic!("{what:?}")
        };
        let wanted = lldp::Message {
            chassis: lldp::Id::Mac(Mac::new([0x02, 0x52, 0x43, 0, 0, 0xf0])),
            port: lldp::Id::Text("1/0/3".into()),
            ttl: Duration::from_mins(2),
            port_description: Some("to the desk".into()),
            name: Some("S2 desk".into()),
            passes_on: Some(true),
            address: Some(Ipv4Addr::new(10, 40, 8, 3)),
        };
        assert_eq!(*message, wanted);
    });
    let nodes = ipv6::group_mac(ipv6::ALL_NODES);
    for (name, to, hardware) in [
        ("nd_advertisement", nodes, Some(LOFT)),
        (
            "nd_first_question",
            Mac::new([0x33, 0x33, 0xff, 0, 0, 0x21]),
            None,
        ),
        ("nd_router", nodes, Some(LOFT)),
    ] {
        what(name, to, None, &|what| {
            let address = Some(ipv6::from_hardware(LOFT));
            assert_eq!(what, What::Neighbour6(Neighbour { address, hardware }), "{name}");
        });
    }
    let names = Mac::new([0x01, 0x00, 0x5e, 0, 0, 0xfb]);
    what("mdns_answer", names, None, &|what| {
        let What::Mdns { from, message } = what else {
            panic!("{what:?}")
        };
        let rtsp = mdns::ServiceType::new("_rtsp._tcp").unwrap();
        let offer = mdns::Offer {
            label: "Organ loft".into(),
            kind: rtsp,
            host: Some("organ-loft".into()),
            port: Some(8_554),
        };
        assert_eq!((from, message.response), (LOFT_IP, true));
        assert_eq!(message.hosts, [("organ-loft".into(), LOFT_IP.into())]);
        assert_eq!(message.offers, [offer]);
    });
    what("mdns_query", names, None, &|what| {
        let What::Mdns { message, .. } = what else {
            panic!("{what:?}")
        };
        assert_eq!((message.response, message.offers.len()), (false, 0));
        assert_eq!(message.questions, [mdns::Question::Types]);
    });
    what(
        "wsd_hello",
        Mac::new([0x01, 0x00, 0x5e, 0x7f, 0xff, 0xfa]),
        None,
        &|what| {
            let What::Discovery { from, message } = what else {
                panic!("{what:?}")
            };
            let device = wsd::Device {
                name: Some("Organ loft".into()),
                hardware: Some("PT-20".into()),
                onvif: true,
                places: vec![(LOFT_IP, 2_000, Some(wire::onvif::ServicePath::default()))],
                ..wsd::Device::default()
            };
            assert_eq!((from, message.kind), (LOFT_IP, wsd::Kind::Hello));
            assert_eq!(message.devices, [device]);
        },
    );
    what("enquiry_question", all, None, &|what| {
        let What::Enquiry { message, .. } = what else {
            panic!("{what:?}")
        };
        assert_eq!(*message, enquiry::Message::Question);
    });
    what("enquiry_answer", all, None, &|what| {
        let What::Enquiry { from, message } = what else {
            panic!("{what:?}")
        };
        let settings = enquiry::Settings {
            model: Some("PT-20".into()),
            address: Some(LOFT_IP),
            mask: Some(Ipv4Addr::new(255, 255, 255, 0)),
            name: Some("LOFT".into()),
            ..enquiry::Settings::of(LOFT)
        };
        assert_eq!((from, *message), (LOFT_IP, enquiry::Message::Settings(settings)));
    });
    for broken in ["mdns_looping", "wsd_entity", "enquiry_endless"] {
        assert!(peek(&frame(broken)).is_err(), "{broken}");
    }
    let looping = frame("nd_option_of_no_length");
    assert_eq!(peek(&looping).map_err(|e| e.reason), Err(Reason::Length));
    let overrun = frame("lldp_overrun");
    assert_eq!(peek(&overrun).map_err(|e| e.reason), Err(Reason::Short));
    let overrun = frame("dhcp_options_overrun");
    assert_eq!(
        peek(&overrun).map_err(|e| (e.reason, e.offset)).unwrap_err(),
        (Reason::Length, 243)
    );
}

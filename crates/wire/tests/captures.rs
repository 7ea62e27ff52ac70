//! Real programs on real kernels, recorded in a lab of namespaces: what we read in each frame is what tshark read.
//!
//! The captures, tshark's reading and the script that makes both lie in fixtures/captures.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used)]

use std::collections::BTreeMap;
use std::fmt::Display;
use std::fs;
use std::path::PathBuf;

use serde_json::Value;
use wire::dhcp::Kind;
use wire::lldp::Id;
use wire::{What, peek, wsd};

/// Fields by tshark's names.
type Fields = BTreeMap<&'static str, String>;

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/captures")
}

/// The frames of a capture: a header of 24 bytes, then for each 16 bytes, in which the length kept stands at the ninth (the classic
/// capture file, as libpcap's pcap-savefile(5) has it).
fn frames(name: &str) -> Vec<Vec<u8>> {
    let bytes = fs::read(folder().join(format!("{name}.pcap"))).unwrap();
    assert_eq!(bytes[..4], 0xa1b2_c3d4_u32.to_le_bytes(), "the classic form");
    let (mut rest, mut out) = (&bytes[24..], Vec::new());
    while let Some((head, after)) = rest.split_at_checked(16) {
        let length = u32::from_le_bytes(head[8..12].try_into().unwrap()) as usize;
        let (frame, next) = after.split_at(length);
        out.push(frame.to_vec());
        rest = next;
    }
    out
}

fn some(into: &mut Fields, field: &'static str, value: Option<impl Display>) {
    into.extend(value.map(|v| (field, v.to_string())));
}

fn list<T: Display>(values: &[T]) -> Option<String> {
    let all: Vec<String> = values.iter().map(ToString::to_string).collect();
    (!all.is_empty()).then(|| all.join("|"))
}

/// RFC 2132 section 9.6.
fn code(kind: Kind) -> u8 {
    match kind {
        Kind::Discover => 1,
        Kind::Offer => 2,
        Kind::Request => 3,
        Kind::Ack => 5,
        other => panic!("not what was recorded: {other:?}"),
    }
}

/// Our reading, and the fields that it must agree in: those that it holds, and those that it must not.
fn ours(bytes: &[u8]) -> (Fields, &'static [&'static str]) {
    let heard = peek(bytes).unwrap();
    let mut f = Fields::new();
    some(&mut f, "eth.src", Some(heard.source));
    some(&mut f, "eth.dst", Some(heard.destination));
    let fields: &[&str] = match heard.what {
        What::Arp(arp) => {
            some(
                &mut f,
                "arp.opcode",
                Some(if arp.op == vocab::ArpOp::Request { 1 } else { 2 }),
            );
            some(&mut f, "arp.src.hw_mac", Some(arp.sender_mac));
            some(&mut f, "arp.src.proto_ipv4", Some(arp.sender_ip));
            some(&mut f, "arp.dst.proto_ipv4", Some(arp.target_ip));
            &[
                "arp.opcode",
                "arp.src.hw_mac",
                "arp.src.proto_ipv4",
                "arp.dst.proto_ipv4",
            ]
        }
        What::Dhcp { from, to, message } => {
            some(&mut f, "ip.src", Some(from));
            some(&mut f, "ip.dst", Some(to));
            some(&mut f, "dhcp.option.dhcp", Some(code(message.kind)));
            some(&mut f, "dhcp.id", Some(format!("0x{:08x}", message.xid)));
            some(&mut f, "dhcp.ip.your", Some(message.given));
            some(&mut f, "dhcp.option.hostname", message.name);
            some(&mut f, "dhcp.option.vendor_class_id", message.vendor_class);
            some(&mut f, "dhcp.option.requested_ip_address", message.wanted);
            some(&mut f, "dhcp.option.dhcp_server_id", message.server);
            some(&mut f, "dhcp.option.ip_address_lease_time", message.lease_s);
            some(&mut f, "dhcp.option.subnet_mask", message.mask);
            some(&mut f, "dhcp.option.router", list(&message.routers));
            some(&mut f, "dhcp.option.domain_name_server", list(&message.dns));
            &[
                "ip.src",
                "ip.dst",
                "dhcp.option.dhcp",
                "dhcp.id",
                "dhcp.ip.your",
                "dhcp.option.hostname",
                "dhcp.option.vendor_class_id",
                "dhcp.option.requested_ip_address",
                "dhcp.option.dhcp_server_id",
                "dhcp.option.ip_address_lease_time",
                "dhcp.option.subnet_mask",
                "dhcp.option.router",
                "dhcp.option.domain_name_server",
            ]
        }
        What::Mdns { from, message } => {
            some(&mut f, "ip.src", Some(from));
            some(&mut f, "dns.flags.response", Some(u8::from(message.response)));
            // A query's own claims are no announcement yet (RFC 6762 section 8.2).
            if message.response {
                let addresses: Vec<_> = message.hosts.iter().map(|(_, a)| a).collect();
                some(&mut f, "dns.a", list(&addresses));
                let offered = |o: &wire::mdns::Offer| o.host.clone().zip(o.port);
                let runs: Vec<_> = message.offers.iter().filter_map(offered).collect();
                let hosts: Vec<_> = runs.iter().map(|(host, _)| format!("{host}.local")).collect();
                let ports: Vec<_> = runs.iter().map(|(_, port)| port).collect();
                some(&mut f, "dns.srv.target", list(&hosts));
                some(&mut f, "dns.srv.port", list(&ports));
                &[
                    "ip.src",
                    "dns.flags.response",
                    "dns.a",
                    "dns.srv.target",
                    "dns.srv.port",
                ]
            } else {
                &["ip.src", "dns.flags.response"]
            }
        }
        What::Discovery { from, message } => {
            let [device] = message.devices.as_slice() else {
                panic!("{message:?}")
            };
            assert_eq!(
                (message.version, message.kind),
                (wsd::Version::April2005, wsd::Kind::Hello)
            );
            some(&mut f, "ip.src", Some(from));
            some(
                &mut f,
                "wsd.action",
                Some("http://schemas.xmlsoap.org/ws/2005/04/discovery/Hello"),
            );
            let scope = |what: &str, text: &vocab::Text| {
                format!(
                    "onvif://www.onvif.org/{what}/{}",
                    text.as_str().replace(' ', "%20")
                )
            };
            let name = device.name.as_ref().map(|t| scope("name", t));
            let hardware = device.hardware.as_ref().map(|t| scope("hardware", t));
            some(
                &mut f,
                "wsd.scopes",
                Some([name, hardware].map(Option::unwrap).join(" ")),
            );
            let [(address, port, _)] = device.places[..] else {
                panic!("{device:?}")
            };
            some(
                &mut f,
                "wsd.xaddrs",
                Some(format!("http://{address}:{port}/onvif/device_service")),
            );
            &["ip.src", "wsd.action", "wsd.scopes", "wsd.xaddrs"]
        }
        What::Lldp(message) => {
            let (Id::Mac(chassis), Id::Text(port)) = (&message.chassis, &message.port) else {
                panic!("{message:?}")
            };
            some(&mut f, "lldp.chassis.id.mac", Some(chassis));
            some(&mut f, "lldp.port.id", Some(port));
            some(&mut f, "lldp.time_to_live", Some(message.ttl.as_secs()));
            some(&mut f, "lldp.tlv.system.name", message.name);
            some(
                &mut f,
                "lldp.tlv.enable_system_cap.bridge",
                message.passes_on.map(u8::from),
            );
            &[
                "lldp.chassis.id.mac",
                "lldp.port.id",
                "lldp.time_to_live",
                "lldp.tlv.system.name",
                "lldp.tlv.enable_system_cap.bridge",
            ]
        }
        What::Neighbour6(neighbour) => {
            some(&mut f, "icmpv6.opt.linkaddr", neighbour.hardware);
            some(&mut f, "who", neighbour.address);
            &["icmpv6.opt.linkaddr", "who"]
        }
        other => panic!("not what was recorded: {other:?}"),
    };
    (f, fields)
}

/// tshark's reading of those fields. Who speaks by neighbour discovery is its sender, and in a first question without one the
/// address that is asked for (RFC 4862 section 5.4.2).
fn theirs(read: &Value, fields: &[&'static str]) -> Fields {
    let mut f = Fields::new();
    for field in ["eth.src", "eth.dst"].iter().chain(fields) {
        some(&mut f, field, read[field].as_str());
    }
    if fields.contains(&"who") {
        let from = read["ipv6.src"].as_str().filter(|s| *s != "::");
        let wanted = read["icmpv6.nd.ns.target_address"].as_str();
        some(&mut f, "who", from.or(wanted));
    }
    f
}

#[test]
fn every_frame_of_real_programs_is_read_as_tshark_reads_it() {
    for (name, least) in [("dhcp", 4), ("mdns", 5), ("hello", 1), ("lldp", 1), ("kernel", 8)] {
        let kept = fs::read_to_string(folder().join(format!("{name}.json"))).unwrap();
        let read: Vec<Value> = serde_json::from_str(&kept).unwrap();
        let frames = frames(name);
        assert!(frames.len() >= least && frames.len() == read.len(), "{name}");
        for (n, (frame, read)) in frames.iter().zip(&read).enumerate() {
            let (ours, fields) = ours(frame);
            assert_eq!(ours, theirs(read, fields), "{name}, frame {}", n + 1);
        }
    }
}

#[test]
fn the_captures_name_no_machine_and_no_maker() {
    for name in ["dhcp", "mdns", "hello", "lldp", "kernel"] {
        for frame in frames(name) {
            let heard = peek(&frame).unwrap();
            assert_eq!(heard.source.octets()[..3], [0x02, 0x52, 0x43], "{name}");
        }
    }
}

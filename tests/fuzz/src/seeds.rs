//! Frames to begin from: captures between real programs, frames made by scapy, and our own encoders.

use std::fs;
use std::net::Ipv4Addr;
use std::path::PathBuf;
use std::time::Duration;

use vocab::{Mac, Text};
use wire::{Path, Path6, Udp, announce, arp, dhcp, enquiry, icmp, ipv6, lldp, mdns, wsd};

/// Our side.
pub(crate) const OWN: Mac = Mac::new([0x02, 0x52, 0x43, 0, 0, 0x01]);
/// Our address.
pub(crate) const OWN_IP: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 5);
const MAC: Mac = Mac::new([0x02, 0x52, 0x43, 0, 0, 0x21]);
const IP: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);

/// A file or folder of the fixtures.
pub(crate) fn fixture(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("../../fixtures")
        .join(name)
}

/// The files of a folder of the fixtures, in the order of their names.
pub(crate) fn files(folder: &str, ending: &str) -> Vec<Vec<u8>> {
    let entries = fs::read_dir(fixture(folder)).expect("the fixtures are there");
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
    paths.retain(|path| path.to_string_lossy().ends_with(ending));
    paths.sort();
    paths.iter().map(|path| fs::read(path).unwrap()).collect()
}

/// Every frame.
pub(crate) fn frames() -> Vec<Vec<u8>> {
    let mut all = made_by_scapy();
    all.extend(captured());
    all.extend(our_own());
    all
}

fn made_by_scapy() -> Vec<Vec<u8>> {
    let text = fs::read_to_string(fixture("frames/made_by_scapy.json")).unwrap();
    let all: serde_json::Map<String, serde_json::Value> = serde_json::from_str(&text).unwrap();
    let hex = |text: &str| {
        let byte = |at| u8::from_str_radix(&text[at..at + 2], 16).unwrap();
        (0..text.len()).step_by(2).map(byte).collect()
    };
    all.values().filter_map(|value| value.as_str()).map(hex).collect()
}

/// Frames of the captures (pcap, microseconds, little endian; the format's own description).
fn captured() -> Vec<Vec<u8>> {
    let mut out = Vec::new();
    for file in files("captures", ".pcap") {
        let mut rest = &file[24..];
        while let Some((head, after)) = rest.split_first_chunk::<16>() {
            let length = u32::from_le_bytes([head[8], head[9], head[10], head[11]]) as usize;
            out.push(after[..length].to_vec());
            rest = &after[length..];
        }
    }
    // Many are alike: every third will do.
    out.into_iter().step_by(3).collect()
}

fn our_own() -> Vec<Vec<u8>> {
    let link_local = ipv6::from_hardware(MAC);
    let services: Vec<(mdns::ServiceType, u16)> =
        [("_http._tcp", 80), ("_rtsp._tcp", 554), ("_ndi._tcp", 5_961)]
            .into_iter()
            .filter_map(|(kind, port)| Some((mdns::ServiceType::new(kind)?, port)))
            .collect();
    let device = |address| announce::Device {
        name: "Organ loft",
        address,
        services: &services,
        onvif: 80,
    };
    let (four, six) = (device(IP.into()), device(link_local.into()));
    let path = Path {
        from_mac: MAC,
        from: IP,
        to_mac: OWN,
        to: OWN_IP,
    };
    let echo = icmp::Echo {
        identifier: 1,
        sequence: 2,
        data: icmp::Echo::OWN_DATA,
    };
    let switch = lldp::Switch {
        name: "S1",
        mac: MAC,
        port: "3",
        address: Some(IP),
        passes_on: true,
        ttl: Duration::from_mins(2),
    };
    let six_path = Path6 {
        to_mac: OWN,
        ..Path6::to_group(MAC, link_local, ipv6::ALL_NODES)
    };
    let discover = dhcp::Message::discover(7, MAC, Some(Text::clean("organ-loft")));
    let offer = dhcp::Message::answer(&discover, dhcp::Kind::Offer, OWN_IP, IP, 3_600);
    let from_client = |message: &dhcp::Message| {
        let datagram = Udp {
            source_port: dhcp::CLIENT_PORT,
            destination_port: dhcp::SERVER_PORT,
            payload: &message.emit(),
        };
        datagram.frame(Path {
            to_mac: Mac::BROADCAST,
            to: Ipv4Addr::BROADCAST,
            from: Ipv4Addr::UNSPECIFIED,
            ..path
        })
    };
    let from_server = Udp {
        source_port: dhcp::SERVER_PORT,
        destination_port: dhcp::CLIENT_PORT,
        payload: &offer.emit(),
    };
    let settings = enquiry::Settings {
        model: Some(Text::clean("Stage box")),
        address: Some(IP),
        mask: Some(Ipv4Addr::new(255, 255, 255, 0)),
        name: Some(Text::clean("Organ loft")),
        ..enquiry::Settings::of(MAC)
    };
    let version = wsd::Version::April2005;
    vec![
        arp::request_frame(MAC, IP, OWN_IP, OWN),
        arp::probe_frame(MAC, IP, Mac::BROADCAST),
        arp::announcement_frame(MAC, IP),
        arp::reply_frame(MAC, IP, OWN, OWN_IP),
        icmp::echo_request_frame(path, &echo),
        icmp::echo_reply_frame(path, &echo),
        six_path.echo_reply(&echo),
        six_path.advertisement(),
        announce::group_query(MAC, IP),
        switch.frame(),
        mdns::frame(MAC, IP, &four.mdns()),
        mdns::frame6(MAC, link_local, &six.mdns()),
        wsd::frame(MAC, IP, wsd::PORT, &four.hello(version, 7)),
        wsd::frame(MAC, IP, wsd::PORT, &four.probe_matches(version, 8, "urn:uuid:1")),
        from_client(&discover),
        from_client(&dhcp::Message::request(&offer, None)),
        from_server.frame(path),
        enquiry::frame(MAC, IP, &enquiry::question()),
        enquiry::frame(MAC, IP, &settings.emit()),
    ]
}

/// The rig files of the scenes that ship.
pub(crate) fn scenes() -> Vec<Vec<u8>> {
    files("../crates/venue/scenes", ".toml")
}

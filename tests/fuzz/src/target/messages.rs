//! Messages that anybody on the wire may send: DHCP, multicast DNS, WS-Discovery, the cameras' enquiry, LLDP.

use core::net::Ipv4Addr;

use vocab::{Mac, Name};
use wire::{Ethernet, What, dhcp, enquiry, lldp, mdns, wsd};

use crate::{Target, must_be_clean, seeds};

const FROM: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);
const MAC: Mac = Mac::new([0x02, 0x52, 0x43, 0, 0, 0x21]);

/// DHCP.
pub(super) const DHCP: Target = Target {
    name: "dhcp",
    longest: 2_048,
    short: 20_000,
    run: |data| {
        let Ok(message) = dhcp::Message::parse(data) else {
            return;
        };
        let texts = [&message.name, &message.vendor_class];
        texts
            .into_iter()
            .flatten()
            .for_each(|text| must_be_clean(text.as_str()));
        let again = dhcp::Message::parse(&message.emit()).expect("what we write is a message");
        assert_eq!(
            (again.kind, again.xid, again.client),
            (message.kind, message.xid, message.client)
        );
    },
    seeds: || payloads(|what| matches!(what, What::Dhcp { .. })),
};

/// Multicast DNS.
pub(super) const MDNS: Target = Target {
    name: "mdns",
    longest: mdns::MAX + 16,
    short: 10_000,
    run: |data| {
        let Ok(message) = mdns::Message::parse(data) else {
            return;
        };
        let speaker = message.speaker(FROM, MAC);
        must_be_named(&message.names_of(speaker));
        let _ = (message.addresses_of(speaker), message.offers_of(FROM).count());
        message
            .hosts
            .iter()
            .for_each(|(host, _)| must_be_clean(host.as_str()));
        // Whatever is kept of it is bounded.
        assert!(
            message.hosts.len() + message.offers.len() + message.types.len() + message.questions.len() <= 256
        );
        let asked = mdns::query(&message.questions);
        let asked = mdns::Message::parse(&asked).expect("what we ask is a message");
        assert_eq!(asked.questions, message.questions);
    },
    seeds: || payloads(|what| matches!(what, What::Mdns { .. } | What::Mdns6 { .. })),
};

/// WS-Discovery.
pub(super) const DISCOVERY: Target = Target {
    name: "discovery",
    longest: wsd::MAX + 16,
    short: 10_000,
    run: |data| {
        let Ok(Some(message)) = wsd::Message::parse(data) else {
            return;
        };
        must_be_named(&message.names_of(MAC));
        must_be_clean(message.id.as_str());
        let _ = (message.addresses_of(MAC).count(), message.onvif_of(MAC, FROM));
        assert!(message.devices.len() <= 64 && message.devices.iter().all(|d| d.places.len() <= 64));
    },
    seeds: || payloads(|what| matches!(what, What::Discovery { .. })),
};

/// The cameras' enquiry on the LAN.
pub(super) const ENQUIRY: Target = Target {
    name: "enquiry",
    longest: 2_048,
    short: 20_000,
    run: |data| {
        let Ok(enquiry::Message::Settings(settings)) = enquiry::Message::parse(data) else {
            return;
        };
        must_be_named(&settings.names());
        let again = enquiry::Message::parse(&settings.emit());
        assert!(matches!(again, Ok(enquiry::Message::Settings(s)) if s.mac == settings.mac));
    },
    seeds: || {
        let mut all = payloads(|what| matches!(what, What::Enquiry { .. }));
        all.push(enquiry::question());
        all
    },
};

/// LLDP.
pub(super) const LLDP: Target = Target {
    name: "lldp",
    longest: 1_600,
    short: 20_000,
    run: |data| {
        if let Ok(message) = lldp::Message::parse(data) {
            must_be_clean(message.title().as_str());
            must_be_clean(message.port_title().as_str());
        }
    },
    seeds: || payloads(|what| matches!(what, What::Lldp(_))),
};

fn must_be_named(names: &[Name]) {
    for name in names {
        must_be_clean(name.text.as_str());
    }
}

/// What the seed frames of one sort carry.
fn payloads(wanted: fn(&What<'_>) -> bool) -> Vec<Vec<u8>> {
    let mut out = Vec::new();
    for frame in seeds::frames() {
        let Ok(heard) = wire::peek(&frame) else { continue };
        if wanted(&heard.what) {
            let ether = Ethernet::parse(&frame).unwrap();
            out.push(payload(ether.ethertype, ether.payload).to_vec());
        }
    }
    assert!(!out.is_empty(), "no seed of this sort");
    out
}

fn payload(ethertype: u16, packet: &[u8]) -> &[u8] {
    let udp = match ethertype {
        wire::ethernet::IPV4 => wire::Ipv4::parse(packet).unwrap().payload,
        wire::ethernet::IPV6 => wire::Ipv6::parse(packet).unwrap().payload,
        _ => return packet,
    };
    wire::Udp::parse(udp).unwrap().payload
}

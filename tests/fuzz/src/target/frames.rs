//! Frames and packets: whatever arrives at the port.

use core::net::{Ipv4Addr, Ipv6Addr};

use wire::checksum::{Sum, checksum};
use wire::{Ethernet, Icmp, Ipv4};
use wire::{arp, ethernet, icmp, icmp6, igmp, ipv4, ipv6, udp};

use crate::{Bytes, Target, seeds};

/// A whole frame, as it stands and with its checksums put right.
pub(super) const FRAME: Target = Target {
    name: "frame",
    longest: 2_048,
    short: 20_000,
    run: |data| {
        look(data);
        let mut frame = data.to_vec();
        mend(&mut frame);
        look(&frame);
    },
    seeds: seeds::frames,
};

/// A packet of a protocol that the first byte chooses.
pub(super) const PACKET: Target = Target {
    name: "packet",
    longest: 2_048,
    short: 20_000,
    run: packet,
    seeds: packets,
};

fn look(frame: &[u8]) {
    let Ok(heard) = wire::peek(frame) else { return };
    let ether = ethernet::Ethernet::parse(frame).expect("what was looked into is a frame");
    assert_eq!(
        (heard.source, heard.destination),
        (ether.source, ether.destination)
    );
}

/// Puts right what a mutation nearly always breaks: the checksums of IPv4, ICMP and `ICMPv6`.
pub(crate) fn mend(frame: &mut [u8]) {
    let at = match frame.get(12..14) {
        Some([0x81, 0x00]) => 18,
        _ => 14,
    };
    match frame.get(at - 2..at) {
        Some([0x08, 0x00]) => mend_ipv4(&mut frame[at..]),
        Some([0x86, 0xdd]) => mend_ipv6(&mut frame[at..]),
        _ => {}
    }
}

fn mend_ipv4(packet: &mut [u8]) {
    let header = usize::from(packet.first().map_or(0, |b| b & 0x0f)) * 4;
    if header < 20 || packet.len() < header {
        return;
    }
    packet[10..12].fill(0);
    let sum = checksum(&packet[..header]);
    packet[10..12].copy_from_slice(&sum.to_be_bytes());
    let total = usize::from(u16::from_be_bytes([packet[2], packet[3]])).min(packet.len());
    if packet[9] == ipv4::ICMP && total >= header + 4 {
        let message = &mut packet[header..total];
        message[2..4].fill(0);
        let sum = checksum(message);
        message[2..4].copy_from_slice(&sum.to_be_bytes());
    }
}

fn mend_ipv6(packet: &mut [u8]) {
    let Some(length) = packet
        .get(4..6)
        .map(|l| usize::from(u16::from_be_bytes([l[0], l[1]])))
    else {
        return;
    };
    if packet.len() < 40 + length || length < 4 || packet[6] != ipv6::ICMP6 {
        return;
    }
    let address = |at: usize| Ipv6Addr::from(<[u8; 16]>::try_from(&packet[at..at + 16]).unwrap());
    let (from, to) = (address(8), address(24));
    packet[42..44].fill(0);
    let sum = Sum::pseudo6(from, to, ipv6::ICMP6, length)
        .with(&packet[40..40 + length])
        .finish();
    packet[42..44].copy_from_slice(&sum.to_be_bytes());
}

const FROM: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);
const TO: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 2);
/// The ethertypes of tags (IEEE 802.1Q clause 9, table 9-1, and one from before it).
const TAGS: [u16; 3] = [0x8100, 0x88a8, 0x9100];

fn packet(data: &[u8]) {
    let mut bytes = Bytes::new(data);
    let kind = bytes.u8() % 9;
    let payload = bytes.rest();
    match kind {
        0 => {
            if let Ok(arp) = arp::Arp::parse(payload) {
                assert_eq!(arp::Arp::parse(&arp.emit()), Ok(arp));
            }
        }
        1 => {
            // Two tags are read and one is written, so a third would be read then.
            if let Ok(frame) = ethernet::Ethernet::parse(payload)
                && !TAGS.contains(&frame.ethertype)
            {
                let again = frame.emit();
                let again = ethernet::Ethernet::parse(&again).expect("what we write is a frame");
                // A short frame is filled up to 60 bytes.
                assert_eq!(
                    (frame.destination, frame.source, frame.vlan, frame.ethertype),
                    (again.destination, again.source, again.vlan, again.ethertype)
                );
                assert!(again.payload.starts_with(frame.payload));
            }
        }
        2 => {
            let _ = ipv4::Ipv4::parse_quoted(payload);
            let whole = ipv4::Ipv4::parse(payload);
            let unverified = ipv4::Ipv4::parse_unverified(payload);
            if let Ok(packet) = whole {
                assert_eq!(unverified, Ok(packet));
            }
            if let Ok(packet) = unverified {
                let again = packet.emit();
                let again = ipv4::Ipv4::parse(&again).expect("what we write is a packet");
                assert_eq!(again.payload, packet.payload);
                assert_eq!((again.source, again.ttl), (packet.source, packet.ttl));
            }
        }
        3 => {
            if let Ok(packet) = ipv6::Ipv6::parse(payload) {
                assert_eq!(ipv6::Ipv6::parse(&packet.emit()), Ok(packet));
                let mut mended = payload.to_vec();
                mend_ipv6(&mut mended);
                let mended = ipv6::Ipv6::parse(&mended).expect("a checksum changes no header");
                let _ = icmp6::Icmp6::parse(&packet);
                let _ = icmp6::Icmp6::parse(&mended);
            }
        }
        4 => {
            let mut mended = payload.to_vec();
            if let Some(sum) = mended.get_mut(2..4) {
                sum.fill(0);
                let sum = checksum(&mended);
                mended[2..4].copy_from_slice(&sum.to_be_bytes());
            }
            let _ = icmp::Icmp::parse(payload);
            if let Ok(Icmp::EchoRequest(echo)) = icmp::Icmp::parse(&mended) {
                assert_eq!(
                    icmp::Icmp::parse(&echo.emit_request()),
                    Ok(Icmp::EchoRequest(echo))
                );
            }
        }
        5 => {
            let _ = igmp::Igmp::parse(payload);
        }
        6 => {
            if let Ok(udp) = udp::Udp::parse(payload) {
                let again = udp.emit(FROM, TO);
                assert_eq!(udp::Udp::parse_verified(&again, FROM, TO), Ok(udp));
            }
            let _ = udp::Udp::parse_verified(payload, FROM, TO);
        }
        7 => {
            // The answer that says "nobody listens there" quotes what came; it must be readable.
            let answer = icmp::port_unreachable(payload);
            let _ = icmp::Icmp::parse(&answer);
        }
        _ => {
            let (whole, mut parts) = (Sum::default().with(payload).finish(), Sum::default());
            for piece in payload.chunks(7) {
                parts = parts.with(piece);
            }
            assert_eq!(whole, parts.finish());
        }
    }
}

/// The packets in the frames, each for its own reader.
fn packets() -> Vec<Vec<u8>> {
    let mut out = Vec::new();
    let mut put = |kind: u8, packet: &[u8]| out.push([&[kind][..], packet].concat());
    for frame in seeds::frames() {
        put(1, &frame);
        let Ok(Ethernet {
            ethertype, payload, ..
        }) = Ethernet::parse(&frame)
        else {
            continue;
        };
        match ethertype {
            ethernet::ARP => put(0, payload),
            ethernet::IPV4 => {
                put(2, payload);
                put(7, payload);
                let Ok(packet) = Ipv4::parse(payload) else {
                    continue;
                };
                match packet.protocol {
                    ipv4::ICMP => put(4, packet.payload),
                    ipv4::IGMP => put(5, packet.payload),
                    ipv4::UDP => put(6, packet.payload),
                    _ => put(8, packet.payload),
                }
            }
            ethernet::IPV6 => put(3, payload),
            _ => put(8, payload),
        }
    }
    out
}

//! Broken frames of every protocol that is listened to: each is counted, and says nothing.

use std::net::Ipv4Addr;

use vocab::{Fact, Mac};
use wire::{Arp, Ethernet, Ipv4, Path6, Udp, ethernet, ipv4, ipv6, lldp, mdns, wsd};

use super::toy::{Toy, address, config, mac, ms};

fn whole(ethertype: u16, payload: &[u8]) -> Vec<u8> {
    Ethernet {
        destination: Mac::BROADCAST,
        source: mac(21),
        vlan: None,
        ethertype,
        payload,
    }
    .emit()
}

fn datagram(port: u16, payload: &[u8]) -> Vec<u8> {
    let (from, to) = (address(21), Ipv4Addr::BROADCAST);
    let udp = Udp {
        source_port: port,
        destination_port: port,
        payload,
    };
    whole(
        ethernet::IPV4,
        &Ipv4::new(from, to, ipv4::UDP, &udp.emit(from, to)).emit(),
    )
}

/// A message of DHCP from a client, with these options behind the cookie.
fn dhcp(options: &[u8]) -> Vec<u8> {
    let mut payload = wire::dhcp::Message::discover(7, mac(21), None).emit();
    payload.truncate(240);
    payload.extend(options);
    let from = Ipv4Addr::UNSPECIFIED;
    let udp = Udp {
        source_port: 68,
        destination_port: 67,
        payload: &payload,
    };
    let to = Ipv4Addr::BROADCAST;
    whole(
        ethernet::IPV4,
        &Ipv4::new(from, to, ipv4::UDP, &udp.emit(from, to)).emit(),
    )
}

/// What a message of multicast DNS begins with: an answer with one record.
const ANSWER: [u8; 12] = [0, 0, 0x84, 0, 0, 0, 0, 1, 0, 0, 0, 0];

fn envelope(inside: &str) -> Vec<u8> {
    format!(
        "<e:Envelope xmlns:e='http://www.w3.org/2003/05/soap-envelope' \
         xmlns:d='http://schemas.xmlsoap.org/ws/2005/04/discovery'><e:Body><d:Hello>{inside}</d:Hello></e:Body>\
         </e:Envelope>"
    )
    .into_bytes()
}

/// The three entries that LLDP must have, and then these bytes.
fn entries(rest: &[u8]) -> Vec<u8> {
    let must = b"\x02\x02\x07x\x04\x02\x05y\x06\x02\x00\x78";
    let frame = whole(ethernet::LLDP, &[&must[..], rest].concat());
    [&lldp::GROUP_MAC.octets()[..], &frame[6..]].concat()
}

fn neighbour(damage: impl Fn(&mut Vec<u8>)) -> Vec<u8> {
    let from = ipv6::from_hardware(mac(21));
    let mut frame = Path6::to_group(mac(21), from, ipv6::ALL_NODES).advertisement();
    damage(&mut frame);
    frame
}

/// An option of no length, with the checksum that goes with it.
fn endless_option() -> Vec<u8> {
    neighbour(|frame| {
        let at = ethernet::HEADER + ipv6::HEADER + 24;
        frame[at + 1] = 0;
        // One less in a low byte of the sum is one more in its complement.
        let sum = &mut frame[ethernet::HEADER + ipv6::HEADER + 2..][..2];
        let fixed = u16::from_be_bytes([sum[0], sum[1]]).wrapping_add(1);
        sum.copy_from_slice(&fixed.to_be_bytes());
    })
}

#[test]
fn truncated_oversized_and_looping_packets_of_every_protocol_are_counted_and_dropped() {
    let arp = Arp::announcement(mac(21), address(21)).frame(Mac::BROADCAST, None);
    let scopes = "onvif://www.onvif.org/name/x ".repeat(1_000);
    let deep = "<x>".repeat(40);
    let broken: Vec<(&str, Vec<u8>)> = vec![
        ("Ethernet, cut", arp[..9].to_vec()),
        ("ARP, cut", arp[..30].to_vec()),
        (
            "IPv4, longer than its frame",
            whole(ethernet::IPV4, &[0x45, 0, 0xff, 0xff, 0, 0]),
        ),
        ("UDP, shorter than its header", {
            let mut frame = datagram(5353, &ANSWER);
            frame[ethernet::HEADER + ipv4::HEADER + 5] = 3;
            frame
        }),
        ("DHCP, an option that overruns", dhcp(&[53, 1, 1, 12, 255, b'x'])),
        ("DHCP, a type of two bytes", dhcp(&[53, 2, 1, 1, 255])),
        ("mDNS, a name that points at itself", {
            datagram(mdns::PORT, &[&ANSWER[..], &[0xc0, 12, 0, 12, 0, 1]].concat())
        }),
        ("mDNS, a name that points forward", {
            datagram(mdns::PORT, &[&ANSWER[..], &[0xc0, 40, 0, 12, 0, 1]].concat())
        }),
        ("mDNS, a record longer than the message", {
            let record = b"\x01a\x05local\0\0\x01\0\x01\0\0\0\x78\0\xff\x0a";
            datagram(mdns::PORT, &[&ANSWER[..], record].concat())
        }),
        (
            "mDNS, too long",
            datagram(mdns::PORT, &[&ANSWER[..], &[0; 9_000]].concat()),
        ),
        ("WS-Discovery, an entity of its own", {
            datagram(wsd::PORT, b"<!DOCTYPE x [<!ENTITY a 'aaaa'>]><x>&a;</x>")
        }),
        (
            "WS-Discovery, an unknown entity",
            datagram(wsd::PORT, &envelope("&a;")),
        ),
        ("WS-Discovery, scopes without end", {
            datagram(wsd::PORT, &envelope(&format!("<d:Scopes>{scopes}</d:Scopes>")))
        }),
        ("WS-Discovery, too deep", datagram(wsd::PORT, &envelope(&deep))),
        ("WS-Discovery, cut", datagram(wsd::PORT, &envelope("")[..90])),
        ("LLDP, an entry longer than the frame", entries(b"\x0b\xffS1")),
        ("LLDP, too many entries", entries(&[0x12, 0].repeat(700))),
        ("LLDP, no chassis", whole(ethernet::LLDP, b"\x04\x02\x05y")),
        (
            "IPv6, longer than its frame",
            neighbour(|frame| frame[ethernet::HEADER + 4] = 0xff),
        ),
        (
            "ICMPv6, another checksum",
            neighbour(|frame| frame[ethernet::HEADER + ipv6::HEADER + 2] ^= 1),
        ),
        ("ICMPv6, an option of no length", endless_option()),
        (
            "LAN enquiry, without an end",
            datagram(52_380, b"\x02MAC:02-52-43-00-00-21\xffNAME:x"),
        ),
        ("LAN enquiry, too long", {
            datagram(
                52_380,
                &[b"\x02", &b"NAME:x\xff".repeat(400)[..], b"\x03"].concat(),
            )
        }),
    ];
    let mut toy = Toy::new(config());
    for (n, (what, frame)) in broken.iter().enumerate() {
        toy.hear(frame);
        // The count is told once a second.
        toy.run(ms(1_500 * (n as u64 + 1)));
        let counted = toy.facts(|_, fact| match fact {
            Fact::Malformed { total } => Some(*total),
            _ => None,
        });
        assert_eq!(counted.last(), Some(&(n as u64 + 1)), "{what}");
    }
    let said = toy.facts(|_, fact| match fact {
        Fact::Malformed { .. } | Fact::Station(_) => None,
        other => Some(format!("{other:?}")),
    });
    assert_eq!(said, Vec::<String>::new());
}

//! Whatever is sent into the venue, it goes on, and so do its hosts.

mod common;

use std::net::Ipv4Addr;
use std::time::Duration;

use common::{Bench, OUR_IP, OURS, host, ip, mac, plan, word};
use link::FramePort;
use venue::{Deed, Habit, Service, Venue};
use vocab::{AddressRange, Mac};
use wire::Path;

/// xorshift64 (Marsaglia 2003; shifts from memory): any spread will do here.
fn draw(state: &mut u64) -> u64 {
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    *state
}

fn bench() -> Bench {
    let mut plan = plan();
    let mut all = host(&plan, 21);
    for text in [
        "visca-udp",
        "visca-raw-udp",
        "visca-tcp",
        "rtsp",
        "http",
        "https",
        "onvif",
        "tcp:9000",
    ] {
        all = all.serve(
            word(text),
            Service::Open {
                after: Duration::ZERO,
            },
        );
    }
    plan.host(all);
    let pool = AddressRange::new(ip(100), ip(120));
    let habit = pool.map(|pool| Habit::DhcpServer {
        pool,
        reserved: Vec::new(),
        router: None,
    });
    plan.host(host(&plan, 1).habit(habit.unwrap_or_default()));
    plan.host(host(&plan, 2).habit(Habit::ProxyArp));
    let dhcp = plan.host(host(&plan, 50).dhcp(None));
    plan.at(Duration::from_secs(5), Deed::Announce(dhcp));
    Bench::new(plan, 1)
}

#[test]
fn any_bytes_may_be_sent() {
    let mut bench = bench();
    let mut state = 0x5243;
    for round in 0..6000_u64 {
        let len = (draw(&mut state) % 120) as usize;
        let mut frame: Vec<u8> = (0..len).map(|_| draw(&mut state) as u8).collect();
        if len >= 14 {
            let to = [mac(21), mac(1), mac(2), Mac::BROADCAST][(round % 4) as usize];
            frame[..6].copy_from_slice(&to.octets());
            let kind = [[8, 0], [8, 6], [0x81, 0], [0x86, 0xdd]][(round / 4 % 4) as usize];
            frame[12..14].copy_from_slice(&kind);
        }
        assert!(bench.venue.send(&frame).is_ok());
        bench.run(Duration::from_millis(1));
    }
    assert_eq!(bench.who_has(ip(21), OUR_IP)[0], mac(21), "still there");
}

/// Packets whose IP header is right and whose rest is nearly so, from senders of every kind.
#[test]
fn almost_sound_packets_may_be_sent() {
    let mut bench = bench();
    let mut state = 0x0252;
    let senders = [
        OUR_IP,
        ip(21),
        ip(255),
        Ipv4Addr::UNSPECIFIED,
        Ipv4Addr::BROADCAST,
        Ipv4Addr::LOCALHOST,
        Ipv4Addr::new(224, 0, 0, 251),
        Ipv4Addr::new(192, 168, 0, 20),
    ];
    let receivers = [
        ip(21),
        ip(1),
        ip(255),
        Ipv4Addr::BROADCAST,
        Ipv4Addr::UNSPECIFIED,
        Ipv4Addr::new(224, 0, 0, 1),
    ];
    let discover = wire::dhcp::Message::discover(7, OURS, None).emit();
    for round in 0..6000_usize {
        let (protocol, mut payload) = match round % 4 {
            0 => (wire::ipv4::ICMP, vec![8, 0, 0xf7, 0xff, 0, 0, 0, 0]),
            1 => (
                wire::ipv4::TCP,
                vec![
                    0x9c, 0x40, 0x16, 0x2e, 0, 0, 0, 1, 0, 0, 0, 0, 0x50, 2, 4, 0, 0, 0, 0, 0,
                ],
            ),
            2 => {
                // A checksum of zero says that there is none (RFC 768).
                let port = [52381_u16, 1259, 67, 68, 9][round / 4 % 5];
                let mut udp = vec![0, 99];
                udp.extend(port.to_be_bytes());
                udp.extend([0, 17, 0, 0, 0x81, 0x09, 0x00, 0x02, 0xff, 0, 0, 0, 0]);
                (wire::ipv4::UDP, udp)
            }
            _ => {
                let mut udp = vec![0, 68, 0, 67];
                udp.extend((discover.len() as u16 + 8).to_be_bytes());
                udp.extend([0, 0]);
                udp.extend(&discover);
                (wire::ipv4::UDP, udp)
            }
        };
        for _ in 0..draw(&mut state) % 4 {
            let at = draw(&mut state) as usize % payload.len();
            payload[at] = draw(&mut state) as u8;
        }
        let path = Path {
            from_mac: OURS,
            from: senders[round / 3 % senders.len()],
            to_mac: [mac(21), mac(1), mac(50), Mac::BROADCAST][round / 5 % 4],
            to: receivers[round / 7 % receivers.len()],
        };
        assert!(bench.venue.send(&path.frame(protocol, &payload)).is_ok());
        bench.run(Duration::from_millis(2));
    }
    assert!(bench.ping(ip(21), mac(21)).is_some(), "still there");
    assert_eq!(bench.venue.truth().holders[&ip(21)], [mac(21)]);
}

#[test]
fn a_venue_may_live_in_another_thread() {
    fn is_send<T: Send>(_: &T) {}
    is_send::<Venue>(&bench().venue);
}

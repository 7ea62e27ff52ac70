//! What a hostile or broken host may flood a network with, frame by frame, to hold the program against it.
//!
//! Every frame is made from its number alone, so that a storm replays exactly and none has to be kept.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{ArpOp, Ipv4Net, Mac};
use wire::announce::Device;
use wire::dhcp::{self, Kind, Message};
use wire::mdns::{self, ServiceType};
use wire::wsd::{self, Version};
use wire::{Arp, Ethernet, Path, Udp, arp, ethernet, lldp};

/// Names as they should never reach a screen or a file: escape sequences (ECMA-48), turned writing (UAX #9),
/// characters without room, piles of marks, formulas of a spreadsheet, markup, and the name of a listed device.
pub const NAMES: [&str; 10] = [
    "\u{1b}[2J\u{1b}]0;owned\u{7}Loft",
    "\u{9b}31m\u{90}q\u{9c}\r\nLoft",
    "\u{202e}tfol \u{2066}nagrO\u{200f}",
    "Lo\u{200b}\u{200d}\u{feff}\u{e0041}ft",
    "L\u{e49}\u{e49}\u{e49}\u{e49}\u{e49}\u{301}\u{301}\u{301}\u{301}o",
    "=HYPERLINK(\"http://10.40.8.99/\")",
    "<script>alert(1)</script>|`*_[x](y)",
    "WWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWW",
    "Organ loft",
    "\u{ff1d}1+1\u{3000}\u{3000}\u{3000}\u{115f}\u{2800}x",
];

/// What a storm is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Storm {
    /// Announcements, each from hardware that was never seen before.
    NewHosts,
    /// Announcements of the rig's, the gateway's and our own addresses by hardware that answers nobody.
    Claims,
    /// The same as replies to us that nobody asked for.
    Replies,
    /// ARP whose fields fit neither each other nor the frame.
    SenderFields,
    /// ARP probes for every address, each from new hardware.
    Probes,
    /// DHCP from clients and servers with identifiers and names of every kind, whole and broken.
    Dhcp,
    /// Multicast DNS: names and services without end, those of listed devices, loops, and broken ones.
    Mdns,
    /// WS-Discovery: announcements of devices without end, and broken ones.
    WsDiscovery,
    /// Switches without end that all say that we are plugged into them.
    Lldp,
    /// Our own questions, which come back as in a network with a loop.
    OwnFrames,
    /// Large datagrams to everybody that nobody asked for, and others' questions over and over, as in a loop.
    Flow,
}

/// Where it rages.
#[derive(Debug, Clone)]
pub struct Ground {
    /// The rig's subnet.
    pub subnet: Ipv4Net,
    /// Our computer.
    pub ours: (Mac, Ipv4Addr),
    /// The gateway's address.
    pub gateway: Ipv4Addr,
    /// Listed devices.
    pub listed: Vec<(Mac, Ipv4Addr)>,
}

impl Storm {
    /// Every one there is.
    pub const ALL: [Self; 11] = [
        Self::NewHosts,
        Self::Claims,
        Self::Replies,
        Self::SenderFields,
        Self::Probes,
        Self::Dhcp,
        Self::Mdns,
        Self::WsDiscovery,
        Self::Lldp,
        Self::OwnFrames,
        Self::Flow,
    ];

    /// Its frame number `n`.
    pub fn frame(self, n: u32, on: &Ground) -> Vec<u8> {
        let mac = hardware(n);
        match self {
            Self::NewHosts => arp::announcement_frame(mac, on.free(n)),
            Self::Claims => arp::announcement_frame(liar(n), on.contested(n)),
            Self::Replies => arp::reply_frame(liar(n), on.contested(n), on.ours.0, on.ours.1),
            Self::SenderFields => on.odd_fields(n),
            Self::Probes => arp::probe_frame(mac, on.any(n), Mac::BROADCAST),
            Self::Dhcp => dhcp_frame(n, mac, on),
            Self::Mdns => mdns_frame(n, mac, on),
            Self::WsDiscovery => wsd_frame(n, mac, on),
            Self::Lldp => lldp::Switch {
                name: name(n),
                mac,
                port: &n.to_string(),
                address: Some(on.any(n)),
                passes_on: !n.is_multiple_of(3),
                ttl: Duration::from_secs(u64::from(u16::MAX)),
            }
            .frame(),
            Self::OwnFrames => arp::request_frame(on.ours.0, on.ours.1, on.any(n), Mac::BROADCAST),
            Self::Flow => flow_frame(n, on),
        }
    }
}

/// Hardware that was never seen before.
const fn hardware(n: u32) -> Mac {
    let [a, b, c, d] = n.to_be_bytes();
    Mac::new([0x06, 0x52, a, b, c, d])
}

/// One of three, so that they are no new ones each time.
const fn liar(n: u32) -> Mac {
    hardware(n % 3)
}

const fn name(n: u32) -> &'static str {
    NAMES[n as usize % NAMES.len()]
}

impl Ground {
    /// Some address of the subnet.
    fn any(&self, n: u32) -> Ipv4Addr {
        let hosts = (1_u64 << (32 - self.subnet.prefix_len()))
            .saturating_sub(2)
            .max(1);
        let first = u32::from(self.subnet.network());
        Ipv4Addr::from(first.wrapping_add(1 + (u64::from(n) % hosts) as u32))
    }

    /// Some address that is nobody's of those who matter.
    fn free(&self, n: u32) -> Ipv4Addr {
        let matters = |a| a == self.ours.1 || a == self.gateway || self.listed.iter().any(|(_, l)| *l == a);
        let free = (n..=n.saturating_add(256))
            .map(|n| self.any(n))
            .find(|a| !matters(*a));
        free.unwrap_or(self.gateway)
    }

    fn listed(&self, n: u32) -> (Mac, Ipv4Addr) {
        self.listed
            .get(n as usize % self.listed.len().max(1))
            .copied()
            .unwrap_or((hardware(n), self.gateway))
    }

    /// An address of one who matters.
    fn contested(&self, n: u32) -> Ipv4Addr {
        match n % 8 {
            0 => self.ours.1,
            1 => self.gateway,
            _ => self.listed(n / 8).1,
        }
    }

    fn odd_fields(&self, n: u32) -> Vec<u8> {
        let (mac, address) = self.listed(n / 12);
        let (sender_mac, sender_ip) = match n % 12 {
            // Another than the frame's source.
            0 => (hardware(n), self.free(n)),
            1 => (mac, address),
            2 => (self.ours.0, self.ours.1),
            3 => (self.ours.0, address),
            // No host's.
            4 => (Mac::BROADCAST, address),
            5 => (Mac::new([0; 6]), address),
            6 => (Mac::new([0x01, 0, 0x5e, 0, 0, 1]), address),
            7 => (hardware(1), Ipv4Addr::BROADCAST),
            8 => (hardware(1), Ipv4Addr::new(224, 0, 0, 251)),
            9 => (hardware(1), Ipv4Addr::LOCALHOST),
            10 => (hardware(1), self.subnet.broadcast()),
            _ => (hardware(1), self.subnet.network()),
        };
        let op = if n.is_multiple_of(5) {
            ArpOp::Reply
        } else {
            ArpOp::Request
        };
        let arp = Arp {
            op,
            sender_mac,
            sender_ip,
            target_mac: if n.is_multiple_of(7) {
                self.ours.0
            } else {
                Mac::new([0; 6])
            },
            target_ip: if n.is_multiple_of(3) {
                sender_ip
            } else {
                self.any(n)
            },
        };
        let source = if n.is_multiple_of(12) || n % 12 < 4 {
            hardware(2)
        } else {
            sender_mac
        };
        let mut payload = arp.emit();
        if n % 5 == 1 {
            // Neither a request nor a reply.
            payload[7] = 3 + (n % 200) as u8;
        }
        Ethernet {
            destination: if n.is_multiple_of(4) {
                self.ours.0
            } else {
                Mac::BROADCAST
            },
            source,
            vlan: None,
            ethertype: ethernet::ARP,
            payload: &payload,
        }
        .emit()
    }
}

fn flow_frame(n: u32, on: &Ground) -> Vec<u8> {
    let from = hardware(n % 8);
    if n.is_multiple_of(4) {
        return arp::request_frame(from, on.free(n % 8), on.any(n), Mac::BROADCAST);
    }
    let path = Path {
        from_mac: from,
        from: on.free(n % 8),
        to_mac: Mac::BROADCAST,
        to: Ipv4Addr::BROADCAST,
    };
    Udp {
        source_port: 5004,
        destination_port: 5004,
        payload: &n.to_be_bytes().repeat(343),
    }
    .frame(path)
}

fn dhcp_frame(n: u32, mac: Mac, on: &Ground) -> Vec<u8> {
    let server = n.is_multiple_of(4);
    let kind = match (server, n % 3) {
        (true, 0) => Kind::Ack,
        (true, _) => Kind::Offer,
        (false, 0) => Kind::Request,
        (false, _) => Kind::Discover,
    };
    let client = if server { on.ours.0 } else { mac };
    let mut message = Message::new(kind, n, client);
    message.name = Some(name(n).into());
    message.client_id = Some(n.to_be_bytes().repeat(1 + n as usize % 60));
    message.wanted = Some(on.any(n));
    if server {
        message.given = on.any(n);
        message.server = Some(on.free(n));
        message.routers = vec![on.free(n); 8];
        message.lease_s = Some(u32::MAX);
    }
    let mut payload = message.emit();
    // A name as it came, not as our own types clean it; then what is cut, or overruns.
    if let Some(at) = payload.windows(2).position(|w| w[0] == 12 && w[1] > 0) {
        let raw = name(n).as_bytes();
        let many = raw.len().min(usize::from(payload[at + 1]));
        payload[at + 2..at + 2 + many].copy_from_slice(&raw[..many]);
    }
    match n % 7 {
        0 => payload.truncate(payload.len().min(236 + n as usize % 60)),
        1 => payload.iter_mut().skip(240).step_by(5).for_each(|b| *b = 0xfe),
        _ => {}
    }
    let (source_port, destination_port) = if server {
        (dhcp::SERVER_PORT, dhcp::CLIENT_PORT)
    } else {
        (dhcp::CLIENT_PORT, dhcp::SERVER_PORT)
    };
    let path = Path {
        from_mac: mac,
        from: if server { on.free(n) } else { Ipv4Addr::UNSPECIFIED },
        to_mac: Mac::BROADCAST,
        to: Ipv4Addr::BROADCAST,
    };
    Udp {
        source_port,
        destination_port,
        payload: &payload,
    }
    .frame(path)
}

/// A response (RFC 1035 section 4.1, RFC 6762 section 18) with these records: name, type, time to live, data.
fn response(records: &[(Vec<u8>, u16, Vec<u8>)]) -> Vec<u8> {
    let mut out = vec![0, 0, 0x84, 0, 0, 0, 0, records.len() as u8, 0, 0, 0, 0];
    for (name, kind, data) in records {
        out.extend(name);
        out.extend(kind.to_be_bytes());
        out.extend([0x80, 1]);
        out.extend(u32::MAX.to_be_bytes());
        out.extend((data.len() as u16).to_be_bytes());
        out.extend(data);
    }
    out
}

/// Labels as they go over the wire, each cut to 63 bytes.
fn labels(all: &[&[u8]]) -> Vec<u8> {
    let mut out = Vec::new();
    for label in all {
        let label = &label[..label.len().min(63)];
        out.push(label.len() as u8);
        out.extend(label);
    }
    out.push(0);
    out
}

fn mdns_frame(n: u32, mac: Mac, on: &Ground) -> Vec<u8> {
    const A: u16 = 1;
    const PTR: u16 = 12;
    let from = on.free(n);
    let kind = format!("_made-up-{}", n % 500);
    let of_type = || labels(&[kind.as_bytes(), b"_udp", b"local"]);
    let instance = labels(&[name(n).as_bytes(), b"_http", b"_tcp", b"local"]);
    let message = match n % 5 {
        0 => response(&[
            (
                labels(&[b"_services", b"_dns-sd", b"_udp", b"local"]),
                PTR,
                of_type(),
            ),
            (labels(&[b"_http", b"_tcp", b"local"]), PTR, instance),
        ]),
        // A host's name at a listed device's address, said by a stranger.
        1 => response(&[(
            labels(&[name(n).as_bytes(), b"local"]),
            A,
            on.listed(n).1.octets().to_vec(),
        )]),
        // Names that point at themselves (RFC 1035 section 4.1.4).
        2 => response(&[(vec![1, b'a', 0xc0, 0x0c], PTR, vec![0xc0, 0x0c])]),
        // Many records in one message.
        3 => {
            let many = |i: u32| (of_type(), PTR, labels(&[format!("{n}-{i}").as_bytes(), b"local"]));
            response(&(0..20).map(many).collect::<Vec<_>>())
        }
        _ => {
            let mut cut = response(&[(of_type(), PTR, instance)]);
            cut.truncate(cut.len() - 1 - n as usize % 20);
            cut
        }
    };
    mdns::frame(mac, from, &message)
}

fn wsd_frame(n: u32, mac: Mac, on: &Ground) -> Vec<u8> {
    let address = if n.is_multiple_of(5) {
        on.listed(n).1
    } else {
        on.free(n)
    };
    let services: [(ServiceType, u16); 0] = [];
    let device = Device {
        name: name(n),
        address: address.into(),
        services: &services,
        onvif: n as u16 | 1,
    };
    let mut message = device.hello(Version::April2005, u128::from(n));
    match n % 4 {
        0 => message.truncate(message.len() - 1 - n as usize % 300),
        1 => {
            let deep = "<x>".repeat(400);
            message = [b"<!DOCTYPE x [<!ENTITY a \"&a;&a;\">]>", deep.as_bytes()].concat();
        }
        _ => {}
    }
    wsd::frame(mac, on.free(n), wsd::PORT, &message)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_frame_is_one_and_no_two_are_alike_for_long() {
        let on = Ground {
            subnet: Ipv4Net::new_assert(Ipv4Addr::new(10, 40, 8, 0), 24),
            ours: (hardware(1 << 20), Ipv4Addr::new(10, 40, 8, 230)),
            gateway: Ipv4Addr::new(10, 40, 8, 1),
            listed: vec![(hardware(1 << 21), Ipv4Addr::new(10, 40, 8, 21))],
        };
        for storm in Storm::ALL {
            let mut kinds = std::collections::BTreeSet::new();
            for n in 0..3_000 {
                let frame = storm.frame(n, &on);
                assert!(
                    (14..=1_514).contains(&frame.len()),
                    "{storm:?} {n}: {}",
                    frame.len()
                );
                assert_eq!(frame, storm.frame(n, &on));
                kinds.insert(frame);
            }
            let few = matches!(storm, Storm::Claims | Storm::Replies);
            let least = if few { 3 } else { 100 };
            assert!(kinds.len() >= least, "{storm:?}: {}", kinds.len());
        }
    }
}

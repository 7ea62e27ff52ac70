//! Whatever is sent, the records stay bounded and the rig's own are unharmed.

use vocab::{ArpOp, ArpSeen, Fact, Mac, Name, NameSource, Sighting, Text};

use super::world::{Unit, World, device, ip, mac, secs};
use crate::hosts::{MAX_CLAIMANTS, MAX_STRANGERS};
use crate::{FindingKind, Severity, Standing};

fn spoofed(n: u32, address: std::net::Ipv4Addr) -> Fact {
    let [a, b, c, d] = n.to_be_bytes();
    let sender = Mac::new([0x06, 0x10, a, b, c, d]);
    Fact::Arp(ArpSeen {
        frame_source: sender,
        sender,
        address,
        target: address,
        op: ArpOp::Request,
        vlan: None,
        answers: None,
    })
}

#[test]
fn a_hundred_thousand_spoofed_hosts_push_no_device_out() {
    let mut w = World::board(
        vec![device("Organ loft", 21), device("West door", 22)],
        vec![Unit::good(21), Unit::new(22, "192.168.0.20")],
    );
    w.run_to(secs(5.0));
    for n in 0..100_000_u32 {
        // Many of them claim the devices' own addresses.
        let address = match n % 16 {
            0 => ip("10.40.8.21"),
            1 => ip("10.40.8.22"),
            _ => std::net::Ipv4Addr::from(0x0a28_0000 + n % 65_536),
        };
        w.ledger.fold(&Sighting {
            at: w.now,
            fact: spoofed(n, address),
        });
    }
    assert!(
        w.ledger.hosts.len() <= MAX_STRANGERS + 2 + 3 * MAX_CLAIMANTS,
        "{}",
        w.ledger.hosts.len()
    );
    assert!(w.ledger.confirming.len() <= 64);
    w.run(2.0);
    let s = w.snapshot();
    assert_eq!(s.unlisted.len(), 500);
    assert!(s.unlisted_total > 4_000);
    assert_eq!(w.severity(FindingKind::Flood), Some(Severity::Risk));
    for (i, n) in [21, 22].into_iter().enumerate() {
        assert_eq!(s.devices[i].seen.as_ref().unwrap().mac, Some(mac(n)));
    }
    // The liars do not answer, so a while later the truth is back.
    w.run(90.0);
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    assert_eq!(w.standing("West door"), Standing::WrongSubnet);
    assert_eq!(w.severity(FindingKind::Flood), None);
}

#[test]
fn one_host_at_every_devices_address_is_not_shown_with_all_of_them_at_each() {
    let devices: Vec<_> = (10..210).map(|n| device(&format!("Camera {n}"), n)).collect();
    let mut w = World::board(devices, Vec::new());
    w.run_to(secs(3.0));
    for n in 10..210 {
        w.ledger.fold(&Sighting {
            at: w.now,
            fact: spoofed(7, ip(&format!("10.40.8.{n}"))),
        });
    }
    w.run(0.5);
    let mut shown = 0;
    for (n, device) in (10..210).zip(&w.snapshot().devices) {
        let Some(seen) = &device.seen else { continue };
        shown += 1;
        assert_eq!(seen.address, Some(ip(&format!("10.40.8.{n}"))));
        assert_eq!(seen.addresses.len(), 32);
        assert_eq!(seen.addresses.first(), seen.address.as_ref());
    }
    assert_eq!(shown, 200);
}

#[test]
fn one_host_with_ten_thousand_addresses_keeps_sixteen() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(3.0));
    for n in 0..10_000_u32 {
        w.ledger.fold(&Sighting {
            at: w.now,
            fact: spoofed(7, std::net::Ipv4Addr::from(0x0a29_0000 + n)),
        });
    }
    assert_eq!(w.snapshot().unlisted[0].addresses.len(), 16);
    // A listed device gone mad keeps its expected address.
    for n in 0..10_000_u32 {
        w.announce(mac(21), &std::net::Ipv4Addr::from(0x0a2a_0000 + n).to_string());
    }
    w.run(5.0);
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    let seen = w.snapshot().devices[0].seen.clone().unwrap();
    assert_eq!(seen.address, Some(ip("10.40.8.21")));
    assert!(seen.addresses.len() <= 17);
}

#[test]
fn the_list_of_changes_is_bounded() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(3.0));
    for _ in 0..300 {
        w.probe(mac(21), "10.40.8.21");
        w.run(11.0);
    }
    assert!(w.changes.len() >= 300);
    assert!(w.snapshot().changes.len() <= 1_000);
}

/// The same by every other way of being heard: names, services, IPv6, masks, switches.
#[test]
fn twenty_thousand_voices_push_no_device_out() {
    let mut w = World::board(
        vec![device("Organ loft", 21), device("West door", 22)],
        vec![Unit::good(21), Unit::new(22, "192.168.0.20")],
    );
    w.run_to(secs(5.0));
    for n in 0..20_000_u32 {
        let [a, b, c, d] = n.to_be_bytes();
        let mac = Mac::new([0x06, 0x10, a, b, c, d]);
        let address = std::net::Ipv4Addr::from(0x0a28_0000 + n % 65_536);
        let name = Name {
            text: Text::clean(&format!("voice {n}")),
            source: NameSource::Mdns,
        };
        let fact = match n % 8 {
            0 => Fact::Named {
                mac,
                address: Some(address),
                names: vec![name],
            },
            1 => Fact::Ipv6 {
                mac,
                address: std::net::Ipv6Addr::from(0xfe80 << 112 | u128::from(n)),
                source: vocab::Ipv6Source::Neighbour,
            },
            2 => Fact::Serves {
                mac,
                ports: vec!["rtsp".parse().unwrap()],
                video: true,
            },
            3 => Fact::Mask {
                mac,
                address,
                mask: ip("255.0.0.0"),
            },
            4 => Fact::Wakes {
                mac,
                how: vocab::Wake::DhcpDiscover,
            },
            5 => Fact::Address {
                mac,
                address,
                source: vocab::AddressSource::Mdns,
            },
            6 => Fact::DhcpClient {
                mac,
                class: Some(name.text),
                id: vocab::ClientId::read(&[255; 64]),
            },
            _ => Fact::Plugged(vocab::Plugged {
                mac,
                switch: name.text,
                port: "1".into(),
                address: Some(address),
                holds: std::time::Duration::from_secs(65_535),
            }),
        };
        w.ledger.fold(&Sighting { at: w.now, fact });
    }
    assert!(
        w.ledger.hosts.len() <= MAX_STRANGERS + 2 + 3 * MAX_CLAIMANTS,
        "{}",
        w.ledger.hosts.len()
    );
    assert!(w.ledger.confirming.len() <= 64);
    w.run(2.0);
    let s = w.snapshot();
    assert_eq!((s.unlisted.len(), s.plugged.len()), (500, 4));
    assert_eq!(w.severity(FindingKind::Flood), Some(Severity::Risk));
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    assert_eq!(w.standing("West door"), Standing::WrongSubnet);
    for (i, n) in [21, 22].into_iter().enumerate() {
        assert_eq!(s.devices[i].seen.as_ref().unwrap().mac, Some(mac(n)));
    }
}

//! DHCP servers: when they are asked for, and what is said of none, one and several.

use rig::{AddressSpec, Device, How, Role};
use vocab::{Ask, DhcpOffer, Mode, Moment};

use super::world::{Unit, World, device, ip, mac, rig, secs, settings};
use crate::{Finding, FindingKind, Purpose, Severity, Standing};

const SECOND: FindingKind = FindingKind::SecondDhcpServer;
const NONE: FindingKind = FindingKind::NoDhcpAnswer;
const ONE: FindingKind = FindingKind::DhcpServer;

fn tablet() -> Device {
    Device {
        address: AddressSpec::Dhcp,
        role: Role::Computer,
        ..device("Tablet", 21)
    }
}

fn reserved() -> Device {
    Device {
        how: How::Reserved,
        ..device("Encoder", 31)
    }
}

/// Server `n` gives out the rig's own subnet.
fn server(n: u8) -> DhcpOffer {
    DhcpOffer {
        server: ip(&format!("10.40.8.{n}")),
        mac: mac(n),
        offered: ip("10.40.8.133"),
        mask: Some(ip("255.255.255.0")),
        router: Some(ip("10.40.8.1")),
        lease_s: Some(43_200),
    }
}

/// A server of another subnet, without a gateway.
fn foreign(n: u8) -> DhcpOffer {
    DhcpOffer {
        server: ip("192.168.0.19"),
        offered: ip("192.168.0.101"),
        router: None,
        lease_s: Some(600),
        ..server(n)
    }
}

/// A board over these devices, each of them there, and these servers.
fn world(devices: Vec<Device>, servers: Vec<DhcpOffer>, purpose: Purpose) -> World {
    let units = devices
        .iter()
        .map(|d| Unit {
            mac: d.macs[0],
            ..Unit::new(
                0,
                &d.fixed_address().map_or("10.40.8.133".into(), |a| a.to_string()),
            )
        })
        .collect();
    let mut file = rig(devices);
    file.network.gateway = Some(ip("10.40.8.1"));
    file.network.leases = vec!["10.40.8.100-10.40.8.180".parse().unwrap()];
    let mut settings = settings(file, purpose);
    settings.factory.push("192.168.0.19".parse().unwrap());
    let mut w = World::new(settings, units);
    w.units.push(Unit::good(1));
    w.servers = servers;
    w.plug();
    w
}

fn board(devices: Vec<Device>, servers: Vec<DhcpOffer>) -> World {
    world(devices, servers, Purpose::Board)
}

fn asked(w: &World) -> Vec<(u64, bool)> {
    let dhcp = |(at, ask): &(Moment, Ask)| match ask {
        Ask::Dhcp { by_hand } => Some((at.as_millis() / 1_000, *by_hand)),
        _ => None,
    };
    w.asked.iter().filter_map(dhcp).collect()
}

fn only(w: &World, kind: FindingKind) -> Finding {
    let mut found = w.findings(kind);
    assert_eq!(found.len(), 1, "{kind:?}: {:?}", w.snapshot().findings);
    let f = found.remove(0);
    assert!(f.text.ends_with('.') && f.advice.ends_with('.'), "{f:?}");
    f
}

fn says(text: &str, words: &[&str]) {
    for word in words {
        assert!(text.contains(word), "{word}: {text}");
    }
}

#[test]
fn asked_at_the_start_only_where_the_rig_needs_a_server() {
    for (device, times) in [(tablet(), 1), (reserved(), 1), (device("Organ loft", 22), 0)] {
        let mut w = board(vec![device], vec![server(1)]);
        w.run(600.0);
        assert_eq!(asked(&w).len(), times, "once, as nothing is amiss");
        w.ledger.sweep_now(w.now);
        w.run(1.0);
        assert_eq!(asked(&w).len(), times + 1, "anybody may ask by hand");
        assert!(asked(&w)[times].1);
    }
    let mut w = world(vec![device("Organ loft", 22)], vec![server(1)], Purpose::Survey);
    w.run(600.0);
    assert_eq!(asked(&w), [(0, false)], "a survey wants to know");
}

#[test]
fn never_without_frames_nor_while_only_listening() {
    let mut file = settings(rig(vec![tablet()]), Purpose::Survey);
    file.subnet = None;
    let mut w = World::new(file, vec![]);
    w.station.mode = Mode::Unprivileged;
    w.plug();
    w.ledger.sweep_now(w.now);
    w.run(60.0);
    assert!(asked(&w).is_empty() && w.findings(NONE).is_empty() && !w.ledger.awaits_offers(w.now));
    let mut w = board(vec![tablet()], vec![server(1), foreign(9)]);
    w.run_to(secs(20.0));
    assert_eq!(w.findings(SECOND).len(), 1);
    w.listen_only(true);
    w.ledger.sweep_now(w.now);
    w.run(60.0);
    assert!(
        w.findings(SECOND).is_empty(),
        "nothing is known while nothing is asked"
    );
    assert_eq!(asked(&w).len(), 1);
    w.listen_only(false);
    w.run(10.0);
    assert_eq!(w.findings(SECOND).len(), 1);
}

#[test]
fn nobody_answers_twice() {
    let mut w = board(vec![tablet(), reserved()], vec![]);
    w.run_to(secs(9.9));
    assert!(w.findings(NONE).is_empty(), "once is not enough");
    assert!(w.ledger.awaits_offers(w.now));
    w.run_to(secs(10.2));
    let f = only(&w, NONE);
    assert_eq!(f.severity, Severity::Risk);
    assert_eq!(f.devices, ["Tablet", "Encoder"]);
    says(&f.text, &["2 devices", "Tablet"]);
    says(&f.advice, &["switch"]);
    assert!(
        w.snapshot().ready,
        "a risk holds nobody back: {}",
        w.snapshot().headline
    );
    // A minute later it is looked at again, and the router is up by then.
    w.servers.push(server(1));
    w.run_to(secs(59.0));
    assert_eq!(w.findings(NONE).len(), 1);
    w.run_to(secs(66.0));
    assert!(w.findings(NONE).is_empty());
    w.run(600.0);
    assert_eq!(asked(&w), [(0, false), (60, false)]);
    assert!(
        w.changes
            .iter()
            .any(|c| c.text.starts_with("Over: No DHCP server"))
    );
}

#[test]
fn nothing_is_said_of_silence_where_no_device_needs_a_server() {
    let mut w = world(vec![device("Organ loft", 22)], vec![], Purpose::Survey);
    w.run_to(secs(4.0));
    assert!(w.ledger.awaits_offers(w.now));
    w.run_to(secs(5.3));
    assert!(!w.ledger.awaits_offers(w.now), "the repetition is not waited for");
    w.run(60.0);
    assert!(w.findings(NONE).is_empty());
}

#[test]
fn two_that_differ_are_a_fault_for_devices_by_dhcp() {
    let mut w = board(vec![tablet()], vec![server(1), foreign(9)]);
    w.run_to(secs(1.0));
    let f = only(&w, SECOND);
    assert_eq!(f.severity, Severity::Fault);
    assert_eq!(f.macs, [mac(1), mac(9)]);
    says(
        &f.text,
        &[
            "Two DHCP servers answer and differ",
            "10.40.8.1 (02:52:43:00:00:01, the gateway) gives addresses in 10.40.8.0/24 with the gateway 10.40.8.1 for 12 h",
            "192.168.0.19 (02:52:43:00:00:09, a factory address) gives addresses in 192.168.0.0/24 with no gateway for 10 min",
            "What 192.168.0.19 gives does not fit the rig's subnet 10.40.8.0/24",
        ],
    );
    says(&f.advice, &["02:52:43:00:00:09", "switch", "network keeper"]);
    w.run_to(secs(20.0));
    assert_eq!(
        w.snapshot().headline,
        "Not ready: Two DHCP servers answer and differ."
    );
    assert_eq!(w.standing("Tablet"), Standing::Present);
    // It is unplugged: after a minute, or when somebody sweeps.
    w.servers.pop();
    w.ledger.sweep_now(w.now);
    w.run(4.0);
    assert_eq!(w.findings(SECOND).len(), 1, "the time for its answer is not over");
    w.run(2.0);
    assert!(w.findings(SECOND).is_empty() && w.snapshot().ready);
}

#[test]
fn how_much_two_servers_matter() {
    let other_gateway = DhcpOffer {
        router: Some(ip("10.40.8.254")),
        ..server(2)
    };
    for (device, second, severity) in [
        (tablet(), foreign(9), Severity::Fault),
        (tablet(), other_gateway.clone(), Severity::Fault),
        (reserved(), foreign(9), Severity::Risk),
        (reserved(), other_gateway, Severity::Risk),
        (tablet(), server(2), Severity::Note),
        // The same identifier from other hardware is another server too.
        (
            tablet(),
            DhcpOffer {
                mac: mac(7),
                ..server(1)
            },
            Severity::Note,
        ),
    ] {
        let mut w = board(vec![device], vec![server(1), second]);
        w.run_to(secs(6.0));
        let f = only(&w, SECOND);
        assert_eq!(f.severity, severity, "{f:?}");
        says(&f.advice, &["network keeper", "switch"]);
        assert!(w.findings(ONE).is_empty());
    }
}

#[test]
fn two_that_agree_on_another_subnet_are_no_comfort() {
    let twin = DhcpOffer {
        mac: mac(10),
        ..foreign(9)
    };
    let mut w = board(vec![tablet()], vec![foreign(9), twin]);
    w.run_to(secs(6.0));
    assert_eq!(only(&w, SECOND).severity, Severity::Note);
    assert_eq!(only(&w, ONE).severity, Severity::Risk);
}

#[test]
fn a_listed_camera_that_serves_is_said_to_be_one() {
    let mut camera = device("Organ loft", 22);
    camera.role = Role::Camera;
    for servers in [vec![server(1), foreign(22)], vec![foreign(22)]] {
        let kind = if servers.len() == 2 { SECOND } else { ONE };
        let mut w = board(vec![tablet(), camera.clone()], servers);
        w.run_to(secs(6.0));
        let f = only(&w, kind);
        assert_eq!(f.devices, ["Organ loft"]);
        says(&f.text, &["Organ loft, a camera"]);
        says(
            &f.advice,
            &["network menu of Organ loft (gallery, left)", "network keeper"],
        );
    }
    // Without a listed MAC its address tells.
    camera.macs.clear();
    let mut w = board(vec![tablet()], vec![]);
    w.ledger = crate::Ledger::new(settings(rig(vec![tablet(), camera]), Purpose::Board), w.now);
    w.servers = vec![server(22)];
    w.plug();
    w.run(6.0);
    assert_eq!(only(&w, ONE).devices, ["Organ loft"]);
}

#[test]
fn one_server_is_told_of_where_it_is_unlike_the_file_or_in_a_survey() {
    let good = server(1);
    let outside = DhcpOffer {
        offered: ip("10.40.8.60"),
        ..good.clone()
    };
    let gateway = DhcpOffer {
        router: Some(ip("10.40.8.254")),
        ..good.clone()
    };
    let no_mask = DhcpOffer {
        mask: None,
        ..good.clone()
    };
    let wide = DhcpOffer {
        mask: Some(ip("255.255.0.0")),
        ..good.clone()
    };
    let odd = DhcpOffer {
        mask: Some(ip("255.0.255.0")),
        lease_s: Some(u32::MAX),
        ..good.clone()
    };
    for (offer, severity, words) in [
        (outside, Severity::Note, "10.40.8.60, outside the lease pools"),
        (gateway, Severity::Risk, "The rig's gateway is 10.40.8.1"),
        (foreign(9), Severity::Risk, "does not fit the rig's subnet"),
        (no_mask, Severity::Risk, "such as 10.40.8.133 without a mask"),
        (wide, Severity::Risk, "gives addresses in 10.40.0.0/16"),
        (odd, Severity::Risk, "for ever"),
    ] {
        let mut w = board(vec![tablet()], vec![offer]);
        w.run_to(secs(6.0));
        let f = only(&w, ONE);
        assert_eq!(f.severity, severity, "{f:?}");
        says(&f.text, &[words]);
        assert!(w.snapshot().ready, "{}", w.snapshot().headline);
    }
    let mut w = board(vec![tablet()], vec![good.clone()]);
    w.run_to(secs(6.0));
    assert!(w.findings(ONE).is_empty(), "nothing is amiss");
    let mut w = world(vec![tablet()], vec![good], Purpose::Survey);
    w.run_to(secs(6.0));
    let f = only(&w, ONE);
    assert_eq!((f.severity, f.address), (Severity::Note, Some(ip("10.40.8.1"))));
    says(&f.advice, &["no lease was taken"]);
    // Where no device needs a server a foreign one is good to know.
    let mut w = world(vec![device("Organ loft", 22)], vec![foreign(9)], Purpose::Survey);
    w.run_to(secs(6.0));
    assert_eq!(only(&w, ONE).severity, Severity::Note);
}

#[test]
fn ready_waits_for_offers_from_when_the_question_left() {
    let mut w = World::new(
        settings(rig(vec![tablet()]), Purpose::Board),
        vec![Unit::new(21, "10.40.8.133")],
    );
    w.slot = secs(2.0);
    w.servers = vec![server(1)];
    w.plug();
    let at = w.run_until(20.0, |w| w.snapshot().ready);
    assert!(at >= secs(7.0) && at < secs(7.3), "{at:?}");
    // Later questions do not take it back.
    w.ledger.sweep_now(w.now);
    for _ in 0..100 {
        w.run(0.1);
        assert!(w.snapshot().ready);
    }
}

#[test]
fn a_server_is_asked_for_its_address_and_stands_among_the_strangers() {
    let mut w = board(vec![tablet()], vec![server(1), foreign(9)]);
    w.units.push(Unit::new(9, "192.168.0.19"));
    w.run_to(secs(20.0));
    let first = &w.snapshot().unlisted[0];
    assert_eq!(
        (first.mac, first.addresses.as_slice()),
        (Some(mac(9)), &[ip("192.168.0.19")][..])
    );
    assert!(!first.on_subnet);
}

#[test]
fn many_servers_are_bounded_in_number_and_words() {
    let all: Vec<_> = (1..=200).map(server).collect();
    let mut w = board(vec![tablet()], all);
    w.run_to(secs(6.0));
    assert_eq!(w.ledger.servers.known().len(), 64);
    let f = only(&w, SECOND);
    says(&f.text, &["64 DHCP servers", "and 61 more answer"]);
    assert!(f.text.len() < 600 && f.macs.len() == 8, "{f:?}");
}

//! What hosts announce that they serve.

use vocab::{Ask, ControlPort, ControlState, Fact, Mac};

use super::world::{Unit, World, device, ip, mac, secs};
use crate::{Standing, Subject};

fn port(word: &str) -> ControlPort {
    word.parse().unwrap()
}

fn serves(w: &mut World, mac: Mac, ports: &[&str], video: bool) {
    let ports = ports.iter().map(|p| port(p)).collect();
    w.see(Fact::Serves { mac, ports, video });
}

fn onvif(at: &str) -> World {
    let mut d = device("Gallery centre", 25);
    d.control = vec![port("onvif")];
    let mut unit = Unit::good(25);
    unit.ports.insert(port(at), ControlState::Answered);
    World::board(vec![d], vec![unit])
}

fn asked(w: &World, address: &str) -> Vec<ControlPort> {
    let of = |ask: &Ask| match ask {
        Ask::Control { address: a, port, .. } if *a == ip(address) => Some(*port),
        _ => None,
    };
    w.asked.iter().filter_map(|(_, ask)| of(ask)).collect()
}

#[test]
fn onvif_is_asked_where_the_device_says_that_it_is() {
    let mut w = onvif("onvif:2000");
    serves(&mut w, mac(25), &["onvif:2000"], true);
    w.run_to(secs(5.0));
    assert_eq!(asked(&w, "10.40.8.25"), [port("onvif:2000")]);
    assert_eq!(w.standing("Gallery centre"), Standing::Present);
    let control = &w.snapshot().devices[0].control[0];
    assert_eq!(
        (control.port, control.state),
        (port("onvif"), Some(ControlState::Answered))
    );
}

#[test]
fn one_that_says_so_after_it_was_asked_elsewhere_is_asked_again_at_once() {
    let mut w = onvif("onvif:2000");
    w.run_to(secs(2.0));
    assert_eq!(asked(&w, "10.40.8.25"), [port("onvif")]);
    assert_eq!(w.standing("Gallery centre"), Standing::Starting);
    serves(&mut w, mac(25), &["onvif:2000"], true);
    w.run(1.0);
    assert_eq!(asked(&w, "10.40.8.25"), [port("onvif"), port("onvif:2000")]);
    assert_eq!(w.standing("Gallery centre"), Standing::Present);
    let troubled = w.changes.iter().any(|c| {
        matches!(
            &c.subject,
            Subject::Device {
                to: Standing::NoControl,
                ..
            }
        )
    });
    assert!(!troubled);
}

#[test]
fn a_port_that_the_file_names_is_asked_as_it_stands_there() {
    let mut d = device("Gallery centre", 25);
    d.control = vec![port("onvif:8080")];
    let mut unit = Unit::good(25);
    unit.ports.insert(port("onvif:8080"), ControlState::Answered);
    let mut w = World::board(vec![d], vec![unit]);
    serves(&mut w, mac(25), &["onvif:8080", "onvif:2000"], true);
    w.run_to(secs(5.0));
    assert_eq!(asked(&w, "10.40.8.25"), [port("onvif:8080")]);
    assert_eq!(w.standing("Gallery centre"), Standing::Present);
}

/// The contract of asking: a stranger that announced such a service may be a missing device.
#[test]
fn a_stranger_that_announces_video_is_asked_for_a_missing_devices_ports() {
    let missing = || {
        let mut d = device("Organ loft", 21);
        d.control = vec![port("visca-udp")];
        let mut w = World::board(vec![d], vec![Unit::good(90)]);
        w.run_to(secs(5.0));
        assert_eq!(w.standing("Organ loft"), Standing::Missing);
        assert!(asked(&w, "10.40.8.90").is_empty());
        w
    };
    let mut w = missing();
    serves(&mut w, mac(90), &["http"], false);
    w.run(5.0);
    assert!(asked(&w, "10.40.8.90").is_empty(), "a page is no reason");
    serves(&mut w, mac(90), &["rtsp"], true);
    w.run(5.0);
    assert_eq!(asked(&w, "10.40.8.90"), [port("visca-udp")]);
}

#[test]
fn ten_thousand_announced_services_are_bounded() {
    let mut w = onvif("onvif");
    w.run_to(secs(3.0));
    for n in 1..10_000_u16 {
        serves(
            &mut w,
            mac(90),
            &[&format!("http:{n}"), &format!("onvif:{n}")],
            true,
        );
    }
    let host = w
        .ledger
        .hosts
        .get(crate::hosts::claim::HostId::Mac(mac(90)))
        .unwrap();
    assert!(host.serves.len() <= 8, "{}", host.serves.len());
    assert_eq!(w.standing("Gallery centre"), Standing::Present);
}

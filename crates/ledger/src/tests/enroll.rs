//! What an enrolment asks and notes beyond a survey.

use vocab::{Ask, ControlPort, ControlState, Fact};

use super::world::{Unit, World, device, ip, mac, rig, secs, settings};
use crate::{Purpose, Snapshot};

fn port(word: &str) -> ControlPort {
    word.parse().unwrap()
}

/// A look at the wire with one listed device and a stranger at .60 that answers at these ports.
fn look(purpose: Purpose, ports: &[&str]) -> World {
    let mut stranger = Unit::good(60);
    stranger.ports = ports.iter().map(|p| (port(p), ControlState::Answered)).collect();
    let listed = rig(vec![device("Organ loft", 21)]);
    let mut w = World::new(settings(listed, purpose), vec![Unit::good(21), stranger]);
    w.plug();
    w
}

fn asked(w: &World) -> Vec<String> {
    let of = |ask: &Ask| match ask {
        Ask::Control { address, port, .. } if *address == ip("10.40.8.60") => Some(port.to_string()),
        _ => None,
    };
    let mut all: Vec<String> = w.asked.iter().filter_map(|(_, ask)| of(ask)).collect();
    all.sort();
    all
}

fn answered(s: &Snapshot) -> Vec<String> {
    let host = s.unlisted.iter().find(|h| h.mac == Some(mac(60))).unwrap();
    let told = host
        .control
        .iter()
        .filter(|(_, state)| *state == ControlState::Answered);
    told.map(|(port, _)| port.to_string()).collect()
}

#[test]
fn every_port_with_a_usual_place_is_asked_once_and_four_in_a_survey() {
    let mut w = look(Purpose::Enroll, &["visca-tcp", "https"]);
    w.run_to(secs(10.0));
    let usual = [
        "http",
        "https",
        "onvif",
        "rtsp",
        "visca-raw-udp",
        "visca-tcp",
        "visca-udp",
    ];
    assert_eq!(asked(&w), usual);
    assert_eq!(answered(&w.snapshot()), ["visca-tcp", "https"]);
    let mut w = look(Purpose::Survey, &["visca-tcp", "https"]);
    w.run_to(secs(10.0));
    assert_eq!(asked(&w), ["http", "onvif", "rtsp", "visca-udp"]);
}

#[test]
fn it_is_asked_where_it_says_that_it_serves() {
    let serves = |w: &mut World| {
        let ports = ["http:8080", "rtsp", "rtsp:8554"].map(port).to_vec();
        let (mac, video) = (mac(60), true);
        w.see(Fact::Serves { mac, ports, video });
    };
    // Before it is asked at all, and after.
    for first in [true, false] {
        let mut w = look(Purpose::Enroll, &["http:8080"]);
        if first {
            serves(&mut w);
        }
        w.run_to(secs(6.0));
        if !first {
            serves(&mut w);
        }
        w.run(4.0);
        assert_eq!(
            asked(&w).iter().filter(|p| *p == "http:8080").count(),
            1,
            "{first}"
        );
        assert_eq!(asked(&w).iter().filter(|p| *p == "rtsp").count(), 1);
        assert_eq!(answered(&w.snapshot()), ["http:8080"]);
    }
    let mut w = look(Purpose::Survey, &["http:8080"]);
    w.run_to(secs(6.0));
    serves(&mut w);
    w.run(4.0);
    assert!(!asked(&w).contains(&"http:8080".to_owned()), "{:?}", asked(&w));
}

#[test]
fn whom_a_host_calls_is_noted_up_to_a_bound() {
    for (purpose, noted) in [(Purpose::Enroll, 16), (Purpose::Survey, 0)] {
        let mut w = look(purpose, &["http"]);
        w.run_to(secs(6.0));
        for last in 20..60 {
            w.arp(mac(60), mac(60), "10.40.8.60", &format!("10.40.8.{last}"));
        }
        let s = w.snapshot();
        let host = s.unlisted.iter().find(|h| h.mac == Some(mac(60))).unwrap();
        assert_eq!(host.heard.calls.len(), noted, "{purpose:?}");
    }
}

#[test]
fn more_strangers_are_shown_than_in_a_survey() {
    for (purpose, shown) in [(Purpose::Enroll, 601), (Purpose::Survey, 500)] {
        let mut w = look(purpose, &[]);
        w.run_to(secs(6.0));
        for n in 0..600_u16 {
            let [high, low] = n.to_be_bytes();
            let stranger = vocab::Mac::new([2, 0x52, 0x43, 9, high, low]);
            w.announce(stranger, &format!("10.41.{high}.{low}"));
        }
        let s = w.snapshot();
        assert_eq!((s.unlisted.len(), s.unlisted_total), (shown, 601), "{purpose:?}");
    }
}

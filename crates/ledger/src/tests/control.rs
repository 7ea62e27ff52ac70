//! Control ports: when they are asked, and what their answers make of a device.

use std::time::Duration;

use rig::AskWhen;
use vocab::{Ask, ControlState, Fact, Moment};

use super::world::{Unit, World, device, ip, mac, secs, settings};
use crate::hosts::claim::HostId;
use crate::{FindingKind, Purpose, Severity, Standing};

fn world(ask: AskWhen, state: ControlState) -> World {
    let mut d = device("Organ loft", 21);
    d.control = vec!["visca-udp".parse().unwrap(), "http".parse().unwrap()];
    d.ask = ask;
    let mut unit = Unit::good(21);
    unit.ports
        .insert("visca-udp".parse().unwrap(), ControlState::Answered);
    unit.ports.insert("http".parse().unwrap(), state);
    World::board(vec![d], vec![unit])
}

fn dials(w: &World) -> usize {
    w.asked
        .iter()
        .filter(|(_, a)| matches!(a, Ask::Control { .. }))
        .count()
}

/// The page of the one in the organ loft kept silent to what was asked at `asked`.
fn silent_since(asked: Moment) -> Fact {
    Fact::Control {
        address: ip("10.40.8.21"),
        mac: Some(mac(21)),
        port: "http".parse().unwrap(),
        state: ControlState::Silent,
        detail: None,
        asked,
    }
}

#[test]
fn present_when_all_answer_and_asked_once_only() {
    let mut w = world(AskWhen::Once, ControlState::Answered);
    w.run_to(secs(300.0));
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    assert_eq!(dials(&w), 2);
    assert!(
        w.changes
            .iter()
            .all(|c| !matches!(c.subject, crate::Subject::Device { .. }))
    );
}

#[test]
fn first_sweep_ports_get_twenty_seconds() {
    let mut w = world(AskWhen::Once, ControlState::Refused);
    w.run_to(secs(15.0));
    assert_eq!(w.standing("Organ loft"), Standing::Starting);
    assert!(!w.ledger.settled());
    let at = w.run_until(10.0, |w| w.standing("Organ loft") == Standing::NoControl);
    assert!(
        (20.0..21.0).contains(&at.since(secs(0.0)).as_secs_f64()),
        "{at:?}"
    );
    assert_eq!(w.severity(FindingKind::NoControl), Some(Severity::Fault));
    assert!(w.ledger.settled());
    let s = w.snapshot();
    assert_eq!(s.devices[0].control[0].state, Some(ControlState::Answered));
    assert_eq!(s.devices[0].control[1].state, Some(ControlState::Refused));
    assert!(s.headline.contains("won't take control"), "{}", s.headline);
    let before = dials(&w);
    w.run(300.0);
    assert_eq!(dials(&w), before, "once means once");
}

#[test]
fn or_their_boot_time_if_that_is_shorter() {
    let mut w = world(AskWhen::Once, ControlState::Silent);
    let mut d = device("Organ loft", 21);
    d.control = vec!["http".parse().unwrap()];
    d.boot = Duration::from_secs(8);
    let units = w.units.clone();
    w = World::board(vec![d], units);
    let at = w.run_until(12.0, |w| w.standing("Organ loft") == Standing::NoControl);
    assert!((8.0..9.0).contains(&at.since(secs(0.0)).as_secs_f64()), "{at:?}");
}

#[test]
fn a_port_that_comes_up_in_time_is_found() {
    let mut w = world(AskWhen::Once, ControlState::Refused);
    w.run_to(secs(9.0));
    w.units[0]
        .ports
        .insert("http".parse().unwrap(), ControlState::Answered);
    w.run(6.0);
    assert_eq!(w.standing("Organ loft"), Standing::Present);
}

#[test]
fn on_request_it_is_asked_again() {
    let mut w = world(AskWhen::Once, ControlState::Refused);
    w.run_to(secs(30.0));
    assert_eq!(w.standing("Organ loft"), Standing::NoControl);
    w.units[0]
        .ports
        .insert("http".parse().unwrap(), ControlState::Answered);
    let now = w.now;
    assert!(w.ledger.ask_control(now, "Organ loft"));
    assert!(!w.ledger.ask_control(now, "Nobody"));
    w.run(1.0);
    assert_eq!(w.standing("Organ loft"), Standing::Present);
}

#[test]
fn watched_ports_are_asked_every_minute() {
    let mut w = world(AskWhen::Watch, ControlState::Answered);
    w.run_to(secs(10.0));
    w.units[0]
        .ports
        .insert("http".parse().unwrap(), ControlState::Silent);
    w.run_until(70.0, |w| w.standing("Organ loft") == Standing::NoControl);
    assert_eq!(w.course("Organ loft"), [Standing::NoControl]);
    w.units[0]
        .ports
        .insert("http".parse().unwrap(), ControlState::Answered);
    w.run_until(70.0, |w| w.standing("Organ loft") == Standing::Present);
}

#[test]
fn never_means_never_and_the_headline_says_so() {
    let mut w = world(AskWhen::Never, ControlState::Refused);
    w.run_to(secs(60.0));
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    assert_eq!(dials(&w), 0);
    let now = w.now;
    assert!(!w.ledger.ask_control(now, "Organ loft"));
    let s = w.snapshot();
    assert!(s.devices[0].control.iter().all(|c| c.state.is_none()));
    assert!(s.headline.contains("Control ports not asked."), "{}", s.headline);
}

#[test]
fn where_there_is_no_way_nothing_is_held_against_the_device() {
    let mut w = world(AskWhen::Once, ControlState::Refused);
    w.dials = false;
    w.run_to(secs(5.0));
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    assert!(w.snapshot().headline.contains("Control ports not asked."));
}

#[test]
fn nobody_else_is_dialled_in_its_place() {
    let mut d = device("Organ loft", 21);
    d.control = vec!["http".parse().unwrap()];
    for units in [
        vec![Unit::new(99, "10.40.8.21")],
        vec![Unit::new(21, "10.40.8.80")],
    ] {
        let mut w = World::board(vec![d.clone()], units);
        w.run_to(secs(30.0));
        assert_eq!(dials(&w), 0);
        assert_eq!(w.snapshot().devices[0].control[0].state, None);
    }
}

#[test]
fn strangers_are_dialled_in_a_survey_only() {
    for (purpose, expected) in [(Purpose::Board, 0), (Purpose::Check, 0), (Purpose::Survey, 4)] {
        let rig = super::world::rig(vec![device("Organ loft", 21)]);
        let mut stranger = Unit::new(99, "10.40.8.99");
        stranger
            .ports
            .insert("http".parse().unwrap(), ControlState::Answered);
        let mut w = World::new(settings(rig, purpose), vec![Unit::good(21), stranger]);
        w.plug();
        w.run_to(secs(20.0));
        assert_eq!(dials(&w), expected, "{purpose:?}");
        let told = &w.snapshot().unlisted[0].control;
        assert_eq!(told.len(), expected);
        if expected > 0 {
            assert!(told.contains(&("http".parse().unwrap(), ControlState::Answered)));
        }
    }
}

#[test]
fn a_port_that_falls_silent_with_its_device_says_nothing() {
    for goes in [true, false] {
        let mut w = world(AskWhen::Watch, ControlState::Answered);
        w.run_to(secs(30.0));
        w.units[0].on = !goes;
        w.units[0]
            .ports
            .insert("http".parse().unwrap(), ControlState::Silent);
        w.run(0.01);
        w.see(silent_since(w.now));
        assert_eq!(
            w.standing("Organ loft"),
            Standing::Present,
            "it may just be going"
        );
        w.run(5.0);
        let then = if goes {
            Standing::Missing
        } else {
            Standing::NoControl
        };
        assert_eq!(w.course("Organ loft"), [then]);
    }
    // One that was away for a moment only is asked anew.
    let mut w = world(AskWhen::Once, ControlState::Answered);
    w.run_to(secs(30.0));
    w.units[0].on = false;
    w.run(0.01);
    w.see(silent_since(w.now));
    w.run(1.1);
    w.units[0].on = true;
    w.run(60.0);
    assert_eq!(w.standing("Organ loft"), Standing::Present);
    assert!(w.course("Organ loft").is_empty(), "{:?}", w.course("Organ loft"));
}

#[test]
fn a_port_that_refused_takes_nothing_back_by_falling_silent_with_its_device() {
    let mut w = world(AskWhen::Once, ControlState::Refused);
    w.run_to(secs(40.0));
    assert_eq!(w.standing("Organ loft"), Standing::NoControl);
    w.units[0].on = false;
    w.run(0.01);
    w.see(silent_since(w.now));
    w.run(10.0);
    assert_eq!(w.course("Organ loft"), [Standing::NoControl, Standing::Missing]);
}

#[test]
fn a_port_that_answered_is_asked_twice_before_its_silence_counts() {
    let mut w = world(AskWhen::Watch, ControlState::Answered);
    w.run_to(secs(30.0));
    let before = dials(&w);
    // All three tries of one question were lost.
    w.see(silent_since(w.now));
    w.run(5.0);
    assert_eq!(dials(&w), before + 1, "asked again at once");
    assert!(w.course("Organ loft").is_empty(), "{:?}", w.course("Organ loft"));
    w.units[0]
        .ports
        .insert("http".parse().unwrap(), ControlState::Silent);
    w.see(silent_since(w.now));
    w.run(5.0);
    assert_eq!(w.course("Organ loft"), [Standing::NoControl]);
}

/// What was asked of a port while its unit was at another address, and is told to be silent when it is back.
#[test]
fn a_port_that_was_asked_while_its_device_was_elsewhere_says_nothing() {
    for says_so in [true, false] {
        let mut w = world(AskWhen::Once, ControlState::Answered);
        w.run_to(secs(30.0));
        let before = dials(&w);
        let asked = w.now;
        w.units[0].addresses = vec![ip("10.40.8.121")];
        if says_so {
            w.announce(mac(21), "10.40.8.121");
            w.run(0.1);
        } else {
            let asked_in_vain = |w: &World| {
                let claim = w.ledger.hosts.get(HostId::Mac(mac(21))).unwrap();
                claim.claim(ip("10.40.8.21")).unwrap().misses.any()
            };
            w.run_until(3.0, asked_in_vain);
        }
        w.units[0].addresses = vec![ip("10.40.8.21")];
        w.announce(mac(21), "10.40.8.21");
        w.run(0.3);
        for _ in 0..2 {
            w.see(silent_since(asked));
        }
        w.run(20.0);
        assert_eq!(w.standing("Organ loft"), Standing::Present, "{says_so}");
        assert!(w.course("Organ loft").is_empty(), "{:?}", w.course("Organ loft"));
        assert!(dials(&w) > before, "asked anew");
    }
}

/// While another holds its address, too, nothing is asked there.
#[test]
fn ports_that_refused_are_asked_anew_after_a_clash() {
    let mut w = world(AskWhen::Once, ControlState::Refused);
    w.run_to(secs(30.0));
    assert_eq!(w.standing("Organ loft"), Standing::NoControl);
    w.units.push(Unit::new(99, "10.40.8.21"));
    w.run(10.0);
    assert_eq!(w.standing("Organ loft"), Standing::Conflict);
    let before = dials(&w);
    w.units[0]
        .ports
        .insert("http".parse().unwrap(), ControlState::Answered);
    w.run(10.0);
    assert_eq!(dials(&w), before);
    w.units.pop();
    w.run(20.0);
    let course = [
        Standing::NoControl,
        Standing::Conflict,
        Standing::Starting,
        Standing::Present,
    ];
    assert_eq!(w.course("Organ loft"), course);
}

//! The cable check as a whole: begun on request, bounded, ended by whatever ends it, and put into words.

use std::time::Duration;

use rig::SwitchPort;
use vocab::{Ask, Fact, FrameSize, LinkState, Mode, Pace, Trial};

use super::world::{Unit, World, device, mac, rig, secs, settings};
use crate::{CableView, Change, NoCheck, Purpose, Subject};

/// Two devices on S1, one somewhere else, with the link up for a while.
fn world(units: Vec<Unit>, change: impl Fn(&mut rig::Rig)) -> World {
    let mut devices = vec![
        device("Organ loft", 21),
        device("West door", 22),
        device("Desk panel", 60),
    ];
    for (n, device) in (3..).zip(&mut devices[..2]) {
        device.port = Some(SwitchPort {
            switch: "S1".to_owned(),
            port: n,
        });
    }
    let mut rig = rig(devices);
    change(&mut rig);
    let mut w = World::new(settings(rig, Purpose::Board), units);
    w.plug();
    w.run_to(secs(5.0));
    w
}

fn sound() -> Vec<Unit> {
    vec![Unit::good(21), Unit::good(22), Unit::good(60)]
}

/// A unit whose cable lets this pass.
fn with(n: u8, passes: fn(FrameSize, u32) -> bool) -> Unit {
    Unit {
        passes,
        ..Unit::good(n)
    }
}

fn trials(w: &World) -> Vec<Trial> {
    let of = |(_, ask): &(_, Ask)| match ask {
        Ask::Trial { trial, .. } => Some(*trial),
        _ => None,
    };
    w.asked.iter().filter_map(of).collect()
}

fn cable(w: &World) -> CableView {
    w.snapshot().cable.expect("a check")
}

/// Checks the cable of a device to its end.
fn check(w: &mut World, device: &str) -> CableView {
    let now = w.now;
    assert!(w.ledger.check_cable(now, device), "{device} cannot be checked");
    w.run_until(100.0, |w| !w.ledger.is_checking());
    let view = cable(w);
    assert!(!view.running() && !view.said.is_empty() && !view.advice.is_empty());
    assert_eq!(view.device, device);
    view
}

/// What was put on record of checks.
fn record(w: &World) -> Vec<&Change> {
    let is = |c: &&Change| matches!(c.subject, Subject::Cable { .. });
    w.changes.iter().filter(is).collect()
}

#[test]
fn a_sound_cable_passes_everything_and_is_put_on_record_once() {
    let mut w = world(sound(), |_| {});
    let view = check(&mut w, "Organ loft");
    assert_eq!(view.port.as_deref(), Some("S1/3"));
    assert_eq!(
        view.said,
        "All 500 frames came back whole: no size loses more than 5.2 %."
    );
    assert_eq!(trials(&w).len(), 500);
    assert!(w.now < secs(16.5), "{:?}", w.now);
    w.run(30.0);
    assert_eq!(trials(&w).len(), 500, "and then nothing more");
    let told = record(&w);
    let [change] = told.as_slice() else {
        panic!("{told:?}");
    };
    assert!(!change.worse && !change.folded);
    assert_eq!(
        change.subject,
        Subject::Cable {
            device: "Organ loft".to_owned(),
            mac: Some(mac(21)),
            address: "10.40.8.21".parse().unwrap(),
        }
    );
    assert!(
        change
            .text
            .starts_with("Cable check of Organ loft (S1/3): All 500 frames"),
        "{}",
        change.text
    );
    assert_eq!(
        change.basis,
        "lost of sent: 64 B 0/100, 256 B 0/100, 512 B 0/100, 1024 B 0/100, 1518 B 0/100; 64 B in 0.70 ms, jitter 0.00 \
         ms; 1518 B in 0.70 ms, jitter 0.00 ms"
    );
}

#[test]
fn a_damaged_cable_is_told_with_its_place() {
    // One full-size frame in three, of 1,024 bytes one in six.
    let damaged = |size, number: u32| match size {
        FrameSize::Full => !number.is_multiple_of(3),
        FrameSize::Large => !number.is_multiple_of(6),
        _ => true,
    };
    let mut w = world(vec![with(21, damaged), Unit::good(22), Unit::good(60)], |rig| {
        rig.devices[0].cable_m = Some(95.0);
    });
    let view = check(&mut w, "Organ loft");
    assert!(
        view.said.starts_with(
            "Small frames pass, full-size ones do not: lost were 0 of 200 up to 256 bytes, and 3"
        ),
        "{}",
        view.said
    );
    assert!(view.said.contains("95 m long: 90 m is the most"), "{}", view.said);
    assert!(
        view.advice.contains("cable and duplex of S1/3"),
        "{}",
        view.advice
    );
    assert!(view.advice.contains("second device on S1"), "{}", view.advice);
    // When another one on the same switch was fine, it is not asked for again.
    check(&mut w, "West door");
    let view = check(&mut w, "Organ loft");
    assert!(
        view.advice
            .starts_with("West door on the same switch lost nothing: put another cable into S1/3"),
        "{}",
        view.advice
    );
}

#[test]
fn the_same_at_two_devices_is_what_both_share() {
    let damaged = |size, number: u32| size != FrameSize::Full || !number.is_multiple_of(2);
    let mut w = world(vec![with(21, damaged), with(22, damaged), Unit::good(60)], |_| {});
    check(&mut w, "Organ loft");
    let view = check(&mut w, "West door");
    let said = |w: &World, n: usize| w.snapshot().devices[n].checked.clone().map(|(_, said)| said);
    assert_eq!(said(&w, 1), Some(view.said), "each device has its own");
    assert!(said(&w, 0).is_some() && said(&w, 2).is_none());
    assert!(
        view.advice.starts_with("It was the same with Organ loft"),
        "{}",
        view.advice
    );
    // A while later that is old news.
    w.run(2_000.0);
    let view = check(&mut w, "Organ loft");
    assert!(!view.advice.contains("the same with"), "{}", view.advice);
}

#[test]
fn a_limit_on_large_echoes_accuses_no_cable() {
    let limited = |size, _| size < FrameSize::Large;
    let mut w = world(vec![with(21, limited), Unit::good(22), Unit::good(60)], |_| {});
    let view = check(&mut w, "Organ loft");
    assert!(
        view.said
            .starts_with("Cannot tell: no frame of 1,024 bytes or more came back"),
        "{}",
        view.said
    );
    assert!(
        view.advice.starts_with("Check a second device on S1"),
        "{}",
        view.advice
    );
    check(&mut w, "West door");
    let view = check(&mut w, "Organ loft");
    assert!(
        view.advice
            .starts_with("Large frames to West door on the same switch do pass"),
        "{}",
        view.advice
    );
}

#[test]
fn who_answers_no_echo_gets_five_and_no_more() {
    let deaf = Unit {
        echo: false,
        ..Unit::good(21)
    };
    let mut w = world(vec![deaf], |_| {});
    let view = check(&mut w, "Organ loft");
    assert!(
        view.said.contains("answered none of 5 small echoes"),
        "{}",
        view.said
    );
    assert_eq!(trials(&w).len(), 5);
}

#[test]
fn at_a_slow_pace_fewer_frames_go_out_over_a_longer_time() {
    let mut w = world(sound(), |rig| rig.network.pace = Pace::House);
    let began = w.now;
    let view = check(&mut w, "Organ loft");
    assert_eq!(trials(&w).len(), 300);
    assert!(w.now.since(began) <= Duration::from_secs(63));
    assert!(view.said.contains("All 300 frames"), "{}", view.said);
}

#[test]
fn at_a_pace_that_leaves_too_few_frames_it_is_not_offered() {
    for (pace, offered) in [(3, false), (4, true)] {
        let w = world(sound(), |rig| {
            rig.network.pace = Pace::PerSecond(pace.try_into().unwrap());
        });
        let offer = w.snapshot().devices[0].cable;
        assert_eq!(offer.is_ok(), offered, "{pace}: {offer:?}");
        assert!(offered || offer == Err(NoCheck::TooSlow));
    }
}

/// Begins a check, lets it run for three seconds, does something, and says what it then says.
fn cut_short(act: impl Fn(&mut World)) -> CableView {
    let mut w = world(sound(), |_| {});
    let now = w.now;
    assert!(w.ledger.check_cable(now, "Organ loft"));
    w.run(3.0);
    assert!(cable(&w).running());
    act(&mut w);
    w.run_until(12.0, |w| !w.ledger.is_checking());
    let sent = trials(&w).len();
    w.run(5.0);
    assert_eq!(trials(&w).len(), sent, "it is over");
    let view = cable(&w);
    assert_eq!(record(&w).len(), 1);
    view
}

#[test]
fn whatever_ends_it_is_said() {
    for (why, act) in [
        (
            "Not all was sent: it was ended.",
            (|w| {
                let now = w.now;
                w.ledger.stop_cable_check(now);
            }) as fn(&mut World),
        ),
        ("Not all was sent: Organ loft was gone.", |w| {
            w.units[0].on = false;
        }),
        ("less is to be sent now", |w| w.listen_only(true)),
        ("less is to be sent now", |w| w.see(Fact::WatchOnly(true))),
        ("was interrupted", |w| {
            w.station.state = LinkState::NoCarrier;
            w.plug();
        }),
        ("was interrupted", |w| {
            w.see(Fact::Gap(vocab::Gap::Slept(Duration::from_secs(9))));
        }),
    ] {
        let view = cut_short(act);
        assert!(view.said.contains(why), "{why}: {}", view.said);
        assert!(view.sent() < 500, "{why}");
        assert!(
            view.said.starts_with("All 1"),
            "what could not come back is no loss: {}",
            view.said
        );
    }
}

#[test]
fn one_at_a_time_and_only_where_it_can_be() {
    let mut w = world(vec![Unit::good(21), Unit::good(22)], |_| {});
    let now = w.now;
    assert!(!w.ledger.check_cable(now, "Nobody"));
    assert!(!w.ledger.check_cable(now, "Desk panel"), "it is not there");
    let offer = |w: &World, n: usize| w.snapshot().devices[n].cable;
    assert_eq!(offer(&w, 2), Err(NoCheck::NotHere));
    assert_eq!(offer(&w, 0).map(|o| o.frames()), Ok(500));
    assert!(w.ledger.check_cable(now, "Organ loft"));
    assert!(!w.ledger.check_cable(now, "West door"));
    w.ledger.stop_cable_check(now);
    assert!(w.ledger.check_cable(now, "West door"));
    w.ledger.stop_cable_check(now);
    w.see(Fact::WatchOnly(true));
    assert!(!w.ledger.check_cable(now, "West door"), "the level forbids it");
    w.see(Fact::WatchOnly(false));
    w.listen_only(true);
    assert!(!w.ledger.check_cable(now, "West door"), "the level forbids it");
}

#[test]
fn nobody_is_checked_behind_a_router_nor_this_computer() {
    let mut routed = rig(vec![device("Organ loft", 21)]);
    routed.network.reach = rig::Reach::Routed;
    let mut w = World::new(settings(routed, Purpose::Board), vec![Unit::good(21)]);
    w.station.mode = Mode::Routed;
    w.plug();
    w.run(5.0);
    assert_eq!(w.snapshot().devices[0].cable, Err(NoCheck::Routed));
    let now = w.now;
    assert!(!w.ledger.check_cable(now, "Organ loft"));
    let mut own = World::board(vec![device("Desk laptop", 250)], vec![]);
    own.run(5.0);
    assert_eq!(own.snapshot().devices[0].cable, Err(NoCheck::Ours));
}

/// The numbers of the echoes go on from one check to the next, so that a late answer to an earlier
/// one is none to the next.
#[test]
fn no_number_comes_twice() {
    let mut w = world(sound(), |_| {});
    check(&mut w, "Organ loft");
    check(&mut w, "Organ loft");
    let mut numbers: Vec<u32> = trials(&w).iter().map(|t| t.number).collect();
    assert_eq!(numbers.len(), 1_000);
    numbers.sort_unstable();
    numbers.dedup();
    assert_eq!(numbers.len(), 1_000);
}

//! The start ladder: what its steps mean, when a start begins, and when it is complete.

use std::collections::BTreeMap;
use std::time::Duration;

use proptest::prelude::*;
use rig::AddressSpec;
use vocab::{ControlState, Fact, LinkState, Moment};

use super::world::{Unit, World, device, mac, secs};
use crate::{Change, Course, Opening, Standing, Start, StartView, Subject, Usual};

const LOFT: &str = "Organ loft";

fn unit(states: [ControlState; 2]) -> Unit {
    let mut unit = Unit::good(21);
    for (word, state) in ["visca-udp", "http"].into_iter().zip(states) {
        unit.ports.insert(word.parse().unwrap(), state);
    }
    unit
}

const UP: [ControlState; 2] = [ControlState::Answered; 2];
const DOWN: [ControlState; 2] = [ControlState::Refused; 2];

/// The organ loft's camera with two control ports, and its unit if it is on.
fn world(units: Vec<Unit>) -> World {
    let mut d = device(LOFT, 21);
    d.control = vec!["visca-udp".parse().unwrap(), "http".parse().unwrap()];
    let mut w = World::board(vec![d], units);
    w.run_to(secs(5.0));
    w
}

fn view(w: &World) -> StartView {
    w.snapshot().devices[0].start.clone().unwrap()
}

fn complete(w: &World) -> Vec<(&Change, &Start)> {
    let of = |c: &'_ Change| matches!(c.subject, Subject::Start(_));
    let starts = w.changes.iter().filter(|c| of(c));
    starts
        .filter_map(|c| match &c.subject {
            Subject::Start(start) => Some((c, start.as_ref())),
            _ => None,
        })
        .collect()
}

fn near(d: Option<Duration>, s: f64) -> bool {
    d.is_some_and(|d| (s - 0.05..s + 0.2).contains(&d.as_secs_f64()))
}

#[test]
fn every_step_has_its_time_from_the_first_frame() {
    let mut w = world(vec![]);
    assert!(w.snapshot().devices[0].start.is_none());
    // Its network card speaks before its system asks for the address.
    let first = w.now;
    w.see(Fact::Ipv6 {
        mac: mac(21),
        address: "fe80::15".parse().unwrap(),
        source: vocab::Ipv6Source::Neighbour,
    });
    w.run(3.0);
    w.probe(mac(21), "10.40.8.21");
    w.run(2.0);
    assert_eq!(view(&w).course, Course::Running);
    assert_eq!(view(&w).start.steps(), (0, 4));
    w.units
        .push(unit([ControlState::Refused, ControlState::Answered]));
    w.announce(mac(21), "10.40.8.21");
    w.run(10.0);
    assert_eq!(view(&w).start.steps(), (3, 4));
    assert!(complete(&w).is_empty());
    w.units[0] = unit(UP);
    w.run(4.0);
    let v = view(&w);
    assert_eq!(
        (v.course, v.start.opening),
        (Course::Complete, Opening::FirstFrame)
    );
    assert_eq!(v.start.first, first);
    assert!(near(v.start.settled, 5.0), "{v:?}");
    assert!(near(v.start.echo, 5.0), "{v:?}");
    assert!(near(v.start.ports[1].1, 5.0), "{v:?}");
    let last = v.start.ports[0].1.unwrap();
    assert!(
        (15.0..17.1).contains(&last.as_secs_f64()),
        "asked every 2 s: {last:?}"
    );
    assert_eq!(v.start.done, Some(last));
    let all = complete(&w);
    let [(change, start)] = all.as_slice() else {
        panic!("{all:?}")
    };
    assert_eq!(**start, v.start);
    assert_eq!(change.at, first + last);
    let text = format!("Organ loft took {} s to start.", last.as_secs());
    assert_eq!((change.worse, &change.text), (false, &text));
    assert!(
        change
            .basis
            .starts_with("address after 5.0 s, echo 5.0 s, visca-udp 1"),
        "{}",
        change.basis
    );
}

#[test]
fn a_device_that_was_there_at_first_did_not_start() {
    let mut w = world(vec![unit(UP)]);
    w.run(60.0);
    assert_eq!(w.standing(LOFT), Standing::Present);
    assert!(w.snapshot().devices[0].start.is_none() && complete(&w).is_empty());
}

#[test]
fn who_only_answers_was_not_seen_from_the_first_frame() {
    let mut w = world(vec![]);
    w.units.push(unit(UP));
    w.run(10.0);
    let v = view(&w);
    assert_eq!((v.course, v.start.opening), (Course::Complete, Opening::Answer));
    assert_eq!(v.start.settled, Some(Duration::ZERO));
}

#[test]
fn a_quick_restart_is_a_start_and_what_answered_before_is_no_step_of_it() {
    let mut w = world(vec![unit(UP)]);
    w.units[0].on = false;
    w.run(0.5);
    let first = w.now;
    w.probe(mac(21), "10.40.8.21");
    w.run(6.0);
    assert_eq!(view(&w).start.steps(), (0, 4));
    w.units[0].on = true;
    w.announce(mac(21), "10.40.8.21");
    w.run(3.0);
    let v = view(&w);
    assert_eq!((v.course, v.start.first), (Course::Complete, first));
    assert!(near(v.start.settled, 6.0), "{v:?}");
    // More signs of the same start begin no other.
    w.probe(mac(21), "10.40.8.21");
    w.run(20.0);
    assert_eq!(complete(&w).len(), 1);
}

#[test]
fn one_that_answers_no_echo_starts_without_that_step() {
    let mut w = world(vec![]);
    let mut deaf = unit(UP);
    deaf.echo = false;
    w.units.push(deaf);
    w.announce(mac(21), "10.40.8.21");
    w.run(1.0);
    assert_eq!(view(&w).course, Course::Running, "the echo is still asked for");
    w.run(6.0);
    let v = view(&w);
    assert_eq!((v.course, v.start.echo), (Course::Complete, None));
    assert!(
        near(v.start.done, 0.0),
        "waiting for the echo is no part of it: {v:?}"
    );
}

#[test]
fn without_control_ports_an_address_and_an_echo_are_a_start() {
    let mut w = World::board(vec![device(LOFT, 21)], vec![]);
    w.run_to(secs(5.0));
    w.units.push(Unit::good(21));
    w.announce(mac(21), "10.40.8.21");
    w.run(1.0);
    let v = view(&w);
    assert_eq!((v.course, v.start.steps()), (Course::Complete, (2, 2)));
}

#[test]
fn past_its_boot_time_it_is_late_and_still_completes() {
    let mut w = world(vec![]);
    w.units.push(unit(DOWN));
    w.announce(mac(21), "10.40.8.21");
    w.run(74.0);
    assert!(!view(&w).late());
    w.run(6.0);
    assert!(view(&w).late());
    assert_eq!(w.standing(LOFT), Standing::NoControl);
    w.units[0] = unit(UP);
    w.run(4.0);
    assert_eq!(w.standing(LOFT), Standing::Present);
    assert!(view(&w).late(), "as it was");
    let all = complete(&w);
    assert!(
        all[0].0.text.ends_with(" to start; 75 s are allowed."),
        "{}",
        all[0].0.text
    );
}

#[test]
fn what_is_usual_says_when_it_is_late() {
    let usual = |count, median, p90| Usual {
        count,
        median: Duration::from_secs(median),
        p90: Duration::from_secs(p90),
    };
    assert_eq!(usual(3, 52, 60).spread(), Duration::from_secs(8));
    assert_eq!(usual(3, 20, 20).spread(), Duration::from_secs(5), "never less");
    assert_eq!(usual(3, 90, 91).spread(), Duration::from_secs(9), "a tenth");
    let mut w = world(vec![]);
    assert!(w.ledger.set_usual(LOFT, usual(2, 2, 2)));
    assert!(!w.ledger.set_usual("Nobody", usual(2, 2, 2)));
    w.units.push(unit(DOWN));
    w.announce(mac(21), "10.40.8.21");
    assert_eq!(
        view(&w).allowed,
        Duration::from_secs(75),
        "two starts tell nothing"
    );
    assert_eq!(view(&w).usual, None);
    w.ledger.set_usual(LOFT, usual(3, 10, 12));
    assert_eq!(view(&w).allowed, Duration::from_secs(15));
    w.run(14.0);
    assert!(!view(&w).late());
    w.run(2.0);
    assert!(view(&w).late());
    w.units[0] = unit(UP);
    w.run(4.0);
    let all = complete(&w);
    assert!(
        all[0].0.text.ends_with(" s to start; usually 10 s."),
        "{}",
        all[0].0.text
    );
}

#[test]
fn one_that_goes_again_or_never_takes_control_has_not_started() {
    let mut w = world(vec![]);
    w.units.push(unit(DOWN));
    w.announce(mac(21), "10.40.8.21");
    w.run(20.0);
    w.units.clear();
    w.run(80.0);
    assert_eq!(w.standing(LOFT), Standing::Missing);
    assert_eq!(view(&w).course, Course::Broken);
    let took = view(&w).took();
    assert!(took < Duration::from_secs(80), "the watch stands still: {took:?}");
    w.units.push(unit(DOWN));
    w.run(224.0);
    assert_eq!(view(&w).course, Course::Running);
    w.run(5.0);
    assert_eq!(view(&w).course, Course::Broken, "three times its boot time");
    w.units[0] = unit(UP);
    w.run(60.0);
    assert!(complete(&w).is_empty());
}

#[test]
fn seeking_an_address_for_long_is_one_start() {
    let mut d = device(LOFT, 21);
    d.address = AddressSpec::Dhcp;
    let mut w = World::board(vec![d], vec![]);
    w.run_to(secs(5.0));
    let first = w.now;
    // RFC 2131 section 4.1: after 4, 8, 16, 32 and 64 s.
    for wait in [4.0, 8.0, 16.0, 32.0, 64.0] {
        w.discover(mac(21));
        w.run(wait);
    }
    w.discover(mac(21));
    w.units.push(Unit::new(21, "10.40.8.120"));
    w.announce(mac(21), "10.40.8.120");
    w.run(3.0);
    let v = view(&w);
    assert_eq!((v.course, v.start.first), (Course::Complete, first));
    assert!(near(v.start.settled, 124.0), "{v:?}");
    w.run(120.0);
    // A sign of starting after it has settled is another start.
    let again = w.now;
    w.discover(mac(21));
    w.run(3.0);
    assert_eq!(view(&w).start.first, again);
}

#[test]
fn a_gap_of_our_own_link_ends_what_was_seen_of_a_start() {
    let mut w = world(vec![]);
    w.units.push(unit(DOWN));
    w.announce(mac(21), "10.40.8.21");
    w.run(5.0);
    w.station.state = LinkState::NoCarrier;
    w.plug();
    assert_eq!(view(&w).course, Course::Broken);
    w.run(5.0);
    w.station.state = LinkState::Up;
    w.plug();
    w.units[0] = unit(UP);
    w.run(20.0);
    assert_eq!(w.standing(LOFT), Standing::Present);
    assert!(complete(&w).is_empty());
}

/// What happens next in a random course.
#[derive(Debug, Clone, Copy)]
enum Turn {
    On(bool),
    Probe,
    Announce,
    Discover,
    Ports([u8; 2]),
    Echo(bool),
    Link(bool),
}

fn turn() -> impl Strategy<Value = (Turn, u16)> {
    let turn = prop_oneof![
        4 => any::<bool>().prop_map(Turn::On),
        3 => Just(Turn::Probe),
        3 => Just(Turn::Announce),
        1 => Just(Turn::Discover),
        4 => [0_u8..3, 0_u8..3].prop_map(Turn::Ports),
        1 => any::<bool>().prop_map(Turn::Echo),
        1 => prop::bool::weighted(0.7).prop_map(Turn::Link),
    ];
    (turn, 1_u16..300)
}

/// What was seen of the starts of one device in a course.
#[derive(Default)]
struct Witness {
    /// By its first frame, the fullest that was seen.
    seen: BTreeMap<Moment, StartView>,
}

impl Witness {
    fn look(&mut self, now: Moment, view: StartView) {
        let s = &view.start;
        assert!(s.first <= now);
        let times = [s.settled, s.echo]
            .into_iter()
            .chain(s.ports.iter().map(|(_, t)| *t));
        let times: Vec<Option<Duration>> = times.collect();
        assert!(
            times.iter().flatten().all(|t| s.first + *t <= now),
            "{view:?} at {now:?}"
        );
        assert_eq!(s.done.is_some(), view.course == Course::Complete);
        if let Some(done) = s.done {
            assert_eq!(Some(done), times.iter().flatten().max().copied());
            assert!(s.settled.is_some() && s.ports.iter().all(|(_, t)| t.is_some()));
        }
        if let Some(before) = self.seen.get(&s.first) {
            let b = &before.start;
            let old = [b.settled, b.echo]
                .into_iter()
                .chain(b.ports.iter().map(|(_, t)| *t));
            for (old, new) in old.zip(&times) {
                assert!(old.is_none() || old == *new, "{before:?} became {view:?}");
            }
            assert!(before.course == Course::Running || before.course == view.course);
        } else {
            let latest = self.seen.last_key_value();
            assert!(
                latest.is_none_or(|(first, _)| *first < s.first),
                "a start in the past"
            );
        }
        self.seen.insert(s.first, view);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, ..ProptestConfig::default() })]
    #[test]
    fn of_any_course_every_complete_start_is_told_once(turns in prop::collection::vec(turn(), 1..25)) {
        let mut w = world(vec![unit(UP)]);
        let mut witness = Witness::default();
        for (turn, wait) in turns {
            let said = "10.40.8.21";
            match turn {
                Turn::On(on) => w.units[0].on = on,
                Turn::Probe => w.probe(mac(21), said),
                Turn::Announce => w.announce(mac(21), said),
                Turn::Discover => w.discover(mac(21)),
                Turn::Ports(states) => {
                    let all = [ControlState::Answered, ControlState::Refused, ControlState::Silent];
                    w.units[0].ports = unit(states.map(|s| all[usize::from(s)])).ports;
                }
                Turn::Echo(echo) => w.units[0].echo = echo,
                Turn::Link(up) => {
                    w.station.state = if up { LinkState::Up } else { LinkState::NoCarrier };
                    w.plug();
                }
            }
            for _ in 0..=wait.div_ceil(5) {
                if let Some(view) = w.snapshot().devices[0].start.clone() {
                    witness.look(w.now, view);
                }
                w.run(0.5);
                if let Some(view) = w.snapshot().devices[0].start.clone() {
                    witness.look(w.now, view);
                }
            }
        }
        let told: Vec<Moment> = complete(&w).iter().map(|(_, s)| s.first).collect();
        let seen = witness.seen.iter().filter(|(_, v)| v.course == Course::Complete);
        let seen: Vec<Moment> = seen.map(|(first, _)| *first).collect();
        prop_assert_eq!(told, seen);
        for (change, start) in complete(&w) {
            prop_assert!(start.done.is_some_and(|d| start.first + d <= change.at));
        }
    }
}

//! Looking anew after a gap in our own sight.

use std::time::Duration;

use vocab::{Fact, Gap, LinkState};

use super::world::{Unit, World, device, mac, secs};
use crate::{Change, Standing, Subject};

const NAMES: [&str; 3] = ["Organ loft", "West door", "Stage left"];

fn world() -> World {
    let devices = (21..).zip(NAMES).map(|(n, name)| device(name, n)).collect();
    let mut w = World::board(devices, (21..24).map(Unit::good).collect());
    w.run_to(secs(20.0));
    assert!(w.ledger.ready());
    w
}

fn since(w: &World, at: f64) -> Vec<&Change> {
    w.changes.iter().filter(|c| c.at >= secs(at)).collect()
}

fn texts(w: &World) -> Vec<String> {
    let anew = |c: &&Change| c.subject == Subject::Anew;
    w.changes.iter().filter(anew).map(|c| c.text.clone()).collect()
}

#[test]
fn after_a_gap_all_is_asked_anew_and_told_in_one_line() {
    for (gap, words) in [
        (
            Gap::Slept(Duration::from_mins(41)),
            "This computer slept for 41 min: looking anew.",
        ),
        (
            Gap::Stood(Duration::from_secs(25)),
            "This program stood still for 25 s: looking anew.",
        ),
    ] {
        let mut w = world();
        w.see(Fact::Gap(gap));
        assert_eq!(w.snapshot().counts.of(Standing::Unknown), 3);
        assert!(!w.ledger.ready());
        w.run_until(2.0, |w| w.snapshot().counts.of(Standing::Present) == 3);
        w.run_until(8.0, |w| w.ledger.ready());
        assert_eq!(texts(&w), [words]);
        let worse = since(&w, 20.0)
            .into_iter()
            .filter(|c| c.worse && !matches!(c.subject, Subject::Ready(_)));
        assert_eq!(worse.count(), 0, "{:?}", w.changes);
    }
}

#[test]
fn a_network_that_takes_its_time_after_the_sleep_makes_nobody_missing() {
    let mut w = world();
    w.passes = false;
    w.plug();
    let units = std::mem::take(&mut w.units);
    w.see(Fact::Gap(Gap::Slept(Duration::from_hours(3))));
    // The card says that it carries, and nothing comes through for half a minute.
    w.run(30.0);
    assert_eq!(w.snapshot().counts.of(Standing::Missing), 0);
    w.units = units;
    w.run_until(8.0, |w| w.ledger.ready());
    assert_eq!(w.snapshot().counts.of(Standing::Present), 3);
}

#[test]
fn a_device_that_only_its_address_tells_is_watched_after_a_gap_as_before() {
    let mut devices: Vec<_> = (21..).zip(NAMES).map(|(n, name)| device(name, n)).collect();
    devices[1].macs.clear();
    let mut w = World::board(devices, (21..24).map(Unit::good).collect());
    w.run_to(secs(20.0));
    w.see(Fact::Gap(Gap::Slept(Duration::from_mins(41))));
    w.run_until(8.0, |w| w.ledger.ready());
    w.units.remove(1);
    w.run_until(4.0, |w| w.standing("West door") == Standing::Missing);
}

#[test]
fn that_the_rig_is_not_ready_any_more_is_told_after_a_gap_too_and_that_it_is_not_twice() {
    for vanishes in [false, true] {
        let mut w = world();
        w.station.state = LinkState::NoCarrier;
        w.plug();
        w.run(1.0);
        if vanishes {
            w.units.remove(1);
        }
        w.station.state = LinkState::Up;
        w.plug();
        w.run(20.0);
        let told = since(&w, 20.0).into_iter().filter_map(|c| match c.subject {
            Subject::Ready(ready) => Some(ready),
            _ => None,
        });
        let told: Vec<bool> = told.collect();
        assert_eq!(told, vec![false; usize::from(vanishes)]);
        assert_eq!(w.ledger.ready(), !vanishes);
    }
}

#[test]
fn who_vanished_in_the_gap_is_missing() {
    let mut w = world();
    w.units.remove(1);
    w.see(Fact::Gap(Gap::Stood(Duration::from_mins(1))));
    w.run_until(6.0, |w| w.standing("West door") == Standing::Missing);
    w.run(2.0);
    assert_eq!(w.snapshot().counts.of(Standing::Present), 2);
    let told = since(&w, 20.0)
        .into_iter()
        .filter(|c| c.worse && c.text.contains("West door"))
        .count();
    assert!(told >= 1, "{:?}", w.changes);
}

#[test]
fn another_interface_or_address_is_told_of_and_begins_anew() {
    let mut w = world();
    w.station.mac = mac(251);
    w.plug();
    w.run(8.0);
    assert!(w.ledger.ready());
    w.station.addresses = vec!["10.40.8.77/24".parse().unwrap()];
    w.plug();
    w.run(8.0);
    assert!(w.ledger.ready());
    let said = texts(&w);
    assert_eq!(said.len(), 2, "{said:?}");
    assert!(said[0].contains("interface eth0 is another one now"), "{said:?}");
    assert!(said[1].contains("10.40.8.77/24"), "{said:?}");
    let missed = |c: &&Change| {
        matches!(
            c.subject,
            Subject::Device {
                to: Standing::Missing,
                ..
            }
        )
    };
    assert_eq!(w.changes.iter().filter(missed).count(), 0);
}

#[test]
fn an_interface_that_is_called_otherwise_is_told_once_and_asks_nobody_anew() {
    let mut w = world();
    w.station.name = "lan9".into();
    w.plug();
    assert!(w.ledger.ready(), "nothing else changed");
    w.plug();
    w.run(8.0);
    assert!(w.ledger.ready());
    let said = "This computer's interface eth0 is called lan9 from now on; the head count goes on there.";
    assert_eq!(texts(&w), [said]);
    // While it is switched off, as older systems want it.
    for (name, state) in [
        ("lan9", LinkState::Down),
        ("eth0", LinkState::Down),
        ("eth0", LinkState::Up),
    ] {
        (w.station.name, w.station.state) = (name.into(), state);
        w.plug();
        w.run(1.0);
    }
    w.run_until(8.0, |w| w.ledger.ready());
    let said = texts(&w);
    assert_eq!(said.len(), 2, "{said:?}");
    assert!(said[1].contains("lan9 is called eth0"), "{said:?}");
}

#[test]
fn an_interface_that_was_gone_and_is_there_again_is_told() {
    let mut w = world();
    for (adapter, words) in [
        (w.station.mac, "eth0 was gone and is there again"),
        (mac(251), "another of that name is there now (02:"),
    ] {
        (w.station.index, w.station.state) = (0, LinkState::Gone);
        w.plug();
        w.run(1.0);
        (w.station.index, w.station.mac, w.station.state) = (9, adapter, LinkState::Up);
        w.plug();
        w.run_until(8.0, |w| w.ledger.ready());
        let said = texts(&w);
        assert!(said.last().is_some_and(|t| t.contains(words)), "{said:?}");
    }
    assert_eq!(texts(&w).len(), 2);
}

#[test]
fn a_gap_while_the_link_is_down_is_told_and_nothing_else() {
    let mut w = world();
    w.station.state = LinkState::NoCarrier;
    w.plug();
    w.see(Fact::Gap(Gap::Slept(Duration::from_secs(90))));
    w.run(2.0);
    assert_eq!(texts(&w), ["This computer slept for 1 min 30 s: looking anew."]);
    assert_eq!(w.snapshot().counts.of(Standing::Unknown), 3);
}

#[test]
fn a_clock_that_was_set_is_on_record() {
    let rig = super::world::rig(vec![device("Organ loft", 21)]);
    let mut muster = crate::Muster::new(super::world::settings(rig, crate::Purpose::Board), secs(0.0));
    muster.clock_was_set(secs(5.0), false, Duration::from_millis(90 * 60_000 - 7));
    let change = muster.next_change().unwrap();
    assert_eq!(change.text, "This computer's clock was set back by 1 h 30 min.");
    assert!(!change.worse);
}

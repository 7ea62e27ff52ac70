//! Restarts that somebody announced.

use rig::{Device, Need, PoeTypes, Role, Switch, SwitchPort};

use super::world::{Unit, World, device, mac, rig, secs, settings};
use crate::{Change, FindingKind, Purpose, Restarted, Severity, Standing, Subject, Usual};

const LOFT: &str = "Organ loft";

fn loft() -> Restarted {
    Restarted::Device(LOFT.to_owned())
}

fn world() -> World {
    let mut w = World::board(
        vec![device(LOFT, 21), device("Foyer", 22)],
        vec![Unit::good(21), Unit::good(22)],
    );
    w.run_to(secs(5.0));
    assert!(w.snapshot().ready);
    w.changes.clear();
    w
}

fn expect(w: &mut World, what: &Restarted) -> usize {
    let now = w.now;
    w.ledger.expect_restart(now, what)
}

fn alarms(w: &World) -> Vec<&str> {
    let worse = w.changes.iter().filter(|c| c.worse);
    worse.map(|c| c.text.as_str()).collect()
}

#[test]
fn until_its_time_is_over_nothing_calls_and_all_stays_true() {
    let mut w = world();
    assert_eq!(expect(&mut w, &loft()), 1);
    w.units[0].on = false;
    w.run(10.0);
    let s = w.snapshot();
    assert_eq!(w.standing(LOFT), Standing::Missing);
    assert_eq!(
        w.severity(FindingKind::Missing),
        Some(Severity::Fault),
        "as the contract says"
    );
    assert!(!s.ready);
    assert_eq!(
        s.headline,
        "Not ready: Organ loft is being restarted, as you said."
    );
    assert_eq!(
        s.devices[0].advice,
        "Wait for Organ loft: its restart is expected."
    );
    assert_eq!(alarms(&w), [""; 0]);
    let told: Vec<&str> = w.changes.iter().map(|c| c.text.as_str()).collect();
    assert!(told[0].ends_with("Its restart is expected."), "{told:?}");
    // It comes back, and the expectation ends with that.
    w.units[0].on = true;
    w.probe(mac(21), "10.40.8.21");
    w.announce(mac(21), "10.40.8.21");
    w.run(5.0);
    assert_eq!(w.standing(LOFT), Standing::Present);
    assert_eq!(w.snapshot().devices[0].restart.expected, None);
    assert!(w.snapshot().ready);
    assert_eq!(alarms(&w), [""; 0]);
    // The next time is an alarm again.
    w.units[0].on = false;
    w.run(10.0);
    assert_eq!(alarms(&w).len(), 2, "{:?}", alarms(&w));
}

#[test]
fn when_its_time_is_over_and_it_is_not_back_the_alarm_comes_then() {
    let mut w = world();
    let since = w.now;
    expect(&mut w, &loft());
    w.units[0].on = false;
    w.run(74.9);
    assert_eq!(alarms(&w), [""; 0]);
    let expected = w.snapshot().devices[0].restart.expected.clone().unwrap();
    assert_eq!((expected.since, expected.until), (since, since + rig_boot()));
    w.run(0.2);
    assert_eq!(
        alarms(&w),
        ["Organ loft should be back from its restart by now: missing."]
    );
    let alarm = w.changes.iter().find(|c| c.worse).unwrap();
    assert_eq!(alarm.at, expected.until);
    let s = w.snapshot();
    assert!(s.devices[0].restart.expected.as_ref().is_some_and(|e| e.overdue));
    assert_eq!(s.headline, "Not ready: Organ loft is missing.");
    assert!(
        s.devices[0].advice.starts_with("Look whether Organ loft"),
        "{}",
        s.devices[0].advice
    );
    w.run(60.0);
    assert_eq!(alarms(&w).len(), 1, "once");
    w.units[0].on = true;
    w.run(5.0);
    assert_eq!(w.snapshot().devices[0].restart.expected, None);
}

fn rig_boot() -> std::time::Duration {
    device(LOFT, 21).boot
}

#[test]
fn its_usual_time_counts_and_from_its_first_frame_it_runs_anew() {
    let mut w = world();
    let usual = Usual {
        count: 5,
        median: std::time::Duration::from_secs(40),
        p90: std::time::Duration::from_secs(46),
    };
    w.ledger.set_usual(LOFT, usual);
    expect(&mut w, &loft());
    w.units[0].on = false;
    w.run(30.0);
    let first = w.now;
    w.probe(mac(21), "10.40.8.21");
    w.run(45.0);
    assert_eq!(
        alarms(&w),
        [""; 0],
        "75 s after the key, 45 s after its first frame"
    );
    let expected = w.snapshot().devices[0].restart.expected.clone().unwrap();
    assert_eq!(expected.until, first + std::time::Duration::from_secs(46));
    w.run(1.5);
    assert_eq!(
        alarms(&w),
        ["Organ loft should be back from its restart by now: starting."]
    );
}

#[test]
fn one_that_never_went_or_that_is_called_off_ends_quietly() {
    let mut w = world();
    expect(&mut w, &loft());
    w.run(80.0);
    assert_eq!(w.snapshot().devices[0].restart.expected, None);
    assert!(w.changes.is_empty(), "{:?}", w.changes);
    expect(&mut w, &loft());
    let now = w.now;
    w.ledger.expect_no_restart(now, &loft());
    w.units[0].on = false;
    w.run(10.0);
    assert_eq!(alarms(&w).len(), 2, "missing, and no longer ready");
}

#[test]
fn another_trouble_and_another_device_are_alarms_all_the_same() {
    let mut w = world();
    expect(&mut w, &loft());
    w.units[0].on = false;
    w.units[1].on = false;
    w.run(10.0);
    let s = w.snapshot();
    assert_eq!(
        s.headline,
        "Not ready: Foyer is missing. 1 is being restarted, as you said."
    );
    assert!(
        alarms(&w).iter().any(|a| a.starts_with("Foyer is missing")),
        "{:?}",
        alarms(&w)
    );
    assert!(!alarms(&w).iter().any(|a| a.contains(LOFT)), "{:?}", alarms(&w));
    // Other hardware takes its address meanwhile: that is no restart.
    w.units.push(Unit::new(99, "10.40.8.21"));
    w.run(10.0);
    assert_eq!(w.standing(LOFT), Standing::Replaced);
    assert!(
        alarms(&w).iter().any(|a| a.contains("held by")),
        "{:?}",
        alarms(&w)
    );
}

#[test]
fn our_own_link_may_go_meanwhile() {
    let mut w = world();
    expect(&mut w, &loft());
    w.units[0].on = false;
    w.run(5.0);
    w.station.state = vocab::LinkState::NoCarrier;
    w.plug();
    w.run(10.0);
    w.station.state = vocab::LinkState::Up;
    w.plug();
    w.run(10.0);
    assert_eq!(w.standing(LOFT), Standing::Missing);
    let of_it = |c: &&Change| c.worse && matches!(&c.subject, Subject::Device { name, .. } if name == LOFT);
    assert_eq!(w.changes.iter().filter(of_it).count(), 0);
}

/// A camera on each of two switches, the second hanging on the first, and one on none.
fn chained() -> World {
    let on = |name: &str, n: u8, switch: &str| Device {
        port: Some(SwitchPort {
            switch: switch.to_owned(),
            port: u32::from(n),
        }),
        ..device(name, n)
    };
    let devices = vec![on(LOFT, 21, "S1"), on("Foyer", 22, "S2"), device("Desk", 23)];
    let mut rig = rig(devices);
    for (name, uplink) in [("S1", None), ("S2", Some("S1"))] {
        rig.switches.push(Switch {
            name: name.to_owned(),
            ports: None,
            budget_w: None,
            poe: PoeTypes::Unsaid,
            uplink_mbps: None,
            uplink: uplink.map(|switch| SwitchPort {
                switch: switch.to_owned(),
                port: 8,
            }),
            address: None,
            network: rig.network.name.clone(),
            macs: Vec::new(),
        });
    }
    let units = vec![Unit::good(21), Unit::good(22), Unit::good(23)];
    let mut w = World::new(settings(rig, Purpose::Board), units);
    w.plug();
    w.run_to(secs(5.0));
    w.changes.clear();
    w
}

#[test]
fn a_switch_takes_all_that_hangs_on_it_and_its_own_start_is_allowed_for() {
    let mut w = chained();
    let s = w.snapshot();
    assert_eq!(s.devices[0].restart.switch, Some(("S1".to_owned(), 2)));
    assert_eq!(s.devices[1].restart.switch, Some(("S2".to_owned(), 1)));
    assert_eq!(s.devices[2].restart.switch, None);
    assert_eq!(expect(&mut w, &Restarted::Switch("S1".to_owned())), 2);
    for unit in &mut w.units[..2] {
        unit.on = false;
    }
    w.run(100.0);
    assert_eq!(alarms(&w), [""; 0]);
    let s = w.snapshot();
    assert_eq!(s.headline, "Not ready: 2 are being restarted, as you said.");
    let expected = s.devices[0].restart.expected.clone().unwrap();
    let within = Device::usual_boot(Role::Switch) + rig_boot();
    assert_eq!(expected.until, expected.since + within);
    assert_eq!(expected.switch.as_deref(), Some("S1"));
    assert_eq!(w.snapshot().devices[2].restart.expected, None);
    // One comes back, the other does not.
    w.units[0].on = true;
    w.announce(mac(21), "10.40.8.21");
    w.run(96.0);
    assert_eq!(
        alarms(&w),
        ["Foyer should be back from its restart by now: missing."]
    );
    assert_eq!(
        expect(&mut w, &Restarted::Switch("S9".to_owned())),
        0,
        "nothing hangs on it"
    );
}

#[test]
fn a_spare_that_is_restarted_holds_nothing_back() {
    let mut d = device("Spare head", 23);
    d.need = Need::Spare;
    let mut w = World::board(vec![device(LOFT, 21), d], vec![Unit::good(21), Unit::good(23)]);
    w.run_to(secs(5.0));
    expect(&mut w, &Restarted::Device("Spare head".to_owned()));
    w.units[1].on = false;
    w.run(10.0);
    assert!(w.snapshot().ready, "{}", w.snapshot().headline);
}

#[test]
fn a_switch_that_stays_away_is_one_alarm() {
    let mut w = chained();
    expect(&mut w, &Restarted::Switch("S1".to_owned()));
    for unit in &mut w.units[..2] {
        unit.on = false;
    }
    w.run(190.0);
    assert!(
        w.findings(FindingKind::CommonOutage).is_empty(),
        "somebody did it"
    );
    assert_eq!(alarms(&w), [""; 0]);
    w.run(60.0);
    assert_eq!(
        alarms(&w),
        ["S1 should be back from its restart by now: Organ loft is not, nor 1 more of its devices."]
    );
    let on_record = w.changes.iter().filter(|c| c.text.contains("should be back"));
    assert_eq!(on_record.count(), 2, "the other is on record only");
}

//! Ready: not a moment too early, and no more than was seen.

use vocab::{ArpForm, Ask, Mode};

use super::world::{Unit, World, device, ip, mac, rig, secs, settings};
use crate::{Purpose, Standing, Subject};

#[test]
fn two_hundred_and_fifty_milliseconds_after_the_second_question() {
    let devices: Vec<_> = (1..=12).map(|n| device(&format!("d{n}"), n)).collect();
    let mut w = World::board(devices, (1..=12).map(Unit::good).collect());
    let mut ready = None;
    while ready.is_none() {
        w.run(0.001);
        ready = w.snapshot().ready.then_some(w.now);
        assert!(w.now < secs(3.0));
    }
    let mut seconds = Vec::new();
    for n in 1..=12 {
        let asked: Vec<_> = w
            .asked
            .iter()
            .filter(|(_, a)| {
                matches!(a, Ask::Arp { address, form: ArpForm::Broadcast, .. } if *address == ip(&format!("10.40.8.{n}")))
            })
            .collect();
        seconds.push(asked[1].0);
    }
    let last = *seconds.iter().max().unwrap();
    let wait = ready.unwrap().since(last).as_secs_f64();
    assert!((0.250..0.252).contains(&wait), "{wait}");
    let s = w.snapshot();
    assert_eq!(
        s.headline,
        "Ready. All 12 answer on the network. Pictures not checked."
    );
    assert!(matches!(w.changes.last().unwrap().subject, Subject::Ready(true)));
    assert_eq!(w.changes.len(), 1, "first good news of each device is no news");
}

#[test]
fn a_full_subnet_within_the_bound_of_two_passes() {
    let devices: Vec<_> = (1..=249)
        .chain(251..=254)
        .map(|n| device(&format!("d{n}"), n))
        .collect();
    let units = (1..=249).chain(251..=254).map(Unit::good).collect();
    let rig = rig(devices);
    let mut w = World::new(settings(rig, Purpose::Check), units);
    w.plug();
    let at = w.run_until(3.0, |w| w.snapshot().ready);
    // 1.3 times (two passes of 254 frames at 1,488 a second, and 250 ms).
    let bound = 1.3 * (2.0 * 254.0 / 1_488.0 + 0.25);
    assert!(at < secs(bound), "{at:?} > {bound}");
}

#[test]
fn not_while_one_is_amiss_or_unknown() {
    let mut w = World::board(vec![device("a", 1), device("b", 2)], vec![Unit::good(1)]);
    for _ in 0..40 {
        w.run(0.1);
        assert!(!w.snapshot().ready);
    }
    assert_eq!(w.snapshot().headline, "Not ready: b is missing.");
    w.units.push(Unit::good(2));
    w.run(5.0);
    assert!(w.snapshot().ready);
}

#[test]
fn several_troubles_are_counted_and_the_first_is_named() {
    let devices: Vec<_> = (1..=12).map(|n| device(&format!("d{n}"), n)).collect();
    let mut w = World::board(devices, (4..=12).map(Unit::good).collect());
    assert!(
        w.snapshot().headline.starts_with("Looking: "),
        "{}",
        w.snapshot().headline
    );
    w.run_to(secs(4.0));
    let headline = w.snapshot().headline;
    assert!(
        headline.starts_with("Not ready: 3 of 12 are not as they should be. First: d1 is missing"),
        "{headline}"
    );
}

#[test]
fn a_device_without_a_mac_must_answer_a_probe_in_nobodys_name() {
    let mut d = device("a", 1);
    d.macs.clear();
    let mut w = World::board(vec![d.clone()], vec![Unit::good(1)]);
    let at = w.run_until(3.0, |w| w.snapshot().ready);
    assert!(at < secs(0.5), "the probe is the second question: {at:?}");
    let mut w = World::board(
        vec![d],
        vec![Unit {
            nobody: false,
            ..Unit::good(1)
        }],
    );
    w.run_to(secs(20.0));
    assert!(!w.snapshot().ready);
    // Even where it proves its address by using it.
    w.announce(mac(1), "10.40.8.1");
    w.run(20.0);
    assert_eq!(w.standing("a"), Standing::Present);
    assert!(!w.snapshot().ready);
    w.units[0].nobody = true;
    w.run(45.0);
    assert!(w.snapshot().ready);
}

#[test]
fn unprivileged_says_what_it_cannot_see() {
    let mut w = World::new(
        settings(rig(vec![device("a", 1), device("b", 2)]), Purpose::Board),
        vec![Unit::good(1), Unit::good(2), Unit::new(99, "10.40.8.2")],
    );
    w.station.mode = Mode::Unprivileged;
    w.plug();
    w.run_to(secs(10.0));
    let s = w.snapshot();
    assert!(s.ready, "{}", s.headline);
    assert!(
        s.headline.contains("Clashes and other hardware cannot be seen"),
        "{}",
        s.headline
    );
    assert!(s.unseen.len() >= 3);
    assert!(w.asked.iter().all(|(_, a)| !matches!(
        a,
        Ask::Arp {
            form: ArpForm::Nobody | ArpForm::Unicast(_),
            ..
        }
    )));
    w.units[0].on = false;
    w.run_until(9.0, |w| w.standing("a") == Standing::Missing);
    w.units[0].on = true;
    w.run_until(9.0, |w| w.standing("a") == Standing::Present);
}

#[test]
fn a_survey_ends_when_its_passes_do() {
    let mut w = World::new(
        settings(rig(vec![device("a", 1), device("b", 2)]), Purpose::Survey),
        vec![Unit::good(1), Unit::new(99, "10.40.8.99")],
    );
    w.plug();
    assert!(!w.ledger.pass_complete());
    w.run_until(5.0, |w| w.ledger.pass_complete());
    w.run(2.0);
    assert!(w.ledger.settled());
    let before = w.asked.len();
    w.run(120.0);
    let late: Vec<_> = w.asked[before..].iter().collect();
    assert!(late.is_empty(), "{late:?}");
}

#[test]
fn a_survey_without_a_rig_counts_hosts() {
    let mut s = settings(rig(vec![]), Purpose::Survey);
    s.rig = None;
    let mut w = World::new(s, vec![Unit::new(98, "10.40.8.98"), Unit::new(99, "10.40.8.99")]);
    w.plug();
    w.run_until(5.0, |w| w.ledger.pass_complete());
    let s = w.snapshot();
    assert_eq!((s.unlisted_total, s.counts.total(), s.ready), (2, 0, false));
    assert!(s.headline.starts_with("2 hosts heard."), "{}", s.headline);
    assert_eq!(s.subnet, Some("10.40.8.0/24".parse().unwrap()));
}

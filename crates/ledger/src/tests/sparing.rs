//! Watching only: one question a second to each device, and nothing else.

use vocab::{ArpForm, Ask, ControlPort, ControlState, Fact, Rank};

use super::world::{Unit, World, device, secs};
use crate::{Purpose, Standing};

const HTTP: ControlPort = ControlPort {
    word: vocab::ControlWord::Http,
    port: 80,
};

fn world(watch_only: bool) -> World {
    let devices = (21..25)
        .map(|n| {
            let mut one = device(&format!("Unit {n}"), n);
            one.control = vec![HTTP];
            one
        })
        .collect();
    let mut units: Vec<Unit> = (21..25).map(Unit::good).collect();
    for unit in &mut units {
        unit.ports.insert(HTTP, ControlState::Answered);
    }
    units.push(Unit::new(99, "10.40.8.99"));
    let mut r = super::world::rig(devices);
    r.network.gateway = Some(super::world::ip("10.40.8.1"));
    let mut w = World::new(super::world::settings(r, Purpose::Board), units);
    if watch_only {
        w.see(Fact::WatchOnly(true));
    }
    w.plug();
    w
}

/// What left since `from`: never more than one question in any second to one address, and each to a device.
fn spares(w: &World, from: f64) -> usize {
    let left: Vec<_> = w.asked.iter().filter(|(at, _)| *at >= secs(from)).collect();
    for (n, (at, ask)) in left.iter().enumerate() {
        let Ask::Arp {
            address,
            form,
            rank: Rank::Rig,
            ..
        } = ask
        else {
            panic!("{ask:?} at {at:?}");
        };
        assert!((21..25).contains(&address.octets()[3]), "{ask:?}");
        assert!(!matches!(form, ArpForm::Nobody), "{ask:?}");
        let next = left[n + 1..]
            .iter()
            .find(|(_, a)| matches!(a, Ask::Arp { address: b, .. } if b == address));
        if let Some((next, _)) = next {
            assert!(
                next.since(*at).as_millis() >= 950,
                "{address} at {at:?} and {next:?}"
            );
        }
    }
    left.len()
}

#[test]
fn only_the_devices_are_asked_once_a_second_and_all_stay_as_they_are() {
    let mut w = world(false);
    w.run_to(secs(30.0));
    let before = w.snapshot();
    assert_eq!(before.counts.of(Standing::Present), 4);
    w.see(Fact::WatchOnly(true));
    // What was handed out before has left by now.
    w.run(0.5);
    let from = 30.5;
    w.run(60.0);
    let left = spares(&w, from);
    assert!((200..=244).contains(&left), "{left} questions in 60 s to four");
    let after = w.snapshot();
    assert!(after.watch_only && after.level() == vocab::Level::Watch);
    assert_eq!(after.counts, before.counts);
    assert_eq!(
        after.devices[0].control, before.devices[0].control,
        "as it was last told"
    );
    assert!(
        after.unseen.iter().any(|s| s.starts_with("Watching only")),
        "{:?}",
        after.unseen
    );
    // And all again.
    w.see(Fact::WatchOnly(false));
    w.run(10.0);
    assert!(
        w.asked
            .iter()
            .any(|(at, a)| *at > secs(91.0) && matches!(a, Ask::Echo { .. }))
    );
}

#[test]
fn a_loss_and_a_return_are_noticed_sparingly() {
    let mut w = world(false);
    w.run_to(secs(30.0));
    w.see(Fact::WatchOnly(true));
    w.run(5.0);
    w.units[1].on = false;
    let at = w.run_until(10.0, |w| w.standing("Unit 22") == Standing::Missing);
    assert!(at < secs(42.0), "{at:?}");
    w.run(20.0);
    spares(&w, 30.5);
    w.units[1].on = true;
    w.run_until(3.0, |w| w.standing("Unit 22") != Standing::Missing);
    w.run(20.0);
    spares(&w, 30.5);
}

#[test]
fn from_the_start_too() {
    let mut w = world(true);
    w.run(20.0);
    let left = spares(&w, 0.0);
    assert!((60..=84).contains(&left), "{left}");
    assert_eq!(w.snapshot().counts.of(Standing::Present), 4);
    assert!(
        w.snapshot().headline.contains("Control ports not asked"),
        "{}",
        w.snapshot().headline
    );
    assert!(w.ledger.ready());
}

#[test]
fn nothing_at_all_is_stronger() {
    let mut w = world(true);
    w.run(10.0);
    w.listen_only(true);
    let before = w.asked.len();
    w.run(10.0);
    assert_eq!(w.asked.len(), before);
    assert_eq!(w.snapshot().level(), vocab::Level::Silent);
    assert!(w.snapshot().unseen.iter().any(|s| s.contains("own system")));
}

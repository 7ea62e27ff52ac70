//! A large rig in a rush of news: looked at as a whole seldom, and still told right.

use std::collections::BTreeSet;
use std::time::Duration;

use vocab::Moment;

use super::world::{Unit, World, device, secs};
use crate::Standing;

/// So many devices and their hosts are more than are looked at at once.
const DEVICES: u8 = 200;
/// From one look to the next while all of them are there, at the least.
const BETWEEN: Duration = Duration::from_micros(20 * 2 * DEVICES as u64);

fn large() -> World {
    let devices: Vec<_> = (1..=DEVICES).map(|n| device(&format!("d{n}"), n)).collect();
    World::board(devices, (1..=DEVICES).map(Unit::good).collect())
}

/// Runs to `to` in small steps. Returns when it was looked at the whole, and checks at each step that the rig is not
/// called ready while a device of it is not there.
fn looks(w: &mut World, to: Moment) -> Vec<Moment> {
    let mut all = BTreeSet::new();
    while w.now < to {
        w.run(0.000_5);
        all.extend(w.ledger.looked);
        let lacks = w.ledger.tracks.iter().any(|t| t.standing != Standing::Present);
        assert!(
            !(w.ledger.ready() && lacks),
            "ready at {:?} with a device away",
            w.now
        );
    }
    all.into_iter().collect()
}

#[test]
fn while_all_are_heard_for_the_first_time() {
    let mut w = large();
    w.run(0.3);
    let heard = w.ledger.hosts.len();
    assert!(heard >= usize::from(DEVICES), "{heard} hosts");
    let looks = looks(&mut w, secs(3.0));
    assert!(looks.len() > 3, "{looks:?}");
    for pair in looks.windows(2) {
        assert!(pair[1].since(pair[0]) >= BETWEEN, "{pair:?}");
    }
    assert!(w.snapshot().ready, "{}", w.snapshot().headline);
}

#[test]
fn a_rig_that_was_ready_is_not_called_so_for_a_moment_longer() {
    let mut w = large();
    w.run(5.0);
    assert!(w.ledger.ready());
    for n in [3, 70, 150] {
        w.units[n].on = false;
    }
    looks(&mut w, secs(12.0));
    let s = w.snapshot();
    assert_eq!(s.counts.of(Standing::Missing), 3);
    assert!(!s.ready);
    for n in [3, 70, 150] {
        w.units[n].on = true;
    }
    w.run(60.0);
    assert!(w.snapshot().ready, "{}", w.snapshot().headline);
}

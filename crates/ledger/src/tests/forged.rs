//! Frames in the name of addresses that matter, from hardware that answers nobody.

use vocab::Mac;

use super::unit::Unit;
use super::world::{World, device, mac, secs};
use crate::{FindingKind, Standing};

const LIARS: [Mac; 3] = [
    Mac::new([6, 0, 0, 0, 0, 1]),
    Mac::new([6, 0, 0, 0, 0, 2]),
    Mac::new([6, 0, 0, 0, 0, 3]),
];

fn ready() -> World {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(5.0));
    assert!(w.snapshot().ready);
    w
}

#[test]
fn what_was_only_announced_holds_the_rig_back_for_a_moment_only() {
    // The device's own address, and this computer's.
    for address in ["10.40.8.21", "10.40.8.250"] {
        let mut w = ready();
        for liar in LIARS {
            w.announce(liar, address);
        }
        assert!(!w.snapshot().ready, "{address}: it may yet prove to be a clash");
        w.run(15.0);
        assert!(w.snapshot().ready, "{address}: {}", w.snapshot().headline);
        assert!(
            w.course("Organ loft").iter().all(|s| *s == Standing::Present),
            "{address}"
        );
        assert!(w.findings(FindingKind::AddressConflict).is_empty(), "{address}");
    }
}

/// Whoever announces an address without end, and answers nobody, is known for it.
#[test]
fn an_announcement_again_and_again_does_not_hold_it_back_for_ever() {
    for address in ["10.40.8.21", "10.40.8.250"] {
        let mut w = ready();
        for second in 0..60 {
            for liar in LIARS {
                w.announce(liar, address);
            }
            w.run(1.0);
            assert!(second < 15 || w.snapshot().ready, "{address}: after {second} s");
        }
        assert!(
            w.course("Organ loft").iter().all(|s| *s == Standing::Present),
            "{address}"
        );
    }
}

/// Who was silent when he was asked counts again as soon as he answers.
#[test]
fn a_liar_that_begins_to_answer_is_a_clash() {
    let mut w = ready();
    for _ in 0..5 {
        w.announce(mac(99), "10.40.8.21");
        w.run(2.0);
    }
    assert!(w.snapshot().ready, "{}", w.snapshot().headline);
    let mut other = Unit::new(99, "10.40.8.21");
    other.echo = true;
    w.units.push(other);
    w.run(6.0);
    assert_eq!(w.standing("Organ loft"), Standing::Conflict);
}

//! What we are plugged into: for as long as the switch's word holds, and bounded.

use std::time::Duration;

use vocab::{Fact, LinkState, Plugged, Sighting};

use super::world::{Unit, World, device, mac, secs, station};
use crate::Standing;

fn says(n: u8, port: &str, holds: u64) -> Fact {
    Fact::Plugged(Plugged {
        mac: mac(n),
        switch: format!("S{n}").as_str().into(),
        port: port.into(),
        address: None,
        holds: Duration::from_secs(holds),
    })
}

fn calm() -> World {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(3.0));
    w
}

fn plugged(w: &World) -> Vec<String> {
    w.snapshot().plugged.iter().map(ToString::to_string).collect()
}

#[test]
fn a_switch_is_believed_as_long_as_its_word_holds_and_no_longer() {
    let mut w = calm();
    let before = w.ledger.revision();
    w.see(says(90, "3", 20));
    assert_eq!(plugged(&w), ["S90, port 3"]);
    assert!(w.ledger.revision() > before, "a screen shows it");
    w.run(15.0);
    let before = w.ledger.revision();
    w.see(says(90, "3", 20));
    assert_eq!(w.ledger.revision(), before, "said again is no news");
    w.run(15.0);
    assert_eq!(plugged(&w), ["S90, port 3"]);
    let before = w.ledger.revision();
    w.run(6.0);
    assert!(plugged(&w).is_empty());
    assert!(w.ledger.revision() > before);
    assert_eq!(w.standing("Organ loft"), Standing::Present);
}

#[test]
fn a_word_that_is_taken_back_and_a_pulled_cable_end_it_at_once() {
    let mut w = calm();
    w.see(says(90, "3", 120));
    w.see(says(90, "3", 0));
    assert!(plugged(&w).is_empty());
    w.see(says(90, "3", 120));
    w.see(Fact::Station(vocab::Station {
        state: LinkState::NoCarrier,
        ..station()
    }));
    assert!(plugged(&w).is_empty());
}

#[test]
fn silence_of_our_own_keeps_it_and_lets_it_run_out() {
    let mut w = calm();
    w.see(says(90, "3", 20));
    w.see(Fact::ListenOnly(true));
    assert_eq!(plugged(&w), ["S90, port 3"]);
    w.see(says(91, "7", 60));
    let before = w.ledger.revision();
    w.run(21.0);
    assert_eq!(plugged(&w), ["S91, port 7"]);
    assert!(w.ledger.revision() > before, "a screen is told");
}

#[test]
fn a_thousand_liars_leave_four() {
    let mut w = calm();
    for n in 0..1_000 {
        w.ledger.fold(&Sighting {
            at: w.now,
            fact: says(90, &n.to_string(), 60),
        });
    }
    assert_eq!(plugged(&w).len(), 4);
}

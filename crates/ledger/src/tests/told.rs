//! What devices tell of themselves when they are asked: power and names.

use vocab::{Fact, Name, NameSource, Power, Told};

use super::world::{Unit, World, device, ip, mac, secs};
use crate::{FindingKind, Severity};

fn tells(w: &mut World, address: &str, what: Told) {
    w.see(Fact::Told {
        address: ip(address),
        mac: None,
        what,
    });
}

fn name(text: &str) -> Told {
    Told::Name(Name {
        text: text.into(),
        source: NameSource::Onvif,
    })
}

fn calm() -> World {
    let mut w = World::board(
        vec![device("Organ loft", 21)],
        vec![Unit::good(21), Unit::good(90)],
    );
    w.run_to(secs(3.0));
    w
}

#[test]
fn standby_is_a_note_that_ends_when_it_is_on_or_starts_or_is_gone() {
    let mut w = calm();
    tells(&mut w, "10.40.8.21", Told::Power(Power::Standby));
    assert!(w.ledger.ready(), "a note is no fault");
    let note = w.findings(FindingKind::Standby).pop().unwrap();
    assert_eq!(note.severity, Severity::Note);
    assert_eq!(
        note.text,
        "Organ loft said that it is in standby when it was last asked."
    );
    assert!(note.advice.contains("its head may move"), "{}", note.advice);
    tells(&mut w, "10.40.8.21", Told::Power(Power::On));
    assert_eq!(w.findings(FindingKind::Standby), []);
    // A restart makes what was said past.
    tells(&mut w, "10.40.8.21", Told::Power(Power::Standby));
    w.discover(mac(21));
    w.run(1.0);
    assert_eq!(w.findings(FindingKind::Standby), []);
    tells(&mut w, "10.40.8.21", Told::Power(Power::Fault));
    assert_eq!(w.severity(FindingKind::DeviceFault), Some(Severity::Risk));
    w.units[0].on = false;
    w.run(15.0);
    assert_eq!(w.findings(FindingKind::DeviceFault), [], "it is missing");
}

#[test]
fn strangers_tell_too_and_an_address_with_two_holders_tells_nothing() {
    let mut w = calm();
    tells(&mut w, "10.40.8.90", Told::Power(Power::Standby));
    tells(&mut w, "10.40.8.90", name("box-7"));
    let seen = w.snapshot().unlisted[0].clone();
    assert_eq!(seen.power, Some(Power::Standby));
    assert_eq!(seen.names[0].to_string(), "box-7 (ONVIF)");
    assert_eq!(
        w.findings(FindingKind::Standby),
        [],
        "nobody waits for a stranger"
    );
    w.announce(mac(91), "10.40.8.90");
    tells(&mut w, "10.40.8.90", name("box-8"));
    assert!(
        w.snapshot()
            .unlisted
            .iter()
            .all(|h| h.names.iter().all(|n| n.text.as_str() != "box-8"))
    );
    // About an address that nobody holds nothing is known.
    tells(&mut w, "10.40.8.77", name("ghost"));
}

//! Our own port: held back by the switch, and losing its carrier without saying so at once.

use proptest::prelude::*;
use rig::AddressSpec;
use vocab::{LinkState, NameSource};

use super::world::{Unit, World, device, ip, rig, secs, settings};
use crate::{Finding, FindingKind, Purpose, Severity, Standing, Subject};

const NAMES: [&str; 3] = ["Organ loft", "West door", "Stage left"];

/// Three devices; at the last one's address by DHCP. The port lets nothing through yet.
fn held() -> World {
    let mut devices: Vec<_> = (21..).zip(NAMES).map(|(n, name)| device(name, n)).collect();
    devices[2].address = AddressSpec::Dhcp;
    let mut r = rig(devices);
    r.network.gateway = Some(ip("10.40.8.1"));
    let mut w = World::new(settings(r, Purpose::Board), Vec::new());
    w.passes = false;
    w.plug();
    w
}

fn passes(w: &mut World) {
    w.units = vec![
        Unit::good(21),
        Unit::good(22),
        Unit::new(23, "10.40.8.130"),
        Unit::new(1, "10.40.8.1"),
    ];
}

fn missed(w: &World) -> usize {
    let missing = |c: &&crate::Change| {
        matches!(
            c.subject,
            Subject::Device {
                to: Standing::Missing,
                ..
            }
        )
    };
    w.changes.iter().filter(missing).count()
}

fn only(w: &World, kind: FindingKind) -> Finding {
    let all = w.snapshot().findings;
    assert_eq!(all.iter().map(|f| f.kind).collect::<Vec<_>>(), [kind], "{all:?}");
    all[0].clone()
}

#[test]
fn a_port_that_is_held_back_is_one_note_and_nobody_is_missing() {
    let mut w = held();
    w.run_to(secs(1.4));
    assert!(w.snapshot().findings.is_empty(), "not said of the first moments");
    for at in [1.6, 20.0, 30.0, 49.0] {
        w.run_to(secs(at));
        // The switch speaks of itself while it holds the port back.
        w.named(super::world::mac(2), None, &[("S2", NameSource::Lldp)]);
        let note = only(&w, FindingKind::PortNotPassing);
        assert_eq!(note.severity, Severity::Note);
        assert_eq!(w.snapshot().counts.of(Standing::Unknown), 3, "{at}");
        assert!(w.snapshot().headline.contains("this computer's port"));
    }
    passes(&mut w);
    w.run(0.1);
    assert!(w.snapshot().findings.is_empty(), "{:?}", w.snapshot().findings);
    let ready = w.run_until(8.0, |w| w.ledger.ready());
    assert!(ready < secs(57.0), "{ready:?}");
    assert!(w.findings(FindingKind::PortNotPassing).is_empty());
    assert_eq!(missed(&w), 0);
}

#[test]
fn the_clocks_start_at_the_first_foreign_frame() {
    let mut w = held();
    w.run_to(secs(30.0));
    // Somebody is heard, but none of the rig.
    w.hum();
    w.run(0.9);
    for name in &NAMES[..2] {
        assert_eq!(w.standing(name), Standing::Unknown, "{name}");
    }
    w.run_until(4.0, |w| w.snapshot().counts.of(Standing::Missing) == 3);
    assert!(w.findings(FindingKind::PortNotPassing).is_empty());
    // What comes up then begins its start there, and not when the cable was plugged in.
    passes(&mut w);
    w.run_until(4.0, |w| w.standing("Organ loft") == Standing::Present);
}

#[test]
fn after_the_worst_case_they_are_missing_with_the_reason() {
    let mut w = held();
    w.run_to(secs(49.9));
    assert_eq!(missed(&w), 0);
    w.run_until(2.0, |w| w.snapshot().counts.of(Standing::Missing) == 3);
    let note = w.findings(FindingKind::PortNotPassing).remove(0);
    assert_eq!(note.severity, Severity::Note);
    assert!(note.text.starts_with("Nothing at all"), "{}", note.text);
    let outage = &w.findings(FindingKind::CommonOutage)[0];
    assert_eq!(outage.devices.len(), 3);
    assert!(outage.text.contains("this computer's port"), "{}", outage.text);
    assert!(
        outage.advice.contains("this computer's cable"),
        "{}",
        outage.advice
    );
    assert!(w.findings(FindingKind::Missing).is_empty());
    assert!(w.findings(FindingKind::GatewaySilent).is_empty());
    for _ in 0..30 {
        w.hum();
        w.run(0.1);
    }
    let missing = &w.findings(FindingKind::Missing)[0];
    assert!(!missing.text.contains("this computer's port"), "{}", missing.text);
    assert_eq!(w.findings(FindingKind::GatewaySilent).len(), 1);
}

/// A rig whose one device stands on a foreign subnet, alone on the wire: nobody is heard unless asked there.
fn alone_far_away() -> World {
    let rig = rig(vec![device("Organ loft", 21)]);
    let mut w = World::new(
        settings(rig, Purpose::Survey),
        vec![Unit::new(21, "192.168.77.5")],
    );
    w.passes = false;
    w.plug();
    // The switch passes all; there is just nobody who hums.
    w.passes = true;
    w
}

#[test]
fn a_search_does_not_wait_for_a_port_that_nothing_was_heard_on() {
    let mut w = alone_far_away();
    let place = crate::Places::Only(vec!["192.168.76.0/22".parse().unwrap()]);
    let now = w.now;
    assert!(w.ledger.search(now, place, vocab::Pace::Own));
    let over = w.run_until(30.0, |w| !w.ledger.is_searching());
    assert!(over < secs(15.0), "{over:?}");
    assert_eq!(
        w.snapshot().devices[0].seen.as_ref().unwrap().address,
        Some(ip("192.168.77.5"))
    );
    w.run_until(60.0, |w| w.ledger.pass_complete());
}

#[test]
fn a_question_for_servers_that_may_not_have_got_out_is_asked_once_more() {
    for (answered, questions) in [(false, 2), (true, 1)] {
        let mut w = alone_far_away();
        w.run(2.0);
        if answered {
            w.see(vocab::Fact::DhcpOffer(vocab::DhcpOffer {
                server: ip("10.40.8.1"),
                mac: super::world::mac(1),
                offered: ip("10.40.8.100"),
                mask: None,
                router: None,
                lease_s: None,
            }));
        }
        w.hum();
        w.run(1.0);
        w.run_until(60.0, |w| !w.ledger.awaits_offers(w.now));
        w.run(30.0);
        let asked = w
            .asked
            .iter()
            .filter(|(_, a)| matches!(a, vocab::Ask::Dhcp { .. }));
        assert_eq!(asked.count(), questions, "answered: {answered}");
    }
}

#[test]
fn what_is_heard_first_after_the_worst_case_leaves_no_pass_open() {
    let mut w = alone_far_away();
    w.run_until(60.0, |w| w.standing("Organ loft") == Standing::Missing);
    w.run(1.0);
    w.hum();
    w.run_until(90.0, |w| w.ledger.pass_complete());
}

#[test]
fn a_carrier_loss_that_is_told_late_makes_nobody_missing() {
    for late in [0.2, 0.9, 1.3, 1.9] {
        let mut w = held();
        passes(&mut w);
        w.run_to(secs(20.0));
        assert!(w.ledger.ready());
        w.units.clear();
        w.run(late);
        assert_eq!(w.snapshot().counts.of(Standing::Missing), 0, "{late}");
        w.station.state = LinkState::NoCarrier;
        w.plug();
        w.run(5.0);
        only(&w, FindingKind::LinkDown);
        assert_eq!(w.snapshot().counts.of(Standing::Unknown), 3);
        // The port is held back again when it returns.
        w.station.state = LinkState::Up;
        w.plug();
        w.run(30.0);
        only(&w, FindingKind::PortNotPassing);
        passes(&mut w);
        w.run_until(8.0, |w| w.ledger.ready());
        assert_eq!(missed(&w), 0, "{late}: {:?}", w.changes);
    }
}

#[test]
fn the_only_other_host_on_the_wire_is_missed_all_the_same() {
    let r = rig(vec![device("Organ loft", 21)]);
    let mut w = World::new(settings(r, Purpose::Board), vec![Unit::good(21)]);
    w.passes = false;
    w.plug();
    w.run_to(secs(20.0));
    w.units.clear();
    let at = w.run_until(6.0, |w| w.standing("Organ loft") == Standing::Missing);
    assert!(at < secs(24.0), "{at:?}");
    let mut beside = World::board(
        vec![device("Organ loft", 21), device("West door", 22)],
        vec![Unit::good(21), Unit::good(22)],
    );
    beside.run_to(secs(20.0));
    beside.units.remove(0);
    let sooner = beside.run_until(6.0, |w| w.standing("Organ loft") == Standing::Missing);
    assert!(
        sooner < secs(22.6),
        "with a witness it is surer sooner: {sooner:?}"
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    /// Whenever the port begins to pass, nobody who is there is ever called missing.
    #[test]
    fn nobody_who_is_there_is_missing(opens in 0.0_f64..49.0, gap in 0.0_f64..49.0, late in 0.0_f64..1.9) {
        let mut w = held();
        w.run_to(secs(opens));
        passes(&mut w);
        w.run(9.0);
        prop_assert!(w.ledger.ready());
        w.units.clear();
        w.run(late);
        w.station.state = LinkState::NoCarrier;
        w.plug();
        w.run(0.5);
        w.station.state = LinkState::Up;
        w.plug();
        w.run(gap);
        passes(&mut w);
        w.run(9.0);
        prop_assert!(w.ledger.ready());
        prop_assert_eq!(missed(&w), 0);
    }
}

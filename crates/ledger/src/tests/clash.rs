//! How soon a clash is told, in a rig of forty devices: wherever in the round of questions it begins.

use std::time::Duration;

use vocab::{ArpForm, Ask, Moment};

use super::world::{Unit, World, device, ip, mac, secs};
use crate::{FindingKind, Severity, Standing};

/// From the second host's first answer, or its announcement, to the clash on the board.
const SOON: Duration = Duration::from_millis(2_500);
const DEVICES: u8 = 40;

/// Forty devices that are all there, watched for as long as `after` says.
fn forty(after: f64) -> World {
    let numbers = || 1..=DEVICES;
    let devices = numbers().map(|n| device(&format!("D{n}"), n)).collect();
    let mut w = World::board(devices, numbers().map(Unit::good).collect());
    w.run_to(secs(after));
    assert!(w.snapshot().ready);
    w
}

/// A second host takes the address of device `n`. Returns when it could first be heard, by a question to everybody.
fn second(w: &mut World, n: u8, announces: bool) -> Moment {
    let address = format!("10.40.8.{n}");
    let joined = w.now;
    w.units.push(Unit::new(99, &address));
    if announces {
        w.announce(mac(99), &address);
        return joined;
    }
    let asks = |ask: &Ask| match ask {
        Ask::Arp { address: a, form, .. } => *a == ip(&address) && !matches!(form, ArpForm::Unicast(_)),
        _ => false,
    };
    let first = |w: &World| {
        let mut since = w.asked.iter().filter(|(at, _)| *at > joined);
        since.find(|(_, ask)| asks(ask)).map(|(at, _)| *at)
    };
    w.run_until(6.0, |w| first(w).is_some());
    first(w).unwrap()
}

#[test]
fn a_clash_is_told_in_time_whenever_it_begins_and_in_whatever_way() {
    let mut slowest = Duration::ZERO;
    for step in 0..20_u8 {
        // Over two seconds and more, in which every question comes round.
        let mut w = forty(20.0 + f64::from(step) * 0.111);
        let n = 1 + step.wrapping_mul(13) % DEVICES;
        let name = format!("D{n}");
        let first = second(&mut w, n, step % 2 == 0);
        let told = w.run_until(5.0, |w| w.standing(&name) == Standing::Conflict);
        assert!(told.since(first) <= SOON, "step {step}: {:?}", told.since(first));
        slowest = slowest.max(told.since(first));
        let clash = w.findings(FindingKind::AddressConflict).pop().unwrap();
        assert_eq!(
            (clash.severity, clash.address),
            (Severity::Fault, Some(ip(&format!("10.40.8.{n}"))))
        );
        assert_eq!(clash.macs.len(), 2, "it names both: {clash:?}");
        assert!(clash.macs.contains(&mac(n)) && clash.macs.contains(&mac(99)));
        // Each was asked alone before that was said.
        let alone = |m| {
            let to = |ask: &Ask| matches!(ask, Ask::Arp { form, .. } if *form == ArpForm::Unicast(m));
            w.asked.iter().any(|(at, ask)| *at >= first && to(ask))
        };
        assert!(alone(mac(n)) && alone(mac(99)), "step {step}");
        // It ends by itself when one leaves.
        w.units.pop();
        w.run_until(20.0, |w| w.standing(&name) == Standing::Present);
        assert!(w.findings(FindingKind::AddressConflict).is_empty());
    }
    println!("told {slowest:?} after the first answer at the latest");
}

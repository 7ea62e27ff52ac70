//! Masks that devices tell of themselves.

use vocab::{Fact, Mac};

use super::world::{Unit, World, device, ip, mac, secs};
use crate::{FindingKind, Severity, Standing};

fn tells(w: &mut World, mac: Mac, address: &str, mask: &str) {
    w.see(Fact::Mask {
        mac,
        address: ip(address),
        mask: ip(mask),
    });
}

#[test]
fn another_mask_than_the_rigs_is_a_note_until_it_is_mended() {
    let mut w = World::board(
        vec![device("Organ loft", 21), device("West door", 22)],
        vec![Unit::good(21), Unit::good(22)],
    );
    w.run_to(secs(3.0));
    tells(&mut w, mac(21), "10.40.8.21", "255.255.255.0");
    assert_eq!(w.severity(FindingKind::DeviceMask), None);
    tells(&mut w, mac(22), "10.40.8.22", "255.255.0.0");
    let notes = w.findings(FindingKind::DeviceMask);
    assert_eq!(notes.len(), 1);
    assert_eq!(
        (notes[0].severity, notes[0].devices[0].as_str()),
        (Severity::Note, "West door")
    );
    assert!(notes[0].advice.contains("255.255.255.0"), "{}", notes[0].advice);
    assert_eq!(w.standing("West door"), Standing::Present);
    assert!(w.snapshot().ready);
    tells(&mut w, mac(22), "10.40.8.22", "255.255.255.0");
    assert_eq!(w.severity(FindingKind::DeviceMask), None);
}

#[test]
fn on_another_subnet_and_of_strangers_no_mask_is_told() {
    let mut w = World::board(vec![device("Organ loft", 21)], vec![Unit::good(21)]);
    w.run_to(secs(3.0));
    tells(&mut w, mac(21), "192.168.0.100", "255.255.0.0");
    tells(&mut w, mac(90), "10.40.8.90", "255.0.0.0");
    assert_eq!(w.severity(FindingKind::DeviceMask), None);
}

#[test]
fn what_a_device_tells_of_its_address_is_shown_beside_it() {
    let mut w = World::board(
        vec![device("Organ loft", 21), device("West door", 22)],
        vec![Unit::good(21), Unit::good(22)],
    );
    w.run_to(secs(3.0));
    let shown = |w: &World, n: usize| {
        let seen = w.snapshot().devices[n].seen.clone().unwrap();
        (seen.mask, seen.heard.asks_dhcp)
    };
    assert_eq!(shown(&w, 0), (None, false), "nobody told");
    tells(&mut w, mac(21), "10.40.8.21", "255.255.255.0");
    w.discover(mac(22));
    assert_eq!(shown(&w, 0), (Some(ip("255.255.255.0")), false));
    assert_eq!(shown(&w, 1), (None, true));
    // The mask of another address is not this one's.
    tells(&mut w, mac(21), "192.168.0.100", "255.255.0.0");
    assert_eq!(shown(&w, 0).0, None);
}

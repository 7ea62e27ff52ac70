//! What is said: every trouble ends in one next step with a place.

use super::world::{Unit, World, device, ip, secs};
use crate::{FindingKind, Severity};

#[test]
fn every_finding_has_a_sentence_and_a_next_step() {
    let mut broken = device("d5", 5);
    broken.control = vec!["http".parse().unwrap()];
    let devices = vec![
        device("d1", 1),
        device("d2", 2),
        device("d3", 3),
        device("d4", 4),
        broken,
        device("d6", 6),
    ];
    let mut extra = Unit::good(6);
    extra.addresses.push(ip("169.254.1.9"));
    let units = vec![
        Unit::new(2, "192.168.0.20"),
        Unit::new(3, "10.40.8.90"),
        Unit::new(94, "10.40.8.4"),
        Unit::good(5),
        extra,
        Unit::new(96, "10.40.8.6"),
    ];
    let mut w = World::board(devices, units);
    w.run_to(secs(24.0));
    w.announce(super::world::mac(6), "169.254.1.9");
    w.run(1.0);
    let s = w.snapshot();
    for kind in [
        FindingKind::Missing,
        FindingKind::WrongSubnet,
        FindingKind::Moved,
        FindingKind::Replaced,
        FindingKind::NoControl,
        FindingKind::AddressConflict,
        FindingKind::ExtraAddress,
    ] {
        assert_eq!(w.findings(kind).len(), 1, "{kind:?}");
    }
    for f in &s.findings {
        assert!(f.text.ends_with('.') && f.advice.ends_with('.'), "{f:?}");
        assert!(
            f.severity == Severity::Note || f.advice.contains("gallery, left"),
            "{f:?}"
        );
    }
    let worst_first: Vec<_> = s.findings.iter().map(|f| f.severity).collect();
    assert!(worst_first.is_sorted());
    for d in &s.devices {
        assert!(!d.advice.is_empty(), "{}", d.name);
    }
    assert!(s.headline.starts_with("Not ready: 6 of 6"), "{}", s.headline);
}

#[test]
fn a_missing_camera_names_the_channel_that_points_at_it() {
    let mut panel = device("Desk panel", 60);
    panel.role = rig::Role::Panel;
    panel.channels.insert(
        1,
        rig::Channel {
            device: "Organ loft".to_owned(),
            control: None,
        },
    );
    let mut w = World::board(vec![device("Organ loft", 21), panel], vec![Unit::good(60)]);
    w.run_to(secs(3.0));
    let f = &w.findings(FindingKind::Missing)[0];
    assert!(f.text.contains("Channel 1 of Desk panel"), "{}", f.text);
    assert_eq!(w.snapshot().devices[0].channels, [("Desk panel".to_owned(), 1)]);
}

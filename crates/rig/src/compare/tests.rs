//! Differences by hand, and what holds for any two accounts.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use proptest::prelude::*;

use super::*;
use crate::{Rig, Role, read};

fn rig(text: &str) -> Rig {
    let reading = read("hall.rig.toml", text.as_bytes());
    let errors: Vec<String> = reading.errors.iter().map(ToString::to_string).collect();
    reading.rig.unwrap_or_else(|| panic!("{}", errors.join("\n")))
}

fn differ(a: &str, b: &str) -> Comparison {
    compare(&Account::of(&rig(a)), &Account::of(&rig(b)))
}

const HALL: &str = r#"format = 1
title = "Harbour Hall"
[network]
subnet = "10.40.8.0/24"
[[switch]]
name = "S1"
ports = 8
address = "10.40.8.2"
[[device]]
name = "Organ loft"
role = "camera"
mac = "02:52:43:00:00:21"
address = "10.40.8.21"
control = ["visca-udp", "http"]
[[device]]
name = "West door"
role = "camera"
mac = "02:52:43:00:00:22"
address = "10.40.8.22"
[[device]]
name = "Talkback box"
role = "intercom"
address = "none"
[[device]]
name = "Desk panel"
role = "panel"
address = "10.40.8.60"
channels = { 1 = "Organ loft", 2 = "West door" }
"#;

#[test]
fn a_rig_is_as_it_is() {
    let same = differ(HALL, HALL);
    assert!(same.is_empty());
    assert_eq!(same.pairs.len(), 5);
}

#[test]
fn each_difference_is_told_once_and_as_what_it_is() {
    let new = HALL
        // Renamed, and every channel that pointed at it points at it still.
        .replace("Organ loft", "Loft")
        .replace("10.40.8.22", "10.40.8.32")
        .replace("\"visca-udp\", \"http\"", "\"visca-udp\"")
        .replace(
            "2 = \"West door\"",
            "3 = { device = \"West door\", control = \"visca-tcp\" }",
        )
        .replace("ports = 8", "ports = 16")
        .replace("[[switch]]", "gateway = \"10.40.8.1\"\n[[switch]]")
        .replace("Talkback box", "Beltpack");
    let found = differ(HALL, &new);
    assert_eq!(found.renamed, [("Organ loft".into(), "Loft".into())]);
    assert_eq!(
        found.moved,
        [Moved {
            name: "West door".into(),
            from: AddressSpec::Fixed("10.40.8.22".parse().unwrap()),
            to: AddressSpec::Fixed("10.40.8.32".parse().unwrap()),
            networks: None,
        }]
    );
    let west = |control: Option<&str>| {
        Some(Channel {
            device: "West door".into(),
            control: control.map(|c| c.parse().unwrap()),
        })
    };
    let channel = |channel, from, to| Rechannelled {
        panel: "Desk panel".into(),
        channel,
        from,
        to,
    };
    assert_eq!(
        found.rechannelled,
        [
            channel(2, west(None), None),
            channel(3, None, west(Some("visca-tcp")))
        ]
    );
    let changed = |key, from: &str, to: &str| Changed {
        key,
        from: Some(from.into()),
        to: Some(to.into()),
    };
    assert_eq!(
        found.changed,
        [
            ("Loft".into(), changed("control", "visca-udp; http", "visca-udp")),
            ("S1".into(), changed("ports", "8", "16")),
        ]
    );
    let gateway = Changed {
        key: "gateway",
        from: None,
        to: Some("10.40.8.1".into()),
    };
    assert_eq!(found.settings, [("network main".into(), gateway)]);
    // A thing without hardware address and address is known by its name alone.
    let (a, b) = (Account::of(&rig(HALL)), Account::of(&rig(&new)));
    assert_eq!(
        found
            .dropped
            .iter()
            .map(|n| &a.units[*n].name)
            .collect::<Vec<_>>(),
        ["Talkback box"]
    );
    assert_eq!(
        found.added.iter().map(|n| &b.units[*n].name).collect::<Vec<_>>(),
        ["Beltpack"]
    );
}

#[test]
fn hardware_goes_before_the_name_and_the_name_before_the_address() {
    let text = |devices: &str| format!("format = 1\n[network]\nsubnet = \"10.40.8.0/24\"\n{devices}");
    let device = |name: &str, mac: &str, address: &str| {
        let mac = if mac.is_empty() {
            String::new()
        } else {
            format!("mac = \"02:52:43:00:00:{mac}\"\n")
        };
        format!("[[device]]\nname = \"{name}\"\nrole = \"camera\"\n{mac}address = \"10.40.8.{address}\"\n")
    };
    // The two units changed places: each went with its hardware.
    let old = text(&(device("A", "21", "21") + &device("B", "22", "22")));
    let new = text(&(device("A", "22", "21") + &device("B", "21", "22")));
    let found = differ(&old, &new);
    assert_eq!(
        found.renamed,
        [("A".into(), "B".into()), ("B".into(), "A".into())]
    );
    assert_eq!(found.moved.len(), 2);
    assert!(found.changed.is_empty());
    // Another unit under the same name.
    let found = differ(&text(&device("A", "21", "21")), &text(&device("A", "29", "21")));
    assert_eq!(found.changed.len(), 1);
    assert_eq!(found.changed[0].1.key, "mac");
    // Neither hardware nor name: the address tells, unless both have hardware of their own.
    let found = differ(&text(&device("A", "", "21")), &text(&device("B", "29", "21")));
    assert_eq!((found.renamed.len(), found.added.len()), (1, 0));
    let found = differ(&text(&device("A", "21", "21")), &text(&device("B", "29", "21")));
    assert_eq!((found.added.len(), found.dropped.len()), (1, 1));
}

#[test]
fn what_an_account_does_not_tell_is_not_compared() {
    let whole = Account::of(&rig(HALL));
    let mut part = Account {
        settings: None,
        counted_only: true,
        ..whole.clone()
    };
    part.units.retain(|unit| unit.address != AddressSpec::None);
    for unit in &mut part.units {
        unit.facts.retain(|(key, _)| *key == "role");
        unit.channels = None;
        unit.network = None;
    }
    assert!(compare(&whole, &part).is_empty());
    assert!(compare(&part, &whole).is_empty());
    part.units[0].facts[0].1 = Some("other".into());
    assert_eq!(compare(&whole, &part).changed.len(), 1);
}

fn unit() -> impl Strategy<Value = Unit> {
    let address = prop_oneof![
        Just(AddressSpec::None),
        Just(AddressSpec::Dhcp),
        (1_u8..9).prop_map(|n| AddressSpec::Fixed([10, 40, 8, n].into())),
    ];
    let macs = proptest::collection::vec((1_u8..9).prop_map(|n| Mac::new([2, 0x52, 0x43, 0, 0, n])), 0..3);
    ("[a-f]", address, macs).prop_map(|(name, address, macs)| Unit {
        name,
        role: Role::Camera,
        macs,
        address,
        network: None,
        facts: Vec::new(),
        channels: None,
    })
}

fn account() -> impl Strategy<Value = Account> {
    // Not even unique: an account may come from a file that somebody else wrote.
    proptest::collection::vec(unit(), 0..12).prop_map(|units| Account {
        units,
        settings: None,
        counted_only: false,
    })
}

proptest! {
    #[test]
    fn every_unit_is_in_both_or_in_one(a in account(), b in account()) {
        let found = compare(&a, &b);
        let mut left: Vec<usize> = found.pairs.iter().map(|(n, _)| *n).chain(found.dropped.clone()).collect();
        let mut right: Vec<usize> = found.pairs.iter().map(|(_, m)| *m).chain(found.added.clone()).collect();
        left.sort_unstable();
        right.sort_unstable();
        prop_assert_eq!(left, (0..a.units.len()).collect::<Vec<_>>());
        prop_assert_eq!(right, (0..b.units.len()).collect::<Vec<_>>());
    }

    #[test]
    fn whoever_shares_hardware_is_never_left_alone_on_both_sides(a in account(), b in account()) {
        let found = compare(&a, &b);
        for n in &found.dropped {
            for m in &found.added {
                let (a, b) = (&a.units[*n], &b.units[*m]);
                prop_assert!(!a.macs.iter().any(|mac| b.macs.contains(mac)), "{a:?} {b:?}");
                prop_assert!(a.name != b.name, "{a:?} {b:?}");
            }
        }
    }
}

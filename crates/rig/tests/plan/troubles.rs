//! Rigs that cannot be planned, and a large one.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::net::Ipv4Addr;

use rig::plan::{Dhcp, Hall, Held, Trouble, Why, free, plan};
use rig::{AddressSpec, read_venue};

use crate::{fixed, mac, rig};

/// A rig of so many cameras from 10.40.8.20 on.
fn cameras(count: usize, plan: &str) -> String {
    let mut text =
        format!("format = 1\n[network]\nsubnet = \"10.40.8.0/24\"\ngateway = \"10.40.8.1\"\n{plan}");
    for n in 0..count {
        let at = n + 20;
        let _ = write!(
            text,
            "[[device]]\nname = \"C{n}\"\nrole = \"camera\"\naddress = \"10.40.{}.{}\"\n",
            8 + at / 256,
            at % 256
        );
    }
    text
}

#[test]
fn a_subnet_too_small_for_the_rig_says_what_would_do() {
    let (rig, _) = rig(&cameras(12, ""));
    let hall = Hall::renumbered(&rig, "10.50.0.0/29".parse().unwrap(), Some([10, 50, 0, 1].into()));
    let troubles = plan(&rig, &hall, &[], Dhcp::Fix).unwrap_err();
    let [trouble] = troubles.as_slice() else {
        panic!("{troubles:?}")
    };
    let Trouble::TooSmall {
        wanted: 12,
        room: 5,
        enough: Some(28),
        ..
    } = trouble
    else {
        panic!("{trouble:?}")
    };
    assert!(trouble.to_string().contains("10.50.0.0/29") && trouble.to_string().contains("next step"));
    // And it is true that it would do.
    let hall = Hall::renumbered(&rig, "10.50.0.0/28".parse().unwrap(), Some([10, 50, 0, 1].into()));
    assert_eq!(plan(&rig, &hall, &[], Dhcp::Fix).unwrap().moves(), 12);
}

#[test]
fn a_full_block_is_named_with_what_it_lacks() {
    let block = "[plan]\nblocks = { camera = \"10.40.8.20-23\" }\nreserved = [\"10.40.8.23\"]\n";
    let (rig, _) = rig(&cameras(4, block));
    let troubles = plan(&rig, &Hall::of(&rig), &[], Dhcp::Fix).unwrap_err();
    let [
        trouble @ Trouble::BlocksFull {
            wanted: 4, room: 3, ..
        },
    ] = troubles.as_slice()
    else {
        panic!("{troubles:?}")
    };
    assert!(
        trouble.to_string().contains("camera = \"10.40.8.20-10.40.8.23\""),
        "{trouble}"
    );
}

#[test]
fn devices_that_must_change_places_without_a_free_address_are_named() {
    let text = "format = 1\n[network]\nsubnet = \"10.40.8.0/30\"\n\
        [[device]]\nname = \"Left\"\nrole = \"camera\"\nmac = \"02:52:43:00:00:00\"\naddress = \"10.40.8.1\"\n\
        [[device]]\nname = \"Right\"\nrole = \"camera\"\nmac = \"02:52:43:00:00:01\"\naddress = \"10.40.8.2\"\n";
    let (rig, _) = rig(text);
    let swapped = [(2, 0), (1, 1)].map(|(last, n)| Held {
        address: [10, 40, 8, last].into(),
        mac: Some(mac(n)),
    });
    let troubles = plan(&rig, &Hall::of(&rig), &swapped, Dhcp::Fix).unwrap_err();
    let [trouble @ Trouble::NoParking { .. }] = troubles.as_slice() else {
        panic!("{troubles:?}")
    };
    let said = trouble.to_string();
    assert!(
        said.contains("Left") && said.contains("Right") && said.contains("next step"),
        "{said}"
    );
}

#[test]
fn networks_that_share_addresses_are_refused() {
    let text = "format = 1\n[network]\nsubnet = \"10.40.8.0/24\"\n[networks.media]\nsubnet = \"10.40.12.0/24\"\n\
        [[device]]\nname = \"Wall\"\nrole = \"encoder\"\nnetwork = \"media\"\naddress = \"10.40.12.21\"\n";
    let (rig, _) = rig(text);
    let hall = Hall::renumbered(&rig, "10.40.0.0/16".parse().unwrap(), None);
    let troubles = plan(&rig, &hall, &[], Dhcp::Fix).unwrap_err();
    assert!(
        matches!(troubles.as_slice(), [Trouble::Overlap { .. }]),
        "{troubles:?}"
    );
}

#[test]
fn other_networks_are_planned_by_their_own_pools() {
    let text = "format = 1\n[network]\nsubnet = \"10.40.8.0/24\"\n[plan]\nreserved = [\"10.40.8.1-9\"]\n\
        [networks.media]\nsubnet = \"10.40.12.0/24\"\nleases = [\"10.40.12.20-29\"]\n\
        [[device]]\nname = \"Wall\"\nrole = \"encoder\"\nnetwork = \"media\"\naddress = \"10.40.12.21\"\n\
        [[device]]\nname = \"Door\"\nrole = \"camera\"\naddress = \"10.40.8.21\"\n";
    let (rig, mut document) = rig(text);
    let planned = plan(&rig, &Hall::of(&rig), &[], Dhcp::Fix).unwrap();
    let wall = &planned.placed[0];
    assert!(matches!(wall.why, Why::InPool(_)), "{wall:?}");
    assert_eq!((fixed(wall.to), planned.moves()), ([10, 40, 12, 1].into(), 1));
    document.apply(&planned.edits).unwrap();
}

#[test]
fn five_thousand_devices_are_planned_too() {
    let mut text = "format = 1\n[network]\nsubnet = \"10.40.0.0/16\"\n".to_owned();
    let roles = ["camera", "panel", "switcher", "encoder", "display"];
    for n in 0..5_000 {
        let at = n + 20;
        let _ = write!(
            text,
            "[[device]]\nname = \"D{n}\"\nrole = \"{}\"\naddress = \"10.40.{}.{}\"\n",
            roles[n % 5],
            at / 256,
            at % 256
        );
    }
    let (rig, mut document) = rig(&text);
    let mut hall = Hall::renumbered(&rig, "10.50.0.0/16".parse().unwrap(), None);
    hall.networks[0]
        .leases
        .push("10.50.4.0-10.50.7.255".parse().unwrap());
    let blocks = [
        (rig::Role::Camera, "10.50.16.0-10.50.23.255"),
        (rig::Role::Panel, "10.50.32.0-10.50.36.255"),
    ];
    hall.plan
        .blocks
        .extend(blocks.map(|(role, block)| (role, block.parse().unwrap())));
    let planned = plan(&rig, &hall, &[], Dhcp::Fix).unwrap();
    let used: BTreeSet<_> = planned.placed.iter().map(|one| fixed(one.to)).collect();
    assert_eq!((used.len(), planned.work.tasks.len()), (5_000, 5_000));
    let rig = document.apply(&planned.edits).unwrap();
    assert_eq!(plan(&rig, &hall, &[], Dhcp::Fix).unwrap().moves(), 0);
}

#[test]
fn a_free_address_is_nobodys_and_in_no_pool() {
    let text = cameras(
        3,
        "leases = [\"10.40.8.100-10.40.8.254\"]\n[plan]\nreserved = [\"10.40.8.50-99\"]\n",
    );
    let (rig, _) = rig(&text);
    let stranger = Held {
        address: [10, 40, 8, 49].into(),
        mac: None,
    };
    let found = free(&rig, &Hall::of(&rig), &[stranger], 3).unwrap();
    assert_eq!(found, [48, 47, 46].map(|last| Ipv4Addr::new(10, 40, 8, last)));
    let mut hall = Hall::of(&rig);
    hall.plan.reserved.push("10.40.8.1-10.40.8.99".parse().unwrap());
    assert!(matches!(free(&rig, &hall, &[], 3), Err(Trouble::NoneFree { .. })));
}

#[test]
fn a_broken_venue_file_tells_all_its_mistakes_with_their_places() {
    let text = include_str!("../../../../fixtures/venues/broken.venue.toml");
    let reading = read_venue("broken.venue.toml", text.as_bytes());
    assert!(reading.venue.is_none());
    let said: Vec<String> = reading.errors.iter().map(ToString::to_string).collect();
    for (place, word) in [
        ("broken.venue.toml:2:1", "title"),
        ("broken.venue.toml:6:11", "gateway"),
        ("broken.venue.toml:7:44", "overlaps"),
        ("broken.venue.toml:9:3", "hall's networks alone"),
        ("broken.venue.toml:13:12", "camera"),
    ] {
        assert!(
            said.iter().any(|s| s.starts_with(place) && s.contains(word)),
            "{place}: {said:#?}"
        );
    }
    assert_eq!(said.len(), 5, "{said:#?}");
}

#[test]
fn devices_without_an_address_stay_without() {
    let text = "format = 1\n[network]\nsubnet = \"10.40.8.0/24\"\n\
        [[device]]\nname = \"Box\"\nrole = \"intercom\"\naddress = \"none\"\n\
        [[device]]\nname = \"Lap\"\nrole = \"computer\"\naddress = \"dhcp\"\nmac = \"02:52:43:00:00:00\"\n";
    let (rig, _) = rig(text);
    let kept = plan(&rig, &Hall::of(&rig), &[], Dhcp::Keep).unwrap();
    assert_eq!(
        (kept.placed.len(), kept.placed[0].to, kept.moves()),
        (1, AddressSpec::Dhcp, 0)
    );
    // One that keeps its lease holds that address against all others.
    let leased = Held {
        address: [10, 40, 8, 254].into(),
        mac: Some(mac(0)),
    };
    let found = free(&rig, &Hall::of(&rig), &[leased], 1).unwrap();
    assert_eq!(found, [Ipv4Addr::new(10, 40, 8, 253)]);
}

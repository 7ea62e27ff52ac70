//! Edits of networks and `[plan]`, and many edits at once.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::collections::BTreeMap;

use proptest::prelude::*;
use rig::{AddressSpec, Edit, EditError, How, NetworkKey, NewDevice, Rig, RigDocument, Role, read};
use vocab::{Mac, Pace};

const EXAMPLE: &str = include_str!("../../../fixtures/rigs/harbour-hall.rig.toml");

fn document(text: &str) -> RigDocument {
    let reading = read("test.rig.toml", text.as_bytes());
    assert_eq!(reading.errors, [], "{text}");
    reading.document.unwrap()
}

fn network(key: NetworkKey) -> Edit {
    Edit::Network {
        network: "main".to_owned(),
        key,
    }
}

/// All that can be said of the main network and of planning.
fn everything() -> Vec<Edit> {
    vec![
        network(NetworkKey::Gateway(Some([10, 40, 8, 254].into()))),
        network(NetworkKey::Leases(vec![
            "10.40.8.101-10.40.8.111".parse().unwrap(),
        ])),
        network(NetworkKey::Pace(Pace::House)),
        network(NetworkKey::Shared(true)),
        Edit::Reserved(vec![
            "10.40.8.7".parse().unwrap(),
            "10.40.8.8-10.40.8.9".parse().unwrap(),
        ]),
        Edit::Blocks(BTreeMap::from([
            (Role::Camera, "10.40.8.20-10.40.8.29".parse().unwrap()),
            (Role::AccessPoint, "10.40.8.30".parse().unwrap()),
        ])),
    ]
}

fn holds(rig: &Rig) {
    assert_eq!(rig.network.gateway, Some([10, 40, 8, 254].into()));
    assert_eq!(rig.network.leases, ["10.40.8.101-10.40.8.111".parse().unwrap()]);
    assert_eq!((rig.network.pace, rig.network.shared), (Pace::House, true));
    assert_eq!((rig.plan.reserved.len(), rig.plan.blocks.len()), (2, 2));
    assert_eq!(rig.plan.blocks[&Role::Camera].count(), 10);
}

#[test]
fn a_network_is_edited_however_it_is_written() {
    let device = "[[device]]\nname = \"A\"\nrole = \"camera\"\naddress = \"10.40.8.21\"\n";
    for head in [
        "[network]\nsubnet = \"10.40.8.0/24\" # ours\n",
        "[network]\nsubnet = \"10.40.8.0/24\"\ngateway = \"10.40.8.1\"\nleases = [\n  \"10.40.8.40-59\", # old\n]\npace = 9\nshared = false\n",
        "[network] # no more than that\n  subnet = \"10.40.8.0/24\"\n[plan]\n",
        "[network]\nsubnet = \"10.40.8.0/24\"\n[plan]\nblocks = { camera = \"10.40.8.20-59\", panel = \"10.40.8.60-69\" }\n",
        "[network]\nsubnet = \"10.40.8.0/24\"\n[plan.blocks]\npanel = \"10.40.8.60-69\" # the desk\ncamera = \"10.40.8.20-59\"\n",
        "[network]\nsubnet = \"10.40.8.0/24\"\n[plan]\nreserved = [\"10.40.8.3\"]\n[plan.blocks]\n",
    ] {
        for line_break in ["\n", "\r\n"] {
            let text = format!("format = 1\n{head}{device}").replace('\n', line_break);
            let mut edited = document(&text);
            holds(&edited.apply(&everything()).unwrap());
            for comment in ["# ours", "# no more than that"] {
                assert_eq!(text.contains(comment), edited.text().contains(comment));
            }
            assert_eq!(
                edited.text().matches('\n').count(),
                edited.text().matches(line_break).count()
            );
            // What was put in can be taken out.
            let nothing = [
                network(NetworkKey::Gateway(None)),
                network(NetworkKey::Leases(Vec::new())),
                Edit::Reserved(Vec::new()),
                Edit::Blocks(BTreeMap::new()),
            ];
            let rig = edited.apply(&nothing).unwrap();
            assert_eq!((rig.network.gateway, rig.network.leases.len()), (None, 0));
            assert_eq!(rig.plan, rig::Plan::default(), "{}", edited.text());
        }
    }
    // On one line, where nothing can be added below.
    for head in [
        "network = { subnet = \"10.40.8.0/24\" }\nplan = { }\n",
        "network = { subnet = \"10.40.8.0/24\", gateway = \"10.40.8.1\" }\nplan = { reserved = [\"10.40.8.3\"] }\n",
        "network.subnet = \"10.40.8.0/24\"\nplan.reserved = [\"10.40.8.3\"]\n",
    ] {
        let text = format!("format = 1\n{head}{device}");
        holds(&document(&text).apply(&everything()).unwrap());
    }
}

#[test]
fn a_network_beside_the_main_one_is_edited_by_its_name() {
    let text = "format = 1\n[network]\nsubnet = \"10.40.8.0/24\"\n[networks.media]\nsubnet = \"10.40.12.0/24\"\n\
                reach = \"routed\" # by the router\n";
    let mut edited = document(text);
    let media = |key| Edit::Network {
        network: "media".to_owned(),
        key,
    };
    let rig = edited
        .apply(&[
            media(NetworkKey::Subnet("10.41.12.0/24".parse().unwrap())),
            media(NetworkKey::Reach(rig::Reach::Wire)),
        ])
        .unwrap();
    assert_eq!(rig.others[0].subnet.to_string(), "10.41.12.0/24");
    assert_eq!(
        edited.text(),
        text.replace("10.40.12.0", "10.41.12.0").replace("routed", "wire")
    );
    let before = edited.clone();
    let nobody = Edit::Network {
        network: "nobody".to_owned(),
        key: NetworkKey::Gateway(None),
    };
    assert_eq!(
        edited.apply(&[nobody]),
        Err(EditError::NoSuchDevice("nobody".to_owned()))
    );
    let breaks = network(NetworkKey::Subnet("10.41.0.0/16".parse().unwrap()));
    assert!(
        matches!(edited.apply(&[breaks]), Err(EditError::WouldBreak(_))),
        "the two would overlap"
    );
    assert_eq!(edited, before);
}

/// One of the edits that can be made in the example, whatever was made before.
fn edit() -> impl Strategy<Value = Edit> {
    let name = prop::sample::select(vec![
        "S1",
        "Organ loft",
        "Stage left",
        "Balcony",
        "Talkback box",
        "Desk panel",
    ]);
    (0..7, name, 1_u8..=254).prop_map(|(kind, name, n)| {
        let name = name.to_owned();
        match kind {
            0 => Edit::Address {
                name,
                address: AddressSpec::Fixed([10, 40, 8, n].into()),
            },
            1 if name != "S1" => Edit::How {
                name,
                how: if n % 2 == 0 { How::Static } else { How::Reserved },
            },
            2 => Edit::Macs {
                name,
                macs: (0..n % 3).map(|k| Mac::new([2, 0x52, 0x43, 1, n, k])).collect(),
            },
            3 => network(NetworkKey::Gateway((n % 2 == 0).then_some([10, 40, 8, n].into()))),
            4 => Edit::Reserved(
                (n % 2 == 0)
                    .then(|| "10.40.8.7".parse().unwrap())
                    .into_iter()
                    .collect(),
            ),
            5 => Edit::Blocks(
                (n % 2 == 0)
                    .then(|| (Role::Audio, "10.40.8.7-9".parse().unwrap()))
                    .into_iter()
                    .collect(),
            ),
            _ => Edit::Add(NewDevice {
                name: format!("New {n}"),
                role: Role::Other,
                macs: Vec::new(),
                address: AddressSpec::None,
                control: Vec::new(),
                note: None,
            }),
        }
    })
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(150) })]

    /// Edits that are made together make what they make one after the other.
    #[test]
    fn together_or_one_by_one_is_the_same(edits in prop::collection::vec(edit(), 1..12), crlf: bool) {
        let text = if crlf { EXAMPLE.replace('\n', "\r\n") } else { EXAMPLE.to_owned() };
        let mut one_by_one = document(&text);
        // What would break the file on its way there is not compared.
        for edit in &edits {
            prop_assume!(one_by_one.apply(std::slice::from_ref(edit)).is_ok());
        }
        let mut together = document(&text);
        prop_assert_eq!(together.apply(&edits).unwrap(), one_by_one.apply(&[]).unwrap());
        // Two new lines at one place may stand either way round, each as wide as its neighbour.
        let lines = |document: &RigDocument| {
            let mut lines: Vec<String> = document.text().split('\n').map(|line| line.replace(' ', "")).collect();
            lines.sort();
            lines
        };
        prop_assert_eq!(lines(&together), lines(&one_by_one));
    }
}

//! Any rig that a file can say: every key, every word, names as nasty as the format allows.

use std::collections::{BTreeMap, BTreeSet};
use std::net::Ipv4Addr;
use std::num::NonZeroU32;
use std::time::Duration;

use proptest::collection::{btree_map, vec};
use proptest::option;
use proptest::prelude::*;
use rig::{
    AddressSpec, AskWhen, Channel, Device, How, Need, Network, Plan, PoeType, PoeTypes, Power, Reach, Rig,
    Role, Switch, SwitchPort,
};
use vocab::{AddressRange, ControlPort, Mac, Pace};

/// Pieces of names: what spreadsheets, TOML and people's keyboards make trouble with.
const PIECES: [&str; 24] = [
    "Organ loft",
    ",",
    ";",
    "\"",
    "'",
    "''",
    "=",
    "=1+1",
    "+",
    "-",
    "@SUM(A1)",
    "/",
    "3",
    "1/3",
    "|",
    "\\",
    "<b>",
    "שלום",
    "🎥",
    "é",
    "e\u{301}",
    "by visca-tcp",
    "#",
    "[[device]]",
];

/// A name: not empty, no blanks at its ends, none twice.
fn name() -> impl Strategy<Value = String> {
    vec(prop::sample::select(PIECES.to_vec()), 1..4).prop_map(|pieces| pieces.join(" "))
}

/// Any free text that may stand in a file; blanks anywhere, or nothing at all.
fn free() -> impl Strategy<Value = String> {
    let piece = prop::sample::select(PIECES.to_vec());
    vec(
        prop_oneof![piece.prop_map(str::to_owned), Just(" ".to_owned())],
        0..5,
    )
    .prop_map(|pieces| pieces.concat())
}

/// Everything of a device but what must be unique.
fn device() -> impl Strategy<Value = Device> {
    let port = || option::of((name(), 1_u32..=1_024).prop_map(|(switch, port)| SwitchPort { switch, port }));
    let power = option::of(prop_oneof![
        (0_u8..=8).prop_map(Power::Class),
        (0_u16..1_000).prop_map(|n| Power::Watts(f64::from(n) / 10.0)),
    ]);
    let number = || option::of((0_u32..400_000).prop_map(|n| f64::from(n) / 1_000.0));
    let control = prop::collection::btree_set(
        prop::sample::select(vec![
            "visca-udp",
            "visca-tcp:5679",
            "visca-raw-udp",
            "http",
            "http:8080",
            "https",
            "rtsp:8554",
            "onvif",
            "tcp:9000",
        ]),
        0..4,
    );
    let words = (
        prop::sample::select(Role::LISTED.to_vec()),
        prop::sample::select(How::ALL.to_vec()),
        prop::sample::select(AskWhen::ALL.to_vec()),
        prop::sample::select(Need::ALL.to_vec()),
        any::<(bool, bool)>(),
        option::of(1_u64..=3_600),
    );
    let texts = (option::of(free()), option::of(free()), vec(free(), 0..3));
    (name(), words, control, port(), power, number(), number(), texts).prop_map(
        |(
            name,
            (role, how, ask, need, (sleeps, login), boot),
            control,
            port,
            power,
            cable_m,
            stream_mbps,
            texts,
        )| {
            let (position, note, used_by) = texts;
            let control: Vec<ControlPort> = control.iter().map(|text| text.parse().unwrap()).collect();
            Device {
                name,
                role,
                macs: Vec::new(),
                address: AddressSpec::None,
                network: Network::MAIN.into(),
                how,
                control,
                ask,
                need,
                sleeps,
                port,
                cable_m,
                power,
                stream_mbps,
                boot: boot.map_or_else(|| Device::usual_boot(role), Duration::from_secs),
                login: login.then(|| "env:HALL_CAMERAS".parse().unwrap()),
                position,
                note,
                used_by,
                channels: BTreeMap::new(),
            }
        },
    )
}

fn switch() -> impl Strategy<Value = Switch> {
    let kind = || prop::sample::select(PoeType::ALL.to_vec());
    let poe = prop_oneof![
        Just(PoeTypes::Unsaid),
        kind().prop_map(PoeTypes::All),
        (kind(), kind()).prop_map(|(a, b)| PoeTypes::Ranges(vec![(1, 4, a), (5, 5, b)])),
    ];
    let number = || option::of((1_u32..90_000).prop_map(|n| f64::from(n) / 8.0));
    let uplink = option::of((name(), 1_u32..99).prop_map(|(switch, port)| SwitchPort { switch, port }));
    (name(), option::of(5_u32..64), number(), poe, number(), uplink).prop_map(
        |(name, ports, budget_w, poe, uplink_mbps, uplink)| Switch {
            name,
            ports,
            budget_w,
            poe,
            uplink_mbps,
            uplink,
            address: None,
            network: Network::MAIN.into(),
            macs: Vec::new(),
        },
    )
}

/// A device or a switch, how it is addressed, on which network, and with how many ports of its own.
type Placed = (Result<Device, Switch>, u8, usize, usize);

fn placed() -> impl Strategy<Value = Placed> {
    let one = prop_oneof![4 => device().prop_map(Ok), 1 => switch().prop_map(Err)];
    (one, 0_u8..4, 0_usize..3, 0_usize..3)
}

fn pace() -> impl Strategy<Value = Pace> {
    prop_oneof![
        Just(Pace::Own),
        Just(Pace::House),
        (1_u32..2_000).prop_map(|n| Pace::PerSecond(NonZeroU32::new(n).unwrap())),
    ]
}

/// The main network and up to two beside it.
fn networks() -> impl Strategy<Value = Vec<Network>> {
    let one = (any::<bool>(), any::<bool>(), 0_usize..3, pace(), any::<bool>());
    vec(one, 1..4).prop_map(|all| {
        let named = ["main", "media", "office_2"].into_iter().zip(0_u8..);
        named
            .zip(all)
            .map(|((name, n), (routed, gateway, leases, pace, shared))| {
                let address = |last| Ipv4Addr::new(10, 40, n, last);
                let lease = |from: u8| AddressRange::new(address(from), address(from + 4)).unwrap();
                Network {
                    name: name.into(),
                    reach: if routed && n > 0 {
                        Reach::Routed
                    } else {
                        Reach::Wire
                    },
                    subnet: format!("10.40.{n}.0/24").parse().unwrap(),
                    gateway: gateway.then(|| address(254)),
                    // Not in the order of addresses: their order is the file's.
                    leases: [lease(220), lease(200)].into_iter().take(leases).collect(),
                    pace,
                    shared,
                }
            })
            .collect()
    })
}

fn plan() -> impl Strategy<Value = Plan> {
    let range = |from: u8| AddressRange::new([10, 40, 0, from].into(), [10, 40, 0, from + 5].into()).unwrap();
    let blocks = btree_map(prop::sample::select(Role::ALL.to_vec()), Just(()), 0..3).prop_map(move |roles| {
        let ranges = (0_u8..).map(|n| range(20 + n * 10));
        roles.into_keys().zip(ranges).collect()
    });
    (0_usize..3, blocks).prop_map(move |(reserved, blocks)| Plan {
        reserved: [range(180), range(160)].into_iter().take(reserved).collect(),
        blocks,
    })
}

/// Any rig. Channels point from device to device by their places, modulo how many there are.
pub(crate) fn rig() -> impl Strategy<Value = Rig> {
    let channels = vec((0_usize..99, 0_u32..30, 0_usize..99, any::<bool>()), 0..12);
    (
        option::of(free()),
        networks(),
        vec(placed(), 0..9),
        plan(),
        channels,
    )
        .prop_map(|(title, mut networks, rows, plan, channels)| {
            let mut names = BTreeSet::new();
            let (mut devices, mut switches) = (Vec::new(), Vec::new());
            for (n, (one, addressing, network, macs)) in (0_u8..).zip(rows) {
                let network = &networks[network % networks.len()];
                let [a, b, c, _] = network.subnet.network().octets();
                let address = Ipv4Addr::new(a, b, c, n + 1);
                let macs: Vec<Mac> = (0..macs)
                    .map(|k| Mac::new([2, 0x52, 0x43, 0, k as u8, n]))
                    .collect();
                let mut unique = |name: String| {
                    let name = if names.contains(&name) {
                        format!("{name} {n}")
                    } else {
                        name
                    };
                    names.insert(name.clone());
                    name
                };
                match one {
                    Ok(mut device) => {
                        device.name = unique(device.name);
                        device.address = match addressing {
                            0 => AddressSpec::None,
                            1 if network.reach == Reach::Wire => AddressSpec::Dhcp,
                            _ => AddressSpec::Fixed(address),
                        };
                        device.macs = macs;
                        device.network.clone_from(&network.name);
                        devices.push(device);
                    }
                    Err(mut switch) => {
                        switch.name = unique(switch.name);
                        switch.address = (addressing > 1).then_some(address);
                        switch.macs = macs;
                        switch.network.clone_from(&network.name);
                        if switch.address.is_some() {
                            devices.push(as_device(&switch));
                        }
                        switches.push(switch);
                    }
                }
            }
            connect(&mut devices, &channels);
            let network = networks.remove(0);
            Rig {
                title: title.unwrap_or_default(),
                network,
                others: networks,
                switches,
                devices,
                plan,
            }
        })
}

fn connect(devices: &mut [Device], channels: &[(usize, u32, usize, bool)]) {
    let names: Vec<String> = devices.iter().map(|d| d.name.clone()).collect();
    for (panel, number, target, by) in channels {
        let count = devices.len().max(1);
        let Some(panel) = devices.get_mut(panel % count).filter(|d| d.role != Role::Switch) else {
            continue;
        };
        let channel = Channel {
            device: names[target % count].clone(),
            control: by.then(|| "visca-tcp:5679".parse().unwrap()),
        };
        panel.channels.insert(*number, channel);
    }
}

/// As the reader makes a device of a switch with an address.
fn as_device(switch: &Switch) -> Device {
    Device {
        name: switch.name.clone(),
        role: Role::Switch,
        macs: switch.macs.clone(),
        address: AddressSpec::Fixed(switch.address.unwrap()),
        network: switch.network.clone(),
        how: How::Static,
        control: Vec::new(),
        ask: AskWhen::Once,
        need: Need::Show,
        sleeps: false,
        port: switch.uplink.clone(),
        cable_m: None,
        power: None,
        stream_mbps: None,
        boot: Device::usual_boot(Role::Switch),
        login: None,
        position: None,
        note: None,
        used_by: Vec::new(),
        channels: BTreeMap::new(),
    }
}

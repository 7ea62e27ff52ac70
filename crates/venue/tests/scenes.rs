//! Every scene against its own rig file, its planned trouble, and itself on a second run.

#![allow(clippy::unwrap_used)]

mod common;

use std::collections::BTreeMap;
use std::net::Ipv4Addr;

use common::{Bench, OURS, ip, mac, secs};
use toml_edit::{DocumentMut, Item};
use venue::{Scene, Truth, Venue, scene, scenes};
use vocab::{AddressRange, ControlPort, Ipv4Net, Mac, Mode, Moment};
use wire::arp;

struct Listed {
    name: String,
    mac: Mac,
    address: Option<Ipv4Addr>,
    control: Vec<ControlPort>,
}

struct Rig {
    subnet: Ipv4Net,
    gateway: Option<Ipv4Addr>,
    leases: Vec<AddressRange>,
    devices: Vec<Listed>,
}

fn text<'a>(item: &'a Item, key: &str) -> Option<&'a str> {
    item.get(key).and_then(Item::as_str)
}

fn read(scene: &Scene) -> Rig {
    let doc: DocumentMut = scene.rig.parse().unwrap();
    assert_eq!(doc["format"].as_integer(), Some(1));
    assert!(!doc["title"].as_str().unwrap().is_empty());
    let net = &doc["network"];
    let leases = net.get("leases").and_then(Item::as_array);
    // What stands on other networks is not in the main one's venue.
    let devices = doc["device"].as_array_of_tables().unwrap().iter();
    let devices = devices
        .filter(|table| table.get("network").is_none())
        .map(|table| {
            let item = Item::Table(table.clone());
            let address = text(&item, "address").unwrap();
            let words = item.get("control").and_then(Item::as_array);
            Listed {
                name: text(&item, "name").unwrap().to_owned(),
                mac: text(&item, "mac").unwrap().parse().unwrap(),
                address: (address != "dhcp").then(|| address.parse().unwrap()),
                control: words
                    .into_iter()
                    .flatten()
                    .map(|w| w.as_str().unwrap().parse().unwrap())
                    .collect(),
            }
        });
    Rig {
        subnet: text(net, "subnet").unwrap().parse().unwrap(),
        gateway: text(net, "gateway").map(|g| g.parse().unwrap()),
        leases: leases
            .into_iter()
            .flatten()
            .map(|l| l.as_str().unwrap().parse().unwrap())
            .collect(),
        devices: devices.collect(),
    }
}

fn bench(name: &str, seed: u64) -> Bench {
    Bench::of(Venue::new(&scene(name).unwrap(), seed))
}

/// Names of the listed devices that do not stand as the rig file says.
fn out_of_place(rig: &Rig, truth: &Truth) -> Vec<String> {
    let stands = |d: &Listed| {
        let Some(host) = truth.host(&d.name) else {
            return false;
        };
        let mut expected = d.control.clone();
        let mut open = host.open.clone();
        expected.sort();
        open.sort();
        let at_home = match d.address {
            Some(address) => truth.holders.get(&address).is_some_and(|h| *h == [d.mac]),
            None => host.addresses.iter().any(|net| rig.subnet.contains(&net.addr())),
        };
        host.mac == d.mac && host.passing && at_home && open == expected
    };
    rig.devices
        .iter()
        .filter(|d| !stands(d))
        .map(|d| d.name.clone())
        .collect()
}

#[test]
fn every_scene_is_complete_and_its_rig_fits_our_computer() {
    let all = scenes();
    let names: Vec<_> = all.iter().map(|s| s.name).collect();
    assert_eq!(
        names,
        [
            "calm",
            "tangled",
            "strayed",
            "power",
            "clash",
            "late",
            "leases",
            "cable",
            "house",
            "grand",
            "standings",
            "hidden",
            "named",
            "heard",
            "networks",
            "held",
            "dozing",
            "traps",
            "apart",
            "brownout",
            "uplink",
            "damaged",
            "moving",
            "crossed",
            "unpacked",
            "hostile"
        ]
    );
    for scene in &all {
        assert!(
            !scene.title.is_empty() && scene.about.ends_with('.'),
            "{}",
            scene.name
        );
        let rig = read(scene);
        let station = Venue::new(scene, 1).station();
        assert_eq!(
            (station.name.as_str(), station.mode),
            ("rehearsal", Mode::Simulated)
        );
        assert!(station.mac.is_local());
        let own = station.addresses[0];
        assert_eq!(own.trunc(), rig.subnet, "{}", scene.name);
        let mut seen = BTreeMap::new();
        for d in &rig.devices {
            assert!(
                d.mac.is_local() && d.mac.prefix() == [0x02, 0x52, 0x43],
                "{}",
                d.name
            );
            if let Some(address) = d.address {
                assert!(
                    rig.subnet.contains(&address) && Some(address) != rig.gateway,
                    "{}",
                    d.name
                );
                assert!(address != own.addr(), "{} has our address", d.name);
                assert!(
                    !rig.leases.iter().any(|l| l.contains(address)),
                    "{} in the pool",
                    d.name
                );
                assert!(seen.insert(address, &d.name).is_none(), "{} twice", d.name);
            }
        }
    }
}

/// Everybody in the hall.
const HALL: [&str; 12] = [
    "Organ loft",
    "West door",
    "Stage left",
    "Stage right",
    "Gallery centre",
    "Conductor",
    "Foyer",
    "Desk panel",
    "Vision mixer",
    "Stream encoder",
    "Recorder",
    "Desk laptop",
];

#[test]
fn each_scene_ends_or_stands_with_just_the_trouble_that_is_planned() {
    let trouble: [(&str, u64, &[&str]); 32] = [
        ("calm", 5, &[]),
        ("cable", 5, &[]),
        ("damaged", 5, &[]),
        ("dozing", 5, &[]),
        ("clash", 5, &[]),
        ("clash", 40, &["Stage left"]),
        ("clash", 80, &[]),
        ("power", 150, &[]),
        ("traps", 5, &["Beacon", "Gangway", "Titles", "Cue laptop"]),
        ("apart", 5, &HALL),
        ("uplink", 110, &[]),
        ("moving", 5, &["Ramp", "Jetty"]),
        ("moving", 70, &[]),
        ("crossed", 5, &[]),
        ("unpacked", 5, &["Helm", "Compass", "Sextant"]),
        ("hostile", 30, &[]),
        ("held", 31, &[]),
        ("brownout", 5, &[]),
        ("brownout", 280, &["Balcony"]),
        ("brownout", 340, &[]),
        ("house", 5, &[]),
        ("leases", 20, &[]),
        // Its ONVIF stands at another port than the usual one, and it says so.
        ("heard", 20, &["Gallery centre", "Foyer"]),
        ("grand", 5, &[]),
        ("late", 120, &["Spare camera"]),
        ("hidden", 2, &["Tower", "Porch"]),
        ("hidden", 40, &["Tower"]),
        ("networks", 5, &["Wheel"]),
        ("tangled", 5, &["Pulpit", "Nave", "Choir", "Font", "Lectern"]),
        ("strayed", 5, &["Quay", "Ramp", "Jetty"]),
        ("late", 40, &["Ceiling", "Spare camera", "Recorder"]),
        (
            "standings",
            40,
            &[
                "Starting",
                "No control",
                "Missing",
                "Wrong subnet",
                "Wrong address",
                "Different unit",
                "Two on one address",
            ],
        ),
    ];
    for (name, at, expected) in trouble {
        let rig = read(&scene(name).unwrap());
        for seed in 0..3 {
            let mut venue = Venue::new(&scene(name).unwrap(), seed);
            venue.advance(Moment::from_secs(at));
            assert_eq!(
                out_of_place(&rig, &venue.truth()),
                expected,
                "{name} at {at} s, seed {seed}"
            );
        }
    }
}

#[test]
fn the_gateway_answers_where_there_is_one() {
    for scene in scenes() {
        let Some(gateway) = read(&scene).gateway else {
            continue;
        };
        let mut bench = Bench::of(Venue::new(&scene, 1));
        // A new port of our own may be held back.
        while !bench.venue.truth().hosts.iter().any(|h| h.passing) {
            bench.run(secs(1));
        }
        let own = bench.venue.station().addresses[0].addr();
        let holders = bench.who_has(gateway, own);
        assert!(!holders.is_empty(), "{}", scene.name);
        assert!(
            bench.ping_as(gateway, holders[0], own).is_some(),
            "{}",
            scene.name
        );
    }
}

#[test]
fn the_dark_switch_takes_seven_cameras_and_they_return_one_after_another() {
    let mut bench = bench("power", 1);
    let rig = read(&scene("power").unwrap());
    bench.run_to(25);
    assert_eq!(
        out_of_place(&rig, &bench.venue.truth()).len(),
        8,
        "seven cameras and the panel"
    );
    let mut last = 8;
    let mut steps = 0;
    for at in (40..150).step_by(5) {
        bench.run_to(at);
        let out = out_of_place(&rig, &bench.venue.truth()).len();
        assert!(out <= last);
        steps += usize::from(out < last);
        last = out;
    }
    assert_eq!(last, 0);
    assert!(steps >= 5, "not all at once: {steps}");
}

#[test]
fn the_guest_announces_the_cameras_address_and_both_answer() {
    let mut bench = bench("clash", 1);
    bench.run_to(30);
    let guest = mac(0xd1);
    let announced = bench
        .arps()
        .into_iter()
        .find(|(_, a)| a.is_announcement() && a.sender_mac == guest)
        .unwrap();
    assert_eq!(announced.1.sender_ip, ip(23));
    assert!(
        (25.0..26.0).contains(&announced.0.since(Moment::ZERO).as_secs_f64()),
        "{:?}",
        announced.0
    );
    let mut both = bench.who_has(ip(23), ip(230));
    both.sort();
    assert_eq!(both, [mac(23), guest]);
    bench.run_to(71);
    assert_eq!(bench.who_has(ip(23), ip(230)), [mac(23)]);
}

/// A log of all that the jack heard, with some asking in between, as bytes.
fn log(name: &str, seed: u64, seconds: u64) -> Vec<(Moment, Vec<u8>)> {
    let mut bench = bench(name, seed);
    let own = bench.venue.station().addresses[0];
    for n in 0..seconds {
        for address in own.hosts().skip(usize::try_from(n).unwrap() * 8 % 200).take(8) {
            // The link may be down, by the scene.
            let _ = link::FramePort::send(
                &mut bench.venue,
                &arp::request_frame(OURS, own.addr(), address, Mac::BROADCAST),
            );
        }
        bench.run(secs(1));
    }
    bench.heard
}

#[test]
fn a_seed_replays_byte_by_byte_and_another_does_not() {
    for scene in scenes() {
        let first = log(scene.name, 42, 60);
        assert!(!first.is_empty(), "{}", scene.name);
        assert!(first == log(scene.name, 42, 60), "{} does not replay", scene.name);
        assert!(
            first != log(scene.name, 43, 60),
            "{}: the seed does nothing",
            scene.name
        );
    }
}

#[test]
fn all_frames_are_well_formed() {
    // Where some are broken on purpose, that is what is played.
    for scene in scenes().into_iter().filter(|scene| scene.name != "hostile") {
        for (at, bytes) in log(scene.name, 7, 60) {
            let heard = wire::peek(&bytes);
            assert!(heard.is_ok(), "{} at {at:?}: {heard:?}", scene.name);
            assert!(bytes.len() >= 60, "{} at {at:?}: a runt", scene.name);
        }
    }
}

#[test]
fn a_full_house_answers_whole() {
    let mut bench = bench("grand", 1);
    let own = bench.venue.station().addresses[0];
    for address in own.hosts() {
        bench.send(&arp::request_frame(OURS, own.addr(), address, Mac::BROADCAST));
    }
    bench.run(secs(1));
    let mut answered: Vec<_> = bench.arps().into_iter().map(|(_, a)| a.sender_ip).collect();
    answered.sort();
    answered.dedup();
    assert_eq!(answered.len(), 253);
    assert_eq!(
        bench.venue.next_wake(),
        None,
        "nothing left to do: no tick goes over all hosts"
    );
}

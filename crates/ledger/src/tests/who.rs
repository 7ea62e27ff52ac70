//! Which stranger is which missing device, and who changed places.

use std::borrow::Cow;

use rig::Device;
use vocab::{ArpForm, Ask, ControlPort, ControlState, Mac};

use super::world::{Unit, World, device, ip, mac, rig, settings};
use crate::{FindingKind, Ledger, Likely, Purpose, Standing, Vendors};

/// Hardware addresses for documentation (RFC 7042 section 2.1.2), the only ones with a readable
/// maker that nobody has.
fn made(n: u8) -> Mac {
    Mac::new([0, 0, 0x5e, 0, 0x53, n])
}

fn port(word: &str) -> ControlPort {
    word.parse().unwrap()
}

fn camera(name: &str, n: u8) -> Device {
    let mut camera = device(name, n);
    camera.macs = vec![made(n)];
    camera.control = vec![port("visca-udp"), port("rtsp")];
    camera
}

fn unit(mac: Mac, address: &str, words: &[&str]) -> Unit {
    let mut unit = Unit::new(0, address);
    unit.mac = mac;
    unit.ports = words.iter().map(|w| (port(w), ControlState::Answered)).collect();
    unit
}

/// A hall with two cameras, "Organ loft" (.21) and "West door" (.22), and these units.
fn hall(units: Vec<Unit>) -> World {
    let mut settings = settings(
        rig(vec![camera("Organ loft", 21), camera("West door", 22)]),
        Purpose::Board,
    );
    settings.vendors = Vendors::new(Cow::Borrowed(b"00005E\tRopewalk Works\n"));
    let mut world = World::new(settings.clone(), units);
    world.ledger = Ledger::new(settings, world.now);
    world.plug();
    world.run(8.0);
    world
}

fn west() -> Unit {
    unit(made(22), "10.40.8.22", &["visca-udp", "rtsp"])
}

fn likely(world: &World, name: &str) -> Option<Likely> {
    world
        .snapshot()
        .devices
        .into_iter()
        .find(|d| d.name == name)
        .and_then(|d| d.likely)
}

fn ports_asked(world: &World, address: &str) -> usize {
    world
        .asked
        .iter()
        .filter(|(_, ask)| {
            let (Ask::Control { address: a, .. } | Ask::ControlAway { address: a, .. }) = ask else {
                return false;
            };
            *a == ip(address)
        })
        .count()
}

#[test]
fn a_stranger_of_the_rigs_maker_is_asked_and_named() {
    let world = hall(vec![
        west(),
        unit(made(99), "10.40.8.133", &["visca-udp", "rtsp"]),
    ]);
    assert_eq!(world.standing("Organ loft"), Standing::Missing);
    let found = likely(&world, "Organ loft").unwrap();
    assert_eq!((found.mac, found.address), (made(99), Some(ip("10.40.8.133"))));
    // 30 for the maker of the listed hardware, 40 for the services.
    assert!((found.score - 0.7).abs() < 1e-9);
    let missing = world.findings(FindingKind::Missing).pop().unwrap();
    assert!(
        missing.text.ends_with(
            "It is probably the host at 10.40.8.133, because it answers visca-udp and rtsp, as the file lists, \
             and it is made by Ropewalk Works, as the listed hardware is."
        ),
        "{}",
        missing.text
    );
    assert!(missing.advice.contains("00:00:5e:00:53:63") && missing.advice.contains("gallery, left"));
    let snapshot = world.snapshot();
    assert_eq!(snapshot.unlisted[0].resembles[0].device, "Organ loft");
    assert_eq!(snapshot.unlisted[0].resembles[0].because, found.because);
    assert_eq!(ports_asked(&world, "10.40.8.133"), 2);
}

#[test]
fn a_stranger_that_could_be_nobody_is_left_in_peace() {
    // Its hardware address was given locally, and its address says nothing.
    let mut world = hall(vec![west(), unit(mac(99), "10.40.8.133", &["visca-udp", "rtsp"])]);
    world.run(30.0);
    assert_eq!(likely(&world, "Organ loft"), None);
    assert_eq!(ports_asked(&world, "10.40.8.133"), 0);
}

#[test]
fn nobodys_ports_are_asked_while_nobody_is_missing() {
    let organ = unit(made(21), "10.40.8.21", &["visca-udp", "rtsp"]);
    let mut world = hall(vec![organ, west(), unit(made(99), "10.40.8.133", &["visca-udp"])]);
    world.run(30.0);
    assert_eq!(ports_asked(&world, "10.40.8.133"), 0);
    assert!(world.snapshot().unlisted[0].resembles.is_empty());
}

#[test]
fn one_stranger_is_never_two_devices_and_the_guess_ends_with_the_doubt() {
    let mut world = hall(vec![
        unit(made(99), "10.40.8.133", &["visca-udp", "rtsp"]),
        unit(made(98), "10.40.8.134", &["visca-udp"]),
    ]);
    let both: Vec<_> = ["Organ loft", "West door"]
        .iter()
        .filter_map(|n| likely(&world, n))
        .map(|l| l.mac)
        .collect();
    assert_eq!(both.len(), 1, "{both:?}");
    world.units.push(west());
    world
        .units
        .push(unit(made(21), "10.40.8.21", &["visca-udp", "rtsp"]));
    world.run(20.0);
    assert_eq!(likely(&world, "Organ loft").or(likely(&world, "West door")), None);
    assert!(world.snapshot().unlisted.iter().all(|h| h.resembles.is_empty()));
}

#[test]
fn a_foreign_stranger_that_came_when_the_device_went_is_asked_where_it_is_and_named() {
    let mut world = hall(vec![west(), unit(made(21), "10.40.8.21", &["visca-udp", "rtsp"])]);
    assert_eq!(world.standing("Organ loft"), Standing::Present);
    world.units[1] = unit(mac(99), "192.168.0.20", &["visca-udp", "rtsp"]);
    world.run(10.0);
    world.announce(mac(99), "192.168.0.20");
    world.run(5.0);
    let found = likely(&world, "Organ loft").unwrap();
    // 20 factory, 15 foreign, 20 appeared, and 40 for the ports: it is almost certain.
    assert!((found.score - 0.95).abs() < 1e-9, "{found:?}");
    assert_eq!(ports_asked(&world, "192.168.0.20"), 2);
}

#[test]
fn two_that_hold_each_others_addresses_have_changed_places() {
    let units = vec![
        unit(made(21), "10.40.8.22", &["visca-udp", "rtsp"]),
        unit(made(22), "10.40.8.21", &["visca-udp", "rtsp"]),
    ];
    let mut world = hall(units);
    for name in ["Organ loft", "West door"] {
        assert_eq!(world.standing(name), Standing::Moved);
    }
    let texts: Vec<_> = world
        .findings(FindingKind::Moved)
        .into_iter()
        .map(|f| f.text)
        .collect();
    assert_eq!(
        texts,
        [
            "Organ loft and West door have changed places: Organ loft is at 10.40.8.22, West door at 10.40.8.21.",
            "West door and Organ loft have changed places: West door is at 10.40.8.21, Organ loft at 10.40.8.22."
        ]
    );
    // One of them goes home, on top of the other: that is a clash, and no exchange any more.
    world.units[0].addresses = vec![ip("10.40.8.21")];
    world.run(10.0);
    assert_eq!(world.standing("Organ loft"), Standing::Conflict);
    let rest = world.snapshot().findings;
    assert!(
        rest.iter().all(|f| !f.text.contains("changed places")),
        "{rest:?}"
    );
}

#[test]
fn an_intruder_beside_two_that_changed_places_does_not_hide_it() {
    let units = vec![
        unit(made(21), "10.40.8.22", &[]),
        unit(made(22), "10.40.8.21", &[]),
        unit(mac(99), "10.40.8.21", &[]),
    ];
    let mut world = hall(units);
    world.run(20.0);
    assert_eq!(world.standing("Organ loft"), Standing::Conflict);
    let clash = world.findings(FindingKind::AddressConflict).pop().unwrap();
    assert!(
        clash
            .text
            .ends_with("Organ loft and West door have changed places."),
        "{}",
        clash.text
    );
}

#[test]
fn an_accepted_match_is_judged_at_once_and_disturbs_nobody() {
    let mut world = hall(vec![
        west(),
        unit(made(99), "10.40.8.133", &["visca-udp", "rtsp"]),
    ]);
    let found = likely(&world, "Organ loft").unwrap();
    let mut organ = camera("Organ loft", 21);
    organ.macs = vec![found.mac];
    world.changes.clear();
    let since = world.snapshot().devices[1].since;
    world
        .ledger
        .take_rig(rig(vec![organ, camera("West door", 22)]), world.now);
    assert_eq!(world.standing("Organ loft"), Standing::Moved);
    let snapshot = world.snapshot();
    assert_eq!(snapshot.devices[1].standing, Standing::Present);
    assert_eq!(snapshot.devices[1].since, since);
    assert_eq!(snapshot.unlisted, []);
    // Set to its address in its own menu, it is ready, and never was anything else on the way.
    world.units[1].addresses = vec![ip("10.40.8.21")];
    world.announce(made(99), "10.40.8.21");
    world.run(10.0);
    assert!(world.ledger.ready(), "{:?}", world.snapshot().findings);
    assert_eq!(world.course("West door"), []);
    assert_eq!(
        world.course("Organ loft"),
        [Standing::Moved, Standing::Starting, Standing::Present]
    );
}

#[test]
fn devices_may_come_go_and_change_their_order_in_a_changed_file() {
    let mut world = hall(vec![west(), unit(made(23), "10.40.8.23", &["visca-udp", "rtsp"])]);
    let rig = rig(vec![
        camera("Nave", 23),
        camera("West door", 22),
        camera("Crypt", 24),
    ]);
    world.ledger.take_rig(rig, world.now);
    assert_eq!(world.standing("West door"), Standing::Present);
    world.run(10.0);
    assert_eq!(world.standing("Nave"), Standing::Present);
    assert_eq!(world.standing("West door"), Standing::Present);
    assert_eq!(world.standing("Crypt"), Standing::Missing);
    assert_eq!(world.ledger.standing("Organ loft"), None);
    // What nobody lists any more is not asked for.
    world.asked.clear();
    world.run(30.0);
    let old = |ask: &Ask| matches!(ask, Ask::Arp { address, .. } if *address == ip("10.40.8.21"));
    assert!(!world.asked.iter().any(|(_, ask)| old(ask)));
}

#[test]
fn another_network_in_the_file_begins_anew() {
    let mut world = hall(vec![west()]);
    let mut other = rig(vec![camera("West door", 22)]);
    other.network.subnet = "10.40.0.0/16".parse().unwrap();
    world.ledger.take_rig(other, world.now);
    assert_eq!(world.standing("West door"), Standing::Unknown);
    world.run(5.0);
    assert_eq!(world.standing("West door"), Standing::Present);
}

#[test]
fn a_guess_ends_when_its_stranger_leaves() {
    let mut world = hall(vec![
        west(),
        unit(made(99), "10.40.8.133", &["visca-udp", "rtsp"]),
    ]);
    assert!(likely(&world, "Organ loft").is_some());
    world.asked.clear();
    world.run(60.0);
    assert!(likely(&world, "Organ loft").is_some(), "it is still there");
    let asked = |world: &World| {
        world
            .asked
            .iter()
            .filter(|(_, ask)| matches!(ask, Ask::Arp { address, .. } if *address == ip("10.40.8.133")))
            .map(|(at, ask)| match ask {
                Ask::Arp { form, .. } => (*at, *form),
                _ => unreachable!(),
            })
            .collect::<Vec<_>>()
    };
    let questions = asked(&world);
    assert!(
        (5..=7).contains(&questions.len()),
        "one in ten seconds: {questions:?}"
    );
    assert!(
        questions
            .iter()
            .all(|(_, form)| *form == ArpForm::Unicast(made(99)))
    );
    world.units[1].on = false;
    world.run(16.0);
    assert_eq!(likely(&world, "Organ loft"), None);
    assert!(world.snapshot().unlisted.iter().all(|h| h.resembles.is_empty()));
    // Nobody is asked who is no longer meant.
    world.asked.clear();
    world.run(60.0);
    assert_eq!(asked(&world), []);
    // It comes back, and so does the guess.
    world.units[1].on = true;
    world.announce(made(99), "10.40.8.133");
    world.run(3.0);
    assert!(likely(&world, "Organ loft").is_some());
}

#[test]
fn a_guess_about_a_foreign_stranger_ends_too() {
    let mut world = hall(vec![west(), unit(made(21), "10.40.8.21", &[])]);
    world.units[1] = unit(mac(99), "192.168.0.20", &["visca-udp", "rtsp"]);
    world.run(10.0);
    world.announce(mac(99), "192.168.0.20");
    world.run(60.0);
    assert!(likely(&world, "Organ loft").is_some());
    world.units[1].on = false;
    world.run(50.0);
    assert_eq!(likely(&world, "Organ loft"), None);
}

//! Watching only: one question a second to each device, and nothing else.

use vocab::{ArpForm, Ask, ControlPort, ControlState, Fact, Moment, Rank};

use super::world::{Unit, World, device, ip, mac, secs};
use crate::{Purpose, Standing};

const HTTP: ControlPort = ControlPort {
    word: vocab::ControlWord::Http,
    port: 80,
};

fn world(watch_only: bool) -> World {
    let devices = (21..25)
        .map(|n| {
            let mut one = device(&format!("Unit {n}"), n);
            one.control = vec![HTTP];
            one
        })
        .collect();
    let mut units: Vec<Unit> = (21..25).map(Unit::good).collect();
    for unit in &mut units {
        unit.ports.insert(HTTP, ControlState::Answered);
    }
    units.push(Unit::new(99, "10.40.8.99"));
    let mut r = super::world::rig(devices);
    r.network.gateway = Some(super::world::ip("10.40.8.1"));
    let mut w = World::new(super::world::settings(r, Purpose::Board), units);
    if watch_only {
        w.see(Fact::WatchOnly(true));
    }
    w.plug();
    w
}

/// What left since `from`: never more than one question in any second to one address, and each to a device.
fn spares(w: &World, from: f64) -> usize {
    let left: Vec<_> = w.asked.iter().filter(|(at, _)| *at >= secs(from)).collect();
    for (n, (at, ask)) in left.iter().enumerate() {
        let Ask::Arp {
            address,
            form,
            rank: Rank::Rig,
            ..
        } = ask
        else {
            panic!("{ask:?} at {at:?}");
        };
        assert!((21..25).contains(&address.octets()[3]), "{ask:?}");
        assert!(!matches!(form, ArpForm::Nobody), "{ask:?}");
        let next = left[n + 1..]
            .iter()
            .find(|(_, a)| matches!(a, Ask::Arp { address: b, .. } if b == address));
        if let Some((next, _)) = next {
            assert!(
                next.since(*at).as_millis() >= 950,
                "{address} at {at:?} and {next:?}"
            );
        }
    }
    left.len()
}

#[test]
fn only_the_devices_are_asked_once_a_second_and_all_stay_as_they_are() {
    let mut w = world(false);
    w.run_to(secs(30.0));
    let before = w.snapshot();
    assert_eq!(before.counts.of(Standing::Present), 4);
    w.see(Fact::WatchOnly(true));
    // What was handed out before has left by now.
    w.run(0.5);
    let from = 30.5;
    w.run(60.0);
    let left = spares(&w, from);
    assert!((200..=244).contains(&left), "{left} questions in 60 s to four");
    let after = w.snapshot();
    assert!(after.watch_only && after.level() == vocab::Level::Watch);
    assert_eq!(after.counts, before.counts);
    assert_eq!(
        after.devices[0].control, before.devices[0].control,
        "as it was last told"
    );
    assert!(
        after.unseen.iter().any(|s| s.starts_with("Watching only")),
        "{:?}",
        after.unseen
    );
    // And all again.
    w.see(Fact::WatchOnly(false));
    w.run(10.0);
    assert!(
        w.asked
            .iter()
            .any(|(at, a)| *at > secs(91.0) && matches!(a, Ask::Echo { .. }))
    );
}

#[test]
fn a_loss_and_a_return_are_noticed_sparingly() {
    let mut w = world(false);
    w.run_to(secs(30.0));
    w.see(Fact::WatchOnly(true));
    w.run(5.0);
    w.units[1].on = false;
    let at = w.run_until(10.0, |w| w.standing("Unit 22") == Standing::Missing);
    assert!(at < secs(42.0), "{at:?}");
    w.run(20.0);
    spares(&w, 30.5);
    w.units[1].on = true;
    w.run_until(3.0, |w| w.standing("Unit 22") != Standing::Missing);
    w.run(20.0);
    spares(&w, 30.5);
}

#[test]
fn from_the_start_too() {
    let mut w = world(true);
    w.run(20.0);
    let left = spares(&w, 0.0);
    assert!((60..=84).contains(&left), "{left}");
    assert_eq!(w.snapshot().counts.of(Standing::Present), 4);
    assert!(
        w.snapshot().headline.contains("Control ports not asked"),
        "{}",
        w.snapshot().headline
    );
    assert!(w.ledger.ready());
}

#[test]
fn a_device_in_two_places_is_asked_at_one_of_them_a_second() {
    let mut w = world(false);
    w.run_to(secs(10.0));
    w.units[0].addresses = vec!["10.40.8.120".parse().unwrap()];
    w.announce(w.units[0].mac, "10.40.8.120");
    w.run_until(30.0, |w| w.standing("Unit 21") == Standing::Moved);
    w.see(Fact::WatchOnly(true));
    w.run(1.0);
    let from = w.now;
    w.run(20.0);
    let places = ["10.40.8.21", "10.40.8.120"].map(|a| a.parse::<std::net::Ipv4Addr>().unwrap());
    let about = |ask: &Ask| matches!(ask, Ask::Arp { address, .. } if places.contains(address));
    let times: Vec<_> = w
        .asked
        .iter()
        .filter(|(at, ask)| *at >= from && about(ask))
        .collect();
    assert!((18..=21).contains(&times.len()), "{times:?}");
    assert!(
        times.windows(2).all(|t| t[1].0.since(t[0].0).as_millis() >= 950),
        "{times:?}"
    );
    for place in places {
        assert!(
            times
                .iter()
                .any(|(_, ask)| matches!(ask, Ask::Arp { address, .. } if *address == place))
        );
    }
}

#[test]
fn after_a_gap_the_devices_are_found_again_by_dhcp_too_and_nobody_sooner() {
    let mut devices: Vec<_> = (21..25).map(|n| device(&format!("Unit {n}"), n)).collect();
    devices[2].address = rig::AddressSpec::Dhcp;
    let mut w = World::board(devices, (21..25).map(Unit::good).collect());
    w.run_to(secs(10.0));
    w.see(Fact::WatchOnly(true));
    w.run(1.0);
    let from = 10.5;
    w.run(5.4);
    w.see(Fact::Gap(vocab::Gap::Slept(std::time::Duration::from_mins(1))));
    w.run(5.0);
    assert_eq!(w.snapshot().counts.of(Standing::Present), 4);
    spares(&w, from);
    // And all again: whoever came meanwhile is found.
    w.units.push(Unit::new(99, "10.40.8.99"));
    w.see(Fact::WatchOnly(false));
    w.run(3.0);
    assert_eq!(w.snapshot().unlisted.len(), 1);
}

#[test]
fn a_stranger_that_starts_is_not_asked() {
    let mut w = world(true);
    w.run(5.0);
    w.announce(super::world::mac(98), "10.40.8.98");
    w.run(5.0);
    spares(&w, 0.0);
}

#[test]
fn nothing_at_all_is_stronger() {
    let mut w = world(true);
    w.run(10.0);
    w.listen_only(true);
    let before = w.asked.len();
    w.run(10.0);
    assert_eq!(w.asked.len(), before);
    assert_eq!(w.snapshot().level(), vocab::Level::Silent);
    assert!(w.snapshot().unseen.iter().any(|s| s.contains("own system")));
}

/// Never more than one question a second to one device: to one of several alone, or to all of them.
fn spares_each(w: &World, from: Moment) {
    let of = |ask: &Ask| match ask {
        Ask::Arp { address, form, .. } => match form {
            ArpForm::Unicast(mac) => Some((*address, Some(*mac))),
            ArpForm::Broadcast | ArpForm::Nobody => Some((*address, None)),
        },
        Ask::Echo { address, mac, .. } => Some((*address, *mac)),
        _ => None,
    };
    let left: Vec<_> = w.asked.iter().filter(|(at, _)| *at >= from).collect();
    for (n, (at, ask)) in left.iter().enumerate() {
        let (address, to) = of(ask).unwrap_or_else(|| panic!("{ask:?}"));
        let same = |(b, other): (std::net::Ipv4Addr, Option<vocab::Mac>)| {
            b == address && (to.is_none() || other.is_none() || other == to)
        };
        let next = left[n + 1..].iter().find(|(_, a)| of(a).is_some_and(same));
        if let Some((next, other)) = next {
            assert!(
                next.since(*at).as_millis() >= 950,
                "{ask:?} at {at:?} and {other:?} at {next:?}"
            );
        }
    }
}

#[test]
fn a_clash_is_found_and_ends_while_only_watching() {
    for (announces, echoes) in [(true, true), (false, true), (true, false), (false, false)] {
        let mut w = world(true);
        w.run_to(secs(20.0));
        assert_eq!(w.snapshot().counts.of(Standing::Present), 4);
        let from = w.now;
        let mut guest = Unit::new(98, "10.40.8.22");
        guest.echo = echoes;
        w.units.push(guest);
        if announces {
            w.announce(mac(98), "10.40.8.22");
        }
        let claims = |w: &World| w.ledger.hosts.holders(ip("10.40.8.22")).nth(1).is_some();
        let first = w.run_until(6.0, claims);
        let told = w.run_until(7.0, |w| w.standing("Unit 22") == Standing::Conflict);
        let within = if echoes { 2_500 } else { 5_500 };
        assert!(
            told.since(first).as_millis() <= within,
            "{announces} {echoes}: {:?}",
            told.since(first)
        );
        w.run(20.0);
        assert_eq!(w.standing("Unit 22"), Standing::Conflict);
        w.units.pop();
        w.run_until(12.0, |w| w.standing("Unit 22") == Standing::Present);
        spares_each(&w, from);
    }
}

#[test]
fn one_unit_with_two_ports_stays_one_while_only_watching() {
    for late in [false, true] {
        let ports = [50, 51].map(|n| Unit {
            addresses: vec![ip("10.40.8.50")],
            speaks: Some(mac(50)),
            ..Unit::good(n)
        });
        let [one, two] = ports;
        let mut w = World::board(vec![device("Replay", 50)], vec![one]);
        if !late {
            w.units.push(two.clone());
        }
        w.run_to(secs(20.0));
        w.see(Fact::WatchOnly(true));
        w.run(0.5);
        let from = w.now;
        if late {
            w.units.push(two);
        }
        w.run(40.0);
        assert_eq!(w.standing("Replay"), Standing::Present);
        assert!(!w.course("Replay").contains(&Standing::Conflict), "{late}");
        spares_each(&w, from);
    }
}

//! One cause, one alarm: switches that go dark, cables that are pulled, servers that stop.

use proptest::prelude::*;
use rig::{AddressSpec, Device, Need, PoeTypes, Switch, SwitchPort};
use vocab::DhcpOffer;

use super::world::{Unit, World, device, ip, mac, rig, secs, settings};
use crate::{Change, Finding, FindingKind, Purpose, Severity, Standing, Subject};

fn port(switch: &str, port: u32) -> SwitchPort {
    SwitchPort {
        switch: switch.to_owned(),
        port,
    }
}

fn switch(name: &str, uplink: Option<SwitchPort>) -> Switch {
    Switch {
        name: name.to_owned(),
        ports: None,
        budget_w: None,
        poe: PoeTypes::Unsaid,
        uplink_mbps: None,
        uplink,
        address: None,
        network: rig::Network::MAIN.to_owned(),
        macs: Vec::new(),
    }
}

/// Two devices at the desk's switch S0, `heads` on S1 behind it, two more on S2 behind S1.
fn house(heads: u8) -> Vec<Device> {
    let mut all = Vec::new();
    for n in 0..heads + 4 {
        let name = match n {
            0 | 1 => format!("Desk {n}"),
            n if n < heads + 2 => format!("Head {n}"),
            n => format!("Far {n}"),
        };
        let mut one = device(&name, 21 + n);
        one.port = Some(match n {
            0 | 1 => port("S0", u32::from(n) + 1),
            n if n < heads + 2 => port("S1", u32::from(n)),
            n => port("S2", u32::from(n)),
        });
        all.push(one);
    }
    all
}

fn world(devices: Vec<Device>) -> World {
    let units = devices
        .iter()
        .map(|d| Unit::good(d.macs[0].octets()[5]))
        .collect();
    let mut r = rig(devices);
    r.switches = vec![
        switch("S0", None),
        switch("S1", Some(port("S0", 8))),
        switch("S2", Some(port("S1", 8))),
    ];
    let mut w = World::new(settings(r, Purpose::Board), units);
    w.plug();
    w.run_to(secs(20.0));
    assert!(w.ledger.ready(), "{}", w.snapshot().headline);
    w
}

/// Devices number `which` go dark.
fn dark(w: &mut World, which: impl IntoIterator<Item = u8>) {
    for n in which {
        w.units[usize::from(n)].on = false;
    }
}

/// What rings or stands on the list of changes, since the rig was ready.
fn told(w: &World) -> Vec<Change> {
    let listed = w.changes.iter().filter(|c| !c.folded && c.at > secs(20.0));
    listed.cloned().collect()
}

fn alarms(w: &World) -> Vec<Change> {
    let worse = |c: &Change| c.worse && !matches!(c.subject, Subject::Ready(_));
    told(w).into_iter().filter(worse).collect()
}

fn outage(w: &World) -> Finding {
    let mut all = w.findings(FindingKind::CommonOutage);
    assert_eq!(all.len(), 1, "{:?}", w.snapshot().findings);
    all.remove(0)
}

#[test]
fn a_switch_that_goes_dark_is_one_alarm_with_its_devices_under_it() {
    let mut w = world(house(6));
    dark(&mut w, 2..10);
    let at = w.run_until(4.0, |w| !w.findings(FindingKind::CommonOutage).is_empty());
    assert!(at < secs(23.5), "{at:?}");
    assert!(
        w.findings(FindingKind::Missing).is_empty(),
        "none of them is told of singly"
    );
    w.run(3.0);
    let found = outage(&w);
    assert_eq!(found.severity, Severity::Fault);
    assert_eq!(found.devices.len(), 8, "{found:?}");
    assert!(
        found.text.contains("switch S1 and behind it (S2)"),
        "{}",
        found.text
    );
    assert!(
        found.text.contains("probably") && found.advice.contains("S0/8"),
        "{found:?}"
    );
    assert_eq!(w.snapshot().counts.of(Standing::Missing), 8);
    let rang = alarms(&w);
    assert_eq!(rang.len(), 1, "{rang:?}");
    assert!(w.snapshot().headline.contains("S1"), "{}", w.snapshot().headline);
    // Each loss is on record all the same.
    let kept = w.changes.iter().filter(|c| c.folded).count();
    assert_eq!(kept, 8);
}

#[test]
fn those_that_come_back_together_are_one_line() {
    let mut w = world(house(6));
    dark(&mut w, 2..10);
    w.run(5.0);
    for n in 2..10 {
        w.units[n].on = true;
        w.run(4.0);
        if n < 9 {
            assert_eq!(outage(&w).devices.len(), 9 - n, "the rest stays folded");
            assert!(w.findings(FindingKind::Missing).is_empty());
        }
    }
    w.run_until(5.0, |w| w.ledger.ready());
    assert!(w.snapshot().findings.is_empty(), "{:?}", w.snapshot().findings);
    let back: Vec<Change> = told(&w).into_iter().filter(|c| !c.worse).collect();
    assert_eq!(back.len(), 2, "all are back, and the rig is ready: {back:?}");
    assert!(back.iter().any(|c| c.text.contains("All 8")), "{back:?}");
    assert_eq!(alarms(&w).len(), 1);
}

#[test]
fn what_does_not_come_back_with_the_others_is_told_of_by_itself() {
    let mut w = world(house(6));
    dark(&mut w, 2..10);
    w.run(5.0);
    for n in 2..9 {
        w.units[n].on = true;
    }
    w.run(60.0);
    assert_eq!(outage(&w).devices, ["Far 9"]);
    assert_eq!(alarms(&w).len(), 1);
    // Its boot time is 75 s, and 30 s are given to who straggles.
    w.run(50.0);
    assert!(w.findings(FindingKind::CommonOutage).is_empty());
    assert_eq!(w.findings(FindingKind::Missing).len(), 1);
    let rang = alarms(&w);
    assert_eq!(rang.len(), 2, "{rang:?}");
    assert!(rang[1].text.contains("Far 9"), "{rang:?}");
    w.run(100.0);
    assert_eq!(alarms(&w).len(), 2);
}

#[test]
fn one_that_falls_again_after_it_was_back_is_another_alarm() {
    let mut w = world(house(6));
    dark(&mut w, 2..10);
    w.run(5.0);
    w.units[2].on = true;
    w.run(5.0);
    assert_eq!(w.standing("Head 2"), Standing::Present);
    dark(&mut w, [2]);
    w.run_until(5.0, |w| w.standing("Head 2") == Standing::Missing);
    w.run(1.0);
    assert_eq!(alarms(&w).len(), 2, "{:?}", alarms(&w));
    assert_eq!(w.findings(FindingKind::Missing).len(), 1);
    assert_eq!(outage(&w).devices.len(), 7);
}

#[test]
fn the_switchs_own_answer_tells_power_from_ports() {
    for (answers, words) in [(false, "so did the switch itself"), (true, "S1 itself answers")] {
        let mut devices = house(4);
        let mut own = device("S1", 40);
        own.port = Some(port("S0", 8));
        devices.push(own);
        let mut w = world(devices);
        assert_eq!(w.standing("S1"), Standing::Present);
        dark(&mut w, 2..8);
        if !answers {
            w.units.last_mut().unwrap().on = false;
        }
        w.run(4.0);
        let found = outage(&w);
        assert!(found.text.contains(words), "{}", found.text);
        assert_eq!(found.devices.contains(&"S1".to_owned()), !answers);
    }
}

#[test]
fn everybody_at_once_points_at_our_own_cable_or_the_next_switch() {
    let mut r = rig(house(4));
    r.network.gateway = Some(ip("10.40.8.1"));
    let mut units: Vec<Unit> = (21..29).map(Unit::good).collect();
    units.push(Unit::new(1, "10.40.8.1"));
    let mut w = World::new(settings(r, Purpose::Board), units);
    w.passes = false;
    w.plug();
    w.run_to(secs(20.0));
    assert!(w.ledger.ready());
    w.units.clear();
    w.run(8.0);
    let found = outage(&w);
    assert_eq!(found.devices.len(), 8);
    assert!(found.text.contains("this computer's port eth0"), "{}", found.text);
    assert!(w.snapshot().findings.len() == 1, "{:?}", w.snapshot().findings);
    assert_eq!(alarms(&w).len(), 1, "{:?}", alarms(&w));
}

#[test]
fn everybody_while_others_are_heard_is_not_our_cable() {
    let mut w = world(house(4));
    w.units.clear();
    w.run(6.0);
    let found = outage(&w);
    assert!(found.text.contains("others are still heard"), "{}", found.text);
    assert!(!found.text.contains("this computer"), "{}", found.text);
    assert_eq!(alarms(&w).len(), 1);
}

#[test]
fn from_below_a_pulled_uplink_the_rest_of_the_house_is_beyond_it() {
    let mut w = world(house(4));
    dark(&mut w, 0..2);
    w.run(5.0);
    let found = outage(&w);
    assert!(found.text.contains("beyond switch S1"), "{}", found.text);
    assert!(found.text.contains("S0/8"), "{}", found.text);
}

#[test]
fn without_ports_in_the_file_the_time_tells() {
    for (gone, grouped) in [(2, false), (3, true), (5, true)] {
        let devices = (0..8).map(|n| device(&format!("Unit {n}"), 21 + n)).collect();
        let units = (21..29).map(Unit::good).collect();
        let mut w = World::board(devices, units);
        w.run_to(secs(20.0));
        dark(&mut w, 0..gone);
        w.run(5.0);
        let found = w.findings(FindingKind::CommonOutage);
        assert_eq!(found.len(), usize::from(grouped), "{gone}: {found:?}");
        let singles = if grouped { 0 } else { usize::from(gone) };
        assert_eq!(w.findings(FindingKind::Missing).len(), singles);
        assert_eq!(alarms(&w).len(), if grouped { 1 } else { usize::from(gone) });
    }
}

#[test]
fn a_single_loss_is_told_of_as_soon_as_the_others_have_answered() {
    let mut w = world(house(6));
    dark(&mut w, [3]);
    let missing = w.run_until(4.0, |w| w.standing("Head 3") == Standing::Missing);
    let rang = w.run_until(4.0, |w| !alarms(w).is_empty());
    assert!(rang.since(missing).as_millis() <= 1_000, "{missing:?} {rang:?}");
    assert_eq!(
        alarms(&w)[0].at,
        missing,
        "with the time at which it was found out"
    );
    assert_eq!(w.findings(FindingKind::Missing).len(), 1);
}

#[test]
fn what_is_held_back_is_told_when_the_run_ends() {
    let mut w = world(house(6));
    dark(&mut w, 2..10);
    let gone = |w: &World| w.snapshot().counts.of(Standing::Missing);
    let first = w.run_until(4.0, |w| gone(w) > 0);
    assert!(alarms(&w).is_empty(), "{:?}", alarms(&w));
    let many = gone(&w);
    w.ledger.release(Vec::new());
    let told: Vec<Change> = std::iter::from_fn(|| w.ledger.next_change()).collect();
    let lost = |c: &&Change| {
        matches!(
            c.subject,
            Subject::Device {
                to: Standing::Missing,
                ..
            }
        )
    };
    assert_eq!(told.iter().filter(lost).count(), many);
    assert!(told.iter().all(|c| c.at <= first), "{told:?}");
}

#[test]
fn what_the_show_does_not_wait_for_is_no_common_outage() {
    let mut devices = house(4);
    for device in &mut devices[2..8] {
        device.need = Need::Later;
    }
    let mut w = world(devices);
    dark(&mut w, 2..8);
    w.run(5.0);
    assert!(w.findings(FindingKind::CommonOutage).is_empty());
    assert_eq!(w.findings(FindingKind::Missing).len(), 6);
    assert!(w.ledger.ready());
}

#[test]
fn a_switch_that_never_answered_is_one_cause_in_a_check() {
    let units = (21..23).map(Unit::good).collect();
    let mut r = rig(house(4));
    r.switches = vec![
        switch("S0", None),
        switch("S1", Some(port("S0", 8))),
        switch("S2", Some(port("S1", 8))),
    ];
    let mut w = World::new(settings(r, Purpose::Check), units);
    w.plug();
    w.run(8.0);
    let found = outage(&w);
    assert_eq!(found.devices.len(), 6);
    assert!(
        found.text.starts_with("None of the 6 devices on switch S1"),
        "{}",
        found.text
    );
    assert!(w.findings(FindingKind::Missing).is_empty());
}

#[test]
fn a_port_that_never_hears_anything_is_one_alarm_too() {
    let mut w = World::new(settings(rig(house(4)), Purpose::Board), Vec::new());
    w.passes = false;
    w.plug();
    w.run(60.0);
    assert_eq!(w.snapshot().counts.of(Standing::Missing), 8);
    let found = outage(&w);
    assert_eq!(found.devices.len(), 8);
    assert!(found.text.contains("this computer's port eth0"), "{}", found.text);
    let worse: Vec<_> = w.changes.iter().filter(|c| c.worse && !c.folded).collect();
    assert_eq!(worse.len(), 1, "{worse:?}");
}

#[test]
fn devices_by_dhcp_that_lose_their_addresses_point_at_the_server() {
    let mut devices: Vec<Device> = (0..4).map(|n| device(&format!("Unit {n}"), 21 + n)).collect();
    for device in &mut devices[..3] {
        device.address = AddressSpec::Dhcp;
    }
    let mut units: Vec<Unit> = (21..25).map(Unit::good).collect();
    units.push(Unit::new(9, "10.40.8.9"));
    let mut w = World::board(devices, units);
    w.servers = vec![DhcpOffer {
        server: ip("10.40.8.9"),
        mac: mac(9),
        offered: ip("10.40.8.100"),
        mask: Some(ip("255.255.255.0")),
        router: None,
        lease_s: Some(60),
    }];
    w.run_to(secs(20.0));
    assert!(w.ledger.ready(), "{}", w.snapshot().headline);
    w.servers.clear();
    w.units.pop();
    // Their leases run out one after the other, far apart.
    for n in 0..3 {
        w.run(20.0);
        w.units[n].addresses = vec![ip(&format!("169.254.3.{}", n + 1))];
        let (who, at) = (w.units[n].mac, format!("169.254.3.{}", n + 1));
        w.announce(who, &at);
    }
    w.run(20.0);
    let found = outage(&w);
    assert_eq!(found.devices.len(), 3, "{found:?}");
    assert!(
        found.text.contains("DHCP server 10.40.8.9 answers no more"),
        "{}",
        found.text
    );
    assert_eq!(w.standing("Unit 0"), Standing::WrongSubnet);
    // The first two were told of before it was known; the third is told by the outage alone.
    let rang = alarms(&w);
    assert!(!rang.iter().any(|c| c.text.contains("Unit 2")), "{rang:?}");
    assert!(w.findings(FindingKind::WrongSubnet).is_empty());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]
    /// Whoever is lost, if it is one by one, each is its own alarm and no group is ever made of them.
    #[test]
    fn losses_one_by_one_are_never_grouped(
        order in Just((0..10_u8).collect::<Vec<_>>()).prop_shuffle(),
        gaps in prop::collection::vec(4.5_f64..12.0, 5),
    ) {
        let mut w = world(house(6));
        for (n, gap) in order.into_iter().zip(gaps) {
            dark(&mut w, [n]);
            w.run(gap);
            prop_assert!(w.findings(FindingKind::CommonOutage).is_empty());
        }
        prop_assert_eq!(alarms(&w).len(), 5);
        prop_assert_eq!(w.findings(FindingKind::Missing).len(), 5);
    }

    /// Whenever a switch goes dark, there is one alarm, and never a finding for one of its devices.
    #[test]
    fn a_dark_switch_is_one_alarm_at_whatever_moment(after in 0.0_f64..3.0, spread in 0.0_f64..0.12) {
        let mut w = world(house(6));
        w.run(after);
        for n in 2..10 {
            dark(&mut w, [n]);
            w.run(spread);
        }
        for _ in 0..60 {
            w.run(0.1);
            prop_assert!(w.findings(FindingKind::Missing).is_empty());
        }
        prop_assert_eq!(alarms(&w).len(), 1);
        prop_assert_eq!(outage(&w).devices.len(), 8);
    }
}

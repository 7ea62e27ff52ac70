//! The course of a start, power, cables, DHCP.

#![allow(clippy::unwrap_used)]

mod common;

use std::net::Ipv4Addr;
use std::time::Duration;

use common::{Bench, OUR_IP, host, ip, mac, net, plan, secs, word};
use venue::{Boot, Clash, Deed, Habit, HostPlan, Service, Start, SwitchPlan};
use vocab::{AddressRange, Ipv4Net, LinkState, Moment};

const LINK_LOCAL: Ipv4Net = Ipv4Net::new_assert(Ipv4Addr::new(169, 254, 3, 7), 16);

/// Link after 2 s, settings after 6, echo after 17, then two ports.
fn starting(plan: &venue::Plan) -> HostPlan {
    let boot = Boot {
        echo: secs(17),
        ..Boot::by(secs(6))
    };
    host(plan, 21)
        .boot(boot)
        .serve(word("http"), Service::Open { after: secs(20) })
        .serve(word("visca-udp"), Service::Open { after: secs(26) })
        .start(Start::PoweredOn)
}

#[test]
fn a_start_goes_link_probes_announcements_echo_ports() {
    for seed in 0..20 {
        let mut plan = plan();
        plan.host(starting(&plan));
        let mut bench = Bench::new(plan, seed);
        bench.run(secs(16));
        let arps = bench.arps();
        let (probes, rest): (Vec<_>, Vec<_>) = arps.into_iter().partition(|(_, a)| a.is_probe());
        // RFC 5227, section 1.1: three probes, one to two seconds apart, then two seconds, then
        // two announcements two seconds apart.
        assert_eq!(probes.len(), 3);
        let span = |from: Moment, to: Moment| to.since(from).as_secs_f64();
        assert!((6.0..7.01).contains(&probes[0].0.since(Moment::ZERO).as_secs_f64()));
        for pair in probes.windows(2) {
            assert!((0.99..2.01).contains(&span(pair[0].0, pair[1].0)));
        }
        assert_eq!(rest.len(), 2);
        assert!(
            rest.iter()
                .all(|(_, a)| a.is_announcement() && a.sender_ip == ip(21))
        );
        assert!((1.99..2.01).contains(&span(probes[2].0, rest[0].0)));
        assert!((1.99..2.01).contains(&span(rest[0].0, rest[1].0)));

        assert_eq!(bench.ping(ip(21), mac(21)), None, "not before its time");
        bench.run_to(18);
        assert!(bench.ping(ip(21), mac(21)).is_some());
        let open = |bench: &Bench| bench.venue.truth().host("Host 21").unwrap().open.clone();
        assert!(open(&bench).is_empty());
        bench.run_to(21);
        assert_eq!(open(&bench), [word("http")]);
        bench.run_to(27);
        assert_eq!(open(&bench), [word("http"), word("visca-udp")]);
    }
}

#[test]
fn while_it_probes_it_holds_nothing() {
    let mut plan = plan();
    plan.host(starting(&plan));
    let mut bench = Bench::new(plan, 1);
    bench.run_to(8);
    assert!(bench.venue.truth().holders.is_empty());
    assert_eq!(bench.who_has(ip(21), OUR_IP), []);
}

#[test]
fn the_first_moments_may_be_spent_elsewhere() {
    let mut plan = plan();
    let boot = Boot::by(secs(6)).through(LINK_LOCAL, secs(9));
    plan.host(host(&plan, 21).boot(boot).start(Start::PoweredOn));
    let mut bench = Bench::new(plan, 1);
    bench.run_to(5);
    assert_eq!(bench.who_has(LINK_LOCAL.addr(), Ipv4Addr::UNSPECIFIED), [mac(21)]);
    assert_eq!(
        bench.venue.truth().host("Host 21").unwrap().addresses,
        [LINK_LOCAL]
    );
    bench.run_to(30);
    assert_eq!(bench.who_has(LINK_LOCAL.addr(), Ipv4Addr::UNSPECIFIED), []);
    assert_eq!(bench.who_has(ip(21), OUR_IP), [mac(21)]);
}

#[test]
fn one_that_yields_does_not_take_a_held_address_and_one_that_does_not_care_does() {
    for (clash, holders) in [(Clash::Yield, 1), (Clash::Ignore, 2)] {
        let mut plan = plan();
        plan.host(host(&plan, 21));
        let second = host(&plan, 22)
            .fixed(net(21))
            .clash(clash)
            .start(Start::PoweredOn);
        plan.host(second);
        let mut bench = Bench::new(plan, 1);
        bench.run_to(60);
        assert_eq!(bench.venue.truth().holders[&ip(21)].len(), holders, "{clash:?}");
    }
}

#[test]
fn without_power_nobody_answers_and_the_start_begins_anew() {
    let mut plan = plan();
    let id = plan.host(host(&plan, 21).boot(Boot::by(secs(6))));
    plan.at(secs(10), Deed::PowerOff(id));
    plan.at(secs(20), Deed::PowerOn(id));
    let mut bench = Bench::new(plan, 1);
    assert_eq!(bench.who_has(ip(21), OUR_IP), [mac(21)]);
    bench.run_to(11);
    assert_eq!(bench.who_has(ip(21), OUR_IP), []);
    bench.run_to(25);
    assert_eq!(bench.who_has(ip(21), OUR_IP), []);
    bench.run_to(40);
    assert_eq!(bench.who_has(ip(21), OUR_IP), [mac(21)]);
}

#[test]
fn a_switch_takes_what_it_powers_and_only_the_link_of_the_rest() {
    let mut plan = plan();
    let other = plan.switch(SwitchPlan::new("S2").uplink(plan.first_switch()).boot(secs(5)));
    plan.host(HostPlan::new("Fed", mac(21), other).fixed(net(21)));
    plan.host(
        HostPlan::new("Own supply", mac(22), other)
            .fixed(net(22))
            .own_supply(),
    );
    plan.at(secs(10), Deed::SwitchOff(other));
    plan.at(secs(20), Deed::SwitchOn(other));
    let mut bench = Bench::new(plan, 1);
    assert_eq!(bench.who_has(ip(21), OUR_IP), [mac(21)], "through two switches");
    bench.run_to(11);
    let truth = bench.venue.truth();
    let power = |name| {
        truth
            .host(name)
            .map(|h| (h.powered, h.carrier, h.passing))
            .unwrap()
    };
    assert_eq!(power("Fed"), (false, false, false));
    assert_eq!(power("Own supply"), (true, false, false));
    bench.run_to(26);
    assert_eq!(bench.who_has(ip(22), OUR_IP), [mac(22)]);
    assert_eq!(bench.who_has(ip(21), OUR_IP), []);
    bench.run_to(45);
    assert_eq!(bench.who_has(ip(21), OUR_IP), [mac(21)]);
}

#[test]
fn a_listening_port_passes_nothing_though_its_link_is_up() {
    let mut plan = plan();
    let slow = plan.switch(
        SwitchPlan::new("S2")
            .uplink(plan.first_switch())
            .unpowered()
            .listens(secs(30)),
    );
    let id = plan.host(HostPlan::new("Late", mac(21), slow).fixed(net(21)));
    plan.at(secs(10), Deed::Unplug(id));
    plan.at(secs(12), Deed::Plug(id));
    let mut bench = Bench::new(plan, 1);
    bench.run_to(40);
    let truth = bench.venue.truth();
    let late = truth.host("Late").unwrap();
    assert!(late.carrier && !late.passing);
    assert_eq!(bench.who_has(ip(21), OUR_IP), []);
    bench.run_to(43);
    assert_eq!(bench.who_has(ip(21), OUR_IP), [mac(21)]);
}

#[test]
fn our_own_cable() {
    let mut plan = plan();
    plan.host(host(&plan, 21));
    plan.at(secs(10), Deed::UnplugUs);
    plan.at(secs(20), Deed::PlugUs);
    plan.at(secs(30), Deed::OurAddresses(vec![net(231)]));
    let mut bench = Bench::new(plan, 1);
    assert_eq!(bench.venue.station().state, LinkState::Up);
    assert!(bench.venue.next_station().is_none(), "no change yet");
    bench.run_to(11);
    assert_eq!(bench.venue.next_station().unwrap().state, LinkState::NoCarrier);
    assert!(bench.venue.next_station().is_none(), "told once");
    assert!(matches!(
        link::FramePort::send(&mut bench.venue, &[0; 60]),
        Err(link::PortError::Down)
    ));
    bench.run_to(21);
    assert_eq!(bench.venue.next_station().unwrap().state, LinkState::Up);
    assert_eq!(bench.who_has(ip(21), OUR_IP), [mac(21)]);
    bench.run_to(31);
    assert_eq!(bench.venue.next_station().unwrap().addresses, [net(231)]);
}

#[test]
fn addresses_are_typed_in_and_traded() {
    let mut plan = plan();
    let a = plan.host(host(&plan, 21));
    let b = plan.host(host(&plan, 22));
    plan.at(secs(10), Deed::SetAddress(a, net(31)));
    plan.at(secs(20), Deed::SwapAddresses(a, b));
    let mut bench = Bench::new(plan, 1);
    bench.run_to(11);
    assert!(
        bench
            .arps()
            .iter()
            .any(|(_, a)| a.is_announcement() && a.sender_ip == ip(31))
    );
    assert_eq!(bench.who_has(ip(31), OUR_IP), [mac(21)]);
    assert_eq!(bench.who_has(ip(21), OUR_IP), []);
    bench.run_to(21);
    assert_eq!(bench.who_has(ip(31), OUR_IP), [mac(22)]);
    assert_eq!(bench.who_has(ip(22), OUR_IP), [mac(21)]);
}

#[test]
fn a_host_that_comes_later() {
    let mut plan = plan();
    let guest = HostPlan::new("Guest", mac(99), plan.first_switch()).fixed(net(99));
    plan.at(secs(10), Deed::AddHost(Box::new(guest)));
    let mut bench = Bench::new(plan, 1);
    bench.run_to(9);
    assert!(bench.venue.truth().host("Guest").is_none());
    bench.run_to(30);
    assert_eq!(bench.who_has(ip(99), OUR_IP), [mac(99)]);
}

fn with_server(plan: &mut venue::Plan, first: u8, last: u8) {
    let habit = Habit::DhcpServer {
        pool: AddressRange::new(ip(first), ip(last)).unwrap(),
        reserved: vec![(mac(50), ip(50))],
        router: Some(ip(1)),
    };
    plan.host(host(plan, 1).habit(habit));
}

#[test]
fn leases_come_from_the_pool_or_the_list_one_each() {
    let mut plan = plan();
    with_server(&mut plan, 100, 109);
    for n in 50..56 {
        plan.host(host(&plan, n).dhcp(None).start(Start::PoweredOn));
    }
    let mut bench = Bench::new(plan, 3);
    bench.run_to(60);
    let truth = bench.venue.truth();
    let held: Vec<_> = (50..56)
        .map(|n| truth.host(&format!("Host {n}")).unwrap().addresses.clone())
        .collect();
    assert_eq!(held[0], [net(50)], "reserved");
    let pool = AddressRange::new(ip(100), ip(109)).unwrap();
    assert!(
        held[1..]
            .iter()
            .all(|h| h.len() == 1 && pool.contains(h[0].addr()) && h[0].prefix_len() == 24)
    );
    assert!(truth.holders.values().all(|macs| macs.len() == 1));
}

#[test]
fn an_empty_pool_leaves_the_last_one_without() {
    let mut plan = plan();
    with_server(&mut plan, 100, 101);
    for n in 51..54 {
        plan.host(host(&plan, n).dhcp(None).start(Start::PoweredOn));
    }
    let mut bench = Bench::new(plan, 3);
    bench.run_to(90);
    let truth = bench.venue.truth();
    let without = truth.hosts.iter().filter(|h| h.addresses.is_empty()).count();
    assert_eq!(without, 1);
}

#[test]
fn without_a_server_the_fallback_is_taken_after_three_tries() {
    let mut plan = plan();
    plan.host(host(&plan, 51).dhcp(Some(LINK_LOCAL)).start(Start::PoweredOn));
    let mut bench = Bench::new(plan, 3);
    bench.run_to(20);
    assert!(bench.venue.truth().holders.is_empty());
    bench.run_to(60);
    assert_eq!(bench.who_has(LINK_LOCAL.addr(), Ipv4Addr::UNSPECIFIED), [mac(51)]);
    bench.heard.clear();
    bench.run(Duration::from_secs(130));
    assert!(!bench.heard.is_empty(), "it goes on looking for a server");
}

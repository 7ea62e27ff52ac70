//! ARP as kernels answer it (RFC 826, RFC 5227), echo, neighbours, proxies.

mod common;

use std::net::Ipv4Addr;
use std::time::Duration;

use common::{Bench, OUR_IP, OURS, host, ip, mac, net, plan, secs};
use venue::{Habit, Line, Oddities};
use vocab::{ArpOp, FrameSize, Ipv4Net, Mac, Moment};
use wire::arp;

const NOBODY: Ipv4Addr = Ipv4Addr::UNSPECIFIED;
const FACTORY: Ipv4Net = Ipv4Net::new_assert(Ipv4Addr::new(192, 168, 0, 20), 24);

#[test]
fn an_owner_answers_requests_and_probes_whatever_the_subnet() {
    let mut plan = plan();
    plan.host(host(&plan, 21));
    plan.host(host(&plan, 22).fixed(FACTORY));
    let mut bench = Bench::new(plan, 1);
    assert_eq!(bench.who_has(ip(21), OUR_IP), [mac(21)]);
    assert_eq!(bench.who_has(ip(21), NOBODY), [mac(21)]);
    assert_eq!(bench.who_has(FACTORY.addr(), OUR_IP), [mac(22)], "foreign sender");
    assert_eq!(bench.who_has(FACTORY.addr(), NOBODY), [mac(22)]);
    assert_eq!(bench.who_has(ip(99), OUR_IP), []);
}

#[test]
fn a_reply_goes_to_the_asker_with_the_fields_of_rfc_826() {
    let mut plan = plan();
    plan.host(host(&plan, 21));
    let mut bench = Bench::new(plan, 1);
    bench.send(&arp::request_frame(OURS, OUR_IP, ip(21), Mac::BROADCAST));
    bench.run(secs(1));
    let bytes = &bench.heard[0].1;
    // Destination, source, type, hardware 1, protocol 0800, lengths 6 and 4, operation 2 (RFC 826).
    assert_eq!(bytes[..6], OURS.octets());
    assert_eq!(bytes[6..12], mac(21).octets());
    assert_eq!(bytes[12..22], [8, 6, 0, 1, 8, 0, 6, 4, 0, 2]);
    assert_eq!(bytes[22..28], mac(21).octets());
    assert_eq!(bytes[28..32], [10, 40, 8, 21]);
    assert_eq!(bytes[32..38], OURS.octets());
    assert_eq!(bytes[38..42], [10, 40, 8, 230]);
    assert!(bytes.len() >= 60, "shorter than Ethernet allows");
}

#[test]
fn both_owners_of_one_address_answer_a_broadcast_and_one_a_unicast() {
    let mut plan = plan();
    plan.host(host(&plan, 21));
    plan.host(host(&plan, 22).fixed(net(21)));
    let mut bench = Bench::new(plan, 1);
    let mut both = bench.who_has(ip(21), OUR_IP);
    both.sort();
    assert_eq!(both, [mac(21), mac(22)]);
    bench.send(&arp::request_frame(OURS, OUR_IP, ip(21), mac(22)));
    bench.run(secs(1));
    let replies: Vec<_> = bench.arps().into_iter().map(|(_, a)| a.sender_mac).collect();
    assert_eq!(replies, [mac(22)]);
    assert_eq!(bench.venue.truth().holders[&ip(21)].len(), 2);
}

#[test]
fn an_announcement_of_a_held_address_gets_no_reply() {
    let mut plan = plan();
    plan.host(host(&plan, 21));
    let mut bench = Bench::new(plan, 1);
    bench.send(&arp::announcement_frame(OURS, ip(21)));
    bench.run(secs(1));
    assert!(bench.arps().is_empty());
}

#[test]
fn a_proxy_answers_requests_late_for_every_address_but_no_probe() {
    let mut plan = plan();
    plan.host(host(&plan, 2).habit(Habit::ProxyArp));
    plan.host(host(&plan, 21));
    let mut bench = Bench::new(plan, 1);
    let mut waits = Vec::new();
    for n in 50..90 {
        bench.heard.clear();
        let asked = bench.now;
        bench.send(&arp::request_frame(OURS, OUR_IP, ip(n), Mac::BROADCAST));
        bench.run(secs(1));
        let replies = bench.arps();
        assert_eq!(replies.len(), 1);
        assert_eq!(replies[0].1.sender_mac, mac(2));
        waits.push(replies[0].0.since(asked));
    }
    assert!(waits.iter().all(|w| *w < Duration::from_millis(801)));
    assert!(
        waits.iter().any(|w| *w > Duration::from_millis(500)),
        "late at times"
    );
    assert_eq!(bench.who_has(ip(50), NOBODY), []);
    assert_eq!(
        bench.who_has(ip(21), OUR_IP),
        [mac(21), mac(2)],
        "the owner is first"
    );
}

#[test]
fn echo_comes_back_with_its_data_within_a_plausible_time() {
    let mut plan = plan();
    plan.host(host(&plan, 21));
    let mut bench = Bench::new(plan, 1);
    assert_eq!(bench.who_has(ip(21), OUR_IP), [mac(21)]);
    let rtt = bench.ping(ip(21), mac(21)).expect("an echo");
    assert!(
        rtt > Duration::from_micros(300) && rtt < Duration::from_millis(2),
        "{rtt:?}"
    );
    assert_eq!(bench.ping(ip(22), mac(21)), None, "not its address");
}

#[test]
fn echoes_of_every_size_come_back_whole_unless_a_host_limits_them() {
    let mut plan = plan();
    plan.host(host(&plan, 21));
    plan.host(host(&plan, 22).odd(Oddities {
        echo_most: Some(500),
        ..Oddities::default()
    }));
    let mut bench = Bench::new(plan, 1);
    let mut back = |n: u8, size: FrameSize| {
        let path = wire::Path {
            from_mac: OURS,
            from: OUR_IP,
            to_mac: mac(n),
            to: ip(n),
        };
        let echo = wire::icmp::Echo {
            identifier: 7,
            sequence: 1,
            data: wire::icmp::Echo::trial_data(size),
        };
        bench.heard.clear();
        bench.send(&wire::icmp::echo_request_frame(path, &echo));
        bench.run(secs(1));
        bench
            .heard
            .iter()
            .any(|(_, bytes)| match wire::peek(bytes).unwrap().what {
                wire::What::EchoReply { echo: reply, .. } => reply == echo,
                _ => false,
            })
    };
    assert_eq!(FrameSize::ALL.map(|size| back(21, size)), [true; 5]);
    assert_eq!(
        FrameSize::ALL.map(|size| back(22, size)),
        [true, true, true, false, false]
    );
}

#[test]
fn a_host_that_does_not_know_us_asks_for_us_and_loses_nothing() {
    let mut plan = plan();
    plan.host(host(&plan, 21));
    let mut bench = Bench::new(plan, 1);
    assert!(bench.ping(ip(21), mac(21)).is_some());
    let asked: Vec<_> = bench.arps().into_iter().map(|(_, a)| a).collect();
    assert_eq!(asked, [wire::Arp::request(mac(21), ip(21), OUR_IP)]);
    assert!(bench.ping(ip(21), mac(21)).is_some());
    assert!(bench.arps().is_empty(), "it knows us now");
}

#[test]
fn a_host_on_another_subnet_without_a_way_back_stays_silent() {
    let mut plan = plan();
    plan.host(host(&plan, 22).fixed(FACTORY));
    let mut bench = Bench::new(plan, 1);
    assert_eq!(bench.ping(FACTORY.addr(), mac(22)), None);
    let near = Ipv4Addr::new(192, 168, 0, 9);
    bench.venue = {
        let mut plan = common::plan();
        plan.host(host(&plan, 22).fixed(FACTORY));
        plan.computer().addresses.push(Ipv4Net::new_assert(near, 24));
        venue::Venue::from_plan(plan, 1)
    };
    bench.now = Moment::ZERO;
    assert!(
        bench.ping_as(FACTORY.addr(), mac(22), near).is_some(),
        "with an address of ours there"
    );
}

#[test]
fn a_panel_keeps_calling_for_an_address_that_nobody_holds() {
    let mut plan = plan();
    plan.host(host(&plan, 21));
    plan.host(host(&plan, 60).habit(Habit::Calls(vec![ip(21), ip(29)])));
    let mut bench = Bench::new(plan, 1);
    bench.run(secs(30));
    let calls = |bench: &mut Bench, n| {
        let arps = bench.arps();
        arps.iter()
            .filter(|(_, a)| a.op == ArpOp::Request && a.target_ip == ip(n))
            .count()
    };
    let heard = bench.heard.clone();
    assert!((12..=16).contains(&calls(&mut bench, 29)));
    bench.heard = heard;
    assert_eq!(calls(&mut bench, 21), 1, "answered, and remembered for a minute");
}

#[test]
fn loss_and_doubling_show_in_the_replies() {
    let mut plan = plan();
    let line = Line {
        twice_ppm: 100_000,
        ..Line::lossy(10)
    };
    plan.host(host(&plan, 21).line(line));
    let mut bench = Bench::new(plan, 5);
    let (mut silent, mut more) = (0, 0);
    for _ in 0..2000 {
        bench.send(&arp::probe_frame(OURS, ip(21), Mac::BROADCAST));
        bench.run(Duration::from_millis(10));
        match bench.arps().len() {
            0 => silent += 1,
            1 => {}
            _ => more += 1,
        }
    }
    // Silent: 1 - 0.9², doubled on the way there and a copy or more lost back makes it a little
    // less: 2000 × 0.19 = 380 at most; four standard deviations (18) below and above.
    assert!((280..=452).contains(&silent), "{silent}");
    // Doubled there or back: about 0.81 × (1 - 0.9²) × 2000 = 308, less what is lost of it.
    assert!((200..=380).contains(&more), "{more}");
}

#[test]
fn our_own_system_answers_arp_for_our_addresses() {
    let mut plan = plan();
    plan.host(host(&plan, 60).habit(Habit::Calls(vec![OUR_IP])));
    let mut bench = Bench::new(plan, 1);
    bench.run(secs(59));
    let asked = bench.arps().iter().filter(|(_, a)| a.target_ip == OUR_IP).count();
    assert_eq!(asked, 1, "answered at once and remembered");
    bench.run(secs(5));
    let asked = bench.arps().iter().filter(|(_, a)| a.target_ip == OUR_IP).count();
    assert_eq!(asked, 1, "asked again after a minute");
}

//! A router in a venue asks its hosts for somebody elsewhere.

#![allow(clippy::unwrap_used)]

use std::net::{Ipv4Addr, SocketAddrV4};
use std::time::Duration;

use link::{Dial, DialEvent, DialId, LiveEvent, Transport};
use venue::{HostPlan, Plan, Router, Service, SwitchPlan, Venue};
use vocab::{Mac, Mode, Moment};

const HOST: Ipv4Addr = Ipv4Addr::new(10, 41, 3, 21);
const DEAF: Ipv4Addr = Ipv4Addr::new(10, 41, 3, 30);
const NOBODY: Ipv4Addr = Ipv4Addr::new(10, 41, 3, 40);

fn mac(n: u8) -> Mac {
    Mac::new([2, 0x52, 0x43, 0, 0x29, n])
}

fn router() -> Router {
    let mut plan = Plan::new(SwitchPlan::new("S3"), mac(1), &["10.41.3.1/24".parse().unwrap()]);
    let at = plan.first_switch();
    let http = |host: HostPlan| {
        let after = Duration::ZERO;
        host.serve("http".parse().unwrap(), Service::Open { after })
    };
    let host = HostPlan::new("Gateway", mac(21), at).fixed("10.41.3.21/24".parse().unwrap());
    plan.host(http(host).gateway(Ipv4Addr::new(10, 41, 3, 1)));
    let deaf = HostPlan::new("Screen", mac(30), at).fixed("10.41.3.30/24".parse().unwrap());
    plan.host(http(deaf).drops_echo());
    Router::new(Venue::from_plan(plan, 1), 1)
}

/// Lets `router` work until `end` and gives all that came of it.
fn run(router: &mut Router, end: Moment) -> Vec<LiveEvent> {
    let mut all = Vec::new();
    let mut now = Moment::ZERO;
    for _ in 0..100_000 {
        while router.advance(now) {}
        all.extend(std::iter::from_fn(|| router.next_event()));
        match router.next_wake() {
            Some(at) if at <= end => now = at.max(now),
            _ => break,
        }
    }
    router.advance(end);
    all.extend(std::iter::from_fn(|| router.next_event()));
    all
}

fn dial(id: u64, to: Ipv4Addr, port: u16) -> Dial {
    Dial {
        id: DialId(id),
        to: SocketAddrV4::new(to, port),
        transport: Transport::Tcp,
        mac: None,
        from: None,
    }
}

#[test]
fn echo_comes_back_from_whoever_is_there_and_lets_it_in() {
    let mut router = router();
    assert_eq!(router.station().mode, Mode::Routed);
    for (n, address) in [(1, HOST), (2, DEAF), (3, NOBODY)] {
        router.ping(address, n).unwrap();
    }
    let events = run(&mut router, Moment::from_secs(5));
    let reply = LiveEvent::EchoReply {
        address: HOST,
        sequence: 1,
        data: 16,
    };
    assert_eq!(events, [reply]);
    // Its hardware is known now.
    router.ping(HOST, 4).unwrap();
    assert_eq!(run(&mut router, Moment::from_secs(6)).len(), 1);
}

#[test]
fn connections_are_accepted_refused_or_silent() {
    let mut router = router();
    for (id, to, port) in [(1, HOST, 80), (2, HOST, 81), (3, DEAF, 80), (4, NOBODY, 80)] {
        router.dial(dial(id, to, port));
    }
    let events = run(&mut router, Moment::from_secs(5));
    let of = |id: u64| {
        let told = events.iter().filter_map(move |event| match event {
            LiveEvent::Dial(dial, event) if dial.0 == id => Some(event.clone()),
            _ => None,
        });
        told.collect::<Vec<_>>()
    };
    assert_eq!(of(1).first(), Some(&DialEvent::Opened));
    assert_eq!(of(2), [DialEvent::Refused]);
    assert_eq!(of(3).first(), Some(&DialEvent::Opened));
    assert!(of(4).is_empty(), "{events:?}");
}

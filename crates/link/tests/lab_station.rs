//! The interface comes and goes, and the link heals by itself.
#![cfg(target_os = "linux")]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a lab that fails is a failed test"
)]

mod lab;

use std::net::Ipv4Addr;
use std::time::{Duration, Instant};

use link::{Live, LiveEvent, OpenError, OpenHow, PortError};
use rustix::thread::{CapabilitySet, CapabilitySets, set_capabilities};
use vocab::{LinkState, Mac};

use lab::{LONG, NEAR, answer, block_on, cable, count, plug, request, run, sh, until, until_station};

const NEAR_IP: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 5);
const FAR_IP: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);

/// Asks until the far side answers.
async fn must_answer(live: &mut Live) {
    // The far end of a cable that was just made may not carry yet.
    until_station(live, "up", |s| s.state == LinkState::Up).await;
    let end = Instant::now() + LONG;
    loop {
        assert!(Instant::now() < end, "no answer");
        let mac = live.station().mac;
        match live.send(&request(mac, NEAR_IP, FAR_IP)) {
            Ok(()) => break,
            Err(PortError::Busy) => live.writable().await,
            Err(e) => panic!("{e}"),
        }
    }
    let heard = until(live, "an answer", |event, frame| {
        (event == LiveEvent::Frame).then(|| answer(frame))?
    });
    assert_eq!(heard.await, FAR_IP);
}

/// How often we are woken in a while in which nothing happens.
async fn restless(live: &mut Live) -> usize {
    let end = Instant::now() + Duration::from_millis(400);
    count(live, || Instant::now() >= end).await.0
}

#[test]
fn switched_off_and_on_it_neither_spins_nor_stays_deaf() {
    run("switched_off_and_on_it_neither_spins_nor_stays_deaf", &[], || {
        cable("10.40.8.5/24", "10.40.8.21/24");
        block_on(async {
            for how in [OpenHow::Raw, OpenHow::Unprivileged] {
                let mut live = Live::open("near", how).unwrap();
                until_station(&mut live, "up", |s| s.state == LinkState::Up).await;
                for _ in 0..3 {
                    sh("ip link set near down");
                    let station = until_station(&mut live, "down", |s| s.state == LinkState::Down).await;
                    assert_eq!(station.mac, NEAR);
                    assert!(matches!(
                        live.send(&request(NEAR, NEAR_IP, FAR_IP)),
                        Err(PortError::Down)
                    ));
                    let wakes = restless(&mut live).await;
                    assert!(wakes <= 5, "{how:?}: woken {wakes} times while down");
                    sh("ip link set near up");
                    until_station(&mut live, "up again", |s| s.state == LinkState::Up).await;
                    if how == OpenHow::Raw {
                        must_answer(&mut live).await;
                        // A past error must not keep "room to send" true for ever, nor false.
                        tokio::time::timeout(LONG, live.writable()).await.unwrap();
                    }
                    let wakes = restless(&mut live).await;
                    assert!(wakes <= 5, "{how:?}: woken {wakes} times while idle");
                }
            }
        });
    });
}

#[test]
fn a_pulled_cable_is_told_from_a_switched_off_interface() {
    run(
        "a_pulled_cable_is_told_from_a_switched_off_interface",
        &[],
        || {
            cable("10.40.8.5/24", "10.40.8.21/24");
            block_on(async {
                let mut live = Live::open("near", OpenHow::Raw).unwrap();
                until_station(&mut live, "up", |s| s.state == LinkState::Up).await;
                sh("ip -n far link set far down");
                until_station(&mut live, "no carrier", |s| s.state == LinkState::NoCarrier).await;
                assert!(matches!(
                    live.send(&request(NEAR, NEAR_IP, FAR_IP)),
                    Err(PortError::Down)
                ));
                sh("ip -n far link set far up");
                until_station(&mut live, "carrier", |s| s.state == LinkState::Up).await;
                must_answer(&mut live).await;
            });
        },
    );
}

#[test]
fn changed_addresses_and_hardware_are_told_once() {
    run("changed_addresses_and_hardware_are_told_once", &[], || {
        cable("10.40.8.5/24", "10.40.8.21/24");
        block_on(async {
            let mut live = Live::open("near", OpenHow::Raw).unwrap();
            sh("ip addr add 169.254.3.7/16 dev near");
            let station = until_station(&mut live, "two addresses", |s| s.addresses.len() == 2).await;
            assert_eq!(
                station.addresses,
                ["10.40.8.5/24".parse().unwrap(), "169.254.3.7/16".parse().unwrap()]
            );
            sh(
                "ip addr del 10.40.8.5/24 dev near; ip link add other type veth peer name rehto;
                ip addr add 10.40.8.6/24 dev other; ip link set other up; ip link set rehto up",
            );
            let station = until_station(&mut live, "another way", |s| !s.others.is_empty()).await;
            assert_eq!(station.addresses, ["169.254.3.7/16".parse().unwrap()]);
            assert_eq!(station.others[0].name, "other");
            assert_eq!(station.others[0].addresses, ["10.40.8.6/24".parse().unwrap()]);
            sh("ip link set near down; ip link set near address 02:52:43:00:00:66; ip link set near up");
            let mac: Mac = "02:52:43:00:00:66".parse().unwrap();
            until_station(&mut live, "other hardware", |s| {
                s.mac == mac && s.state == LinkState::Up
            })
            .await;
            let before = live.station().clone();
            // News that change nothing for us.
            sh("ip link set near mtu 1400; ip -6 addr add fd00::5/64 dev near; ip link set near mtu 1500");
            let mut frame = link::Frame::default();
            let end = Instant::now() + Duration::from_millis(400);
            while Instant::now() < end {
                let _ = tokio::time::timeout(Duration::from_millis(20), live.ready()).await;
                while let Some(event) = live.next(&mut frame) {
                    if let LiveEvent::Station(station) = event {
                        assert_eq!(station.addresses, before.addresses, "only carrier may flicker");
                        assert_ne!(station, before);
                    }
                }
            }
        });
    });
}

#[test]
fn made_again_it_heals_without_permission() {
    run("made_again_it_heals_without_permission", &[], || {
        cable("10.40.8.5/24", "10.40.8.21/24");
        block_on(async {
            let mut live = Live::open("near", OpenHow::Raw).unwrap();
            must_answer(&mut live).await;
            let first = live.station().index;
            let none = CapabilitySet::empty();
            set_capabilities(
                None,
                CapabilitySets {
                    effective: none,
                    permitted: none,
                    inheritable: none,
                },
            )
            .unwrap();
            let refused = Live::open("near", OpenHow::Raw);
            assert!(
                matches!(refused, Err(OpenError::NoPermission { .. })),
                "the permission is really gone"
            );
            assert_eq!(
                Live::open("near", OpenHow::Auto).unwrap().mode(),
                vocab::Mode::Unprivileged
            );
            for _ in 0..2 {
                // Commands are new programs and get the namespace owner's permission again.
                sh("ip link del near");
                let station = until_station(&mut live, "gone", |s| s.state == LinkState::Gone).await;
                assert_eq!((station.index, station.mac), (0, NEAR));
                assert!(station.addresses.is_empty());
                assert!(restless(&mut live).await <= 5);
                plug("10.40.8.5/24");
                sh("ip -n far addr add 10.40.8.21/24 dev far");
                let station = until_station(&mut live, "made again", |s| {
                    s.state == LinkState::Up && s.addresses.len() == 1
                })
                .await;
                assert_ne!(station.index, first);
                must_answer(&mut live).await;
                assert!(restless(&mut live).await <= 5);
            }
        });
    });
}

#[test]
fn by_another_name_it_is_the_same() {
    run("by_another_name_it_is_the_same", &[], || {
        cable("10.40.8.5/24", "10.40.8.21/24");
        block_on(async {
            let mut live = Live::open("near", OpenHow::Raw).unwrap();
            must_answer(&mut live).await;
            let first = live.station().index;
            sh("ip link set near down; ip link set near name lan9; ip link set lan9 up");
            let up = |s: &vocab::Station| s.name == "lan9" && s.state == LinkState::Up;
            let station = until_station(&mut live, "up by its new name", up).await;
            assert_eq!((station.index, station.mac), (first, NEAR));
            must_answer(&mut live).await;
            // Another that is called as it was is none of ours.
            sh(
                "ip link add near type veth peer name raen; ip link set near up; ip link set raen up;
                ip addr add 10.40.12.5/24 dev near",
            );
            let station = until_station(&mut live, "another way", |s| !s.others.is_empty()).await;
            assert_eq!((station.name.as_str(), station.index), ("lan9", first));
            assert_eq!(station.others[0].name, "near");
            must_answer(&mut live).await;
        });
    });
}

#[test]
fn lost_news_are_made_good() {
    run("lost_news_are_made_good", &[], || {
        cable("10.40.8.5/24", "10.40.8.21/24");
        block_on(async {
            let mut live = Live::open("near", OpenHow::Raw).unwrap();
            // More news than the socket can hold, unread: adding and removing an address some
            // thousand times in one batch.
            let batch: String = (0..4000)
                .map(|_| "addr add 10.9.9.9/32 dev lo\naddr del 10.9.9.9/32 dev lo\n")
                .collect();
            std::fs::write("/run/batch", batch).unwrap();
            sh("ip -batch /run/batch; ip addr del 10.40.8.5/24 dev near; ip addr add 10.40.8.55/24 dev near");
            let wanted = ["10.40.8.55/24".parse().unwrap()];
            until_station(&mut live, "the last address", |s| s.addresses == wanted).await;
        });
    });
}

#[test]
fn what_cannot_be_opened_says_why() {
    run("what_cannot_be_opened_says_why", &[], || {
        cable("10.40.8.5/24", "10.40.8.21/24");
        block_on(async {
            assert!(matches!(
                Live::open("lo", OpenHow::Auto),
                Err(OpenError::NotEthernet { .. })
            ));
            let Err(OpenError::NotFound { others, .. }) = Live::open("eth7", OpenHow::Auto) else {
                panic!("eth7 should not be there")
            };
            assert_eq!(others, ["near"]);
        });
        let all = link::interfaces().unwrap();
        let near = all.iter().find(|i| i.name == "near").unwrap();
        assert_eq!(near.mac, Some(NEAR));
        assert_eq!(near.addresses, ["10.40.8.5/24".parse().unwrap()]);
        assert!(near.up && !near.default_route);
        assert_eq!(link::default_gateway(), None);
        sh("ip route add default via 10.40.8.1");
        assert_eq!(link::default_gateway(), Some(Ipv4Addr::new(10, 40, 8, 1)));
        assert!(
            link::interfaces()
                .unwrap()
                .iter()
                .any(|i| i.name == "near" && i.default_route)
        );
        assert!(all.iter().any(|i| i.name == "lo" && i.mac.is_none()));
    });
}

/// No interface and no address changes, only the way.
#[test]
fn the_station_towards_a_routed_network_follows_the_routes_alone() {
    let name = "the_station_towards_a_routed_network_follows_the_routes_alone";
    run(name, &[], || {
        cable("10.40.8.5/24", "10.40.8.21/24");
        sh("ip link add other type veth peer name back netns far;
            ip addr add 10.40.12.5/24 dev other; ip link set other up; ip -n far link set back up;
            ip route add 192.168.50.0/24 via 10.40.8.21");
        block_on(async {
            let mut live = Live::open_routed("192.168.50.0/24".parse().unwrap(), "lo").unwrap();
            let first = until_station(&mut live, "up", |s| s.state == LinkState::Up).await;
            assert_eq!(first.name, "near");
            for wanted in ["other", "near", "other"] {
                let router = if wanted == "near" {
                    "10.40.8.21"
                } else {
                    "10.40.12.21"
                };
                sh(&format!("ip route replace 192.168.50.0/24 via {router}"));
                let station = until_station(&mut live, wanted, |s| s.name == wanted).await;
                assert_eq!(station.state, LinkState::Up);
            }
            let wakes = restless(&mut live).await;
            assert!(wakes <= 5, "woken {wakes} times while idle");
        });
    });
}

//! Random courses of events: what must hold whatever happens.

use std::net::Ipv4Addr;
use std::time::Duration;

use proptest::prelude::*;
use vocab::{AddressRange, ArpForm, Ask, Budget, LinkState, Mode, Pace, PassId, Rank, RollCall};
use wire::arp;

use super::arp_ask;
use super::toy::{Toy, address, config, host, mac, station};
use crate::{Config, Dialing};

/// A random thing to do to a scanner.
#[derive(Debug, Clone)]
enum Deed {
    Ask(u8, u8),
    Probe(u8),
    Noise(Vec<u8>),
    Wait(u64),
    ListenOnly(bool),
    Station(u8),
    Pass(u8, u8),
    Pace(u8),
}

fn deed() -> impl Strategy<Value = Deed> {
    prop_oneof![
        4 => (0_u8..12, 0_u8..9).prop_map(|(n, what)| Deed::Ask(n, what)),
        1 => (0_u8..12).prop_map(Deed::Probe),
        2 => prop::collection::vec(any::<u8>(), 0..90).prop_map(Deed::Noise),
        4 => (0_u64..4_000).prop_map(Deed::Wait),
        1 => any::<bool>().prop_map(Deed::ListenOnly),
        1 => (0_u8..4).prop_map(Deed::Station),
        1 => (0_u8..12, 0_u8..30).prop_map(|(a, n)| Deed::Pass(a, n)),
        1 => (0_u8..3).prop_map(Deed::Pace),
    ]
}

fn ask_of(n: u8, what: u8) -> Ask {
    let form = match what {
        0 | 5 => ArpForm::Broadcast,
        1 => ArpForm::Unicast(mac(n)),
        _ => ArpForm::Nobody,
    };
    match what {
        6 => Ask::Echo {
            address: address(n),
            mac: Some(mac(n)),
            rank: Rank::Rig,
        },
        7 => Ask::Control {
            address: address(n),
            mac: Some(mac(n)),
            port: "http".parse().unwrap(),
        },
        8 if n.is_multiple_of(2) => Ask::RollCall(RollCall::DnsSd),
        8 => Ask::RollCall(RollCall::WsDiscovery),
        5 => arp_ask(Ipv4Addr::new(192, 168, 0, n), form, Rank::Rest, Budget::Watch),
        _ => arp_ask(address(n), form, Rank::Heard, Budget::Pass),
    }
}

fn do_it(toy: &mut Toy, deed: &Deed) {
    match deed {
        Deed::Ask(n, what) => toy.ask(ask_of(*n, *what)),
        Deed::Probe(n) => toy.hear(&arp::probe_frame(mac(200), address(*n), vocab::Mac::BROADCAST)),
        Deed::Noise(bytes) => {
            // Half of it looks like ARP or IPv4, so that the deeper layers get their share.
            let mut frame = bytes.clone();
            if let Some(kind) = frame.get_mut(12..14) {
                kind.copy_from_slice(if bytes.len() % 2 == 0 { &[8, 6] } else { &[8, 0] });
            }
            toy.hear(&frame);
        }
        Deed::Wait(millis) => toy.run_for(Duration::from_millis(*millis)),
        Deed::ListenOnly(on) => {
            toy.scanner.set_listen_only(toy.now, *on);
            toy.listen_only = *on;
        }
        Deed::Station(n) => {
            let state = if *n == 0 {
                LinkState::NoCarrier
            } else {
                LinkState::Up
            };
            let addresses = if *n == 1 { Vec::new() } else { station().addresses };
            let index = if *n == 2 { 9 } else { 3 };
            toy.station(vocab::Station {
                state,
                addresses,
                index,
                ..station()
            });
        }
        Deed::Pass(a, n) => {
            let range = AddressRange::new(address(*a), address(a + n)).unwrap();
            toy.ask(Ask::Pass {
                id: PassId(u32::from(*n)),
                range,
                except: Vec::new(),
            });
        }
        Deed::Pace(n) => {
            let pace = [Pace::Own, Pace::House, Pace::Max][usize::from(*n)];
            toy.scanner.set_pace(toy.now, pace);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    /// Whatever happens: nothing panics, nothing is sent under listen-only or with the link down,
    /// the scanner never asks to be woken in the past for nothing, and questions in nobody's name
    /// for a silent address keep their distance from each other and from foreign probes.
    #[test]
    fn manners_and_silence_hold_for_any_course(
        deeds in prop::collection::vec(deed(), 1..80),
        user in any::<bool>(),
        plain in any::<bool>(),
    ) {
        let mode = if plain { Mode::Unprivileged } else { Mode::Raw };
        let dialing = if user && !plain { Dialing::User } else { Dialing::Os };
        let mut toy = Toy::new(Config { mode, dialing, ..config() });
        for deed in &deeds {
            do_it(&mut toy, deed);
        }
        toy.run_for(Duration::from_secs(30));
        let probes: Vec<_> = toy.arps().into_iter().filter(|(_, _, a)| a.is_probe()).collect();
        for (i, (at, _, a)) in probes.iter().enumerate() {
            for (later, _, b) in &probes[i + 1..] {
                if a.target_ip == b.target_ip {
                    prop_assert!(later.since(*at) >= Duration::from_secs(10));
                }
            }
            for (heard, target) in &toy.foreign_probes {
                if *target == a.target_ip && heard <= at {
                    prop_assert!(at.since(*heard) >= Duration::from_secs(10));
                }
            }
        }
    }

    /// The same course gives the same sightings and orders.
    #[test]
    fn it_replays(deeds in prop::collection::vec(deed(), 1..40)) {
        let course = || {
            let mut toy = Toy::new(Config { dialing: Dialing::User, ..config() });
            toy.hosts.push(host(3));
            for deed in &deeds {
                do_it(&mut toy, deed);
            }
            toy.run_for(Duration::from_secs(3));
            (toy.frames, toy.seen)
        };
        prop_assert_eq!(course(), course());
    }
}

//! Random sightings: never a panic, never a busy loop, never a verdict out of nothing.

use std::net::Ipv4Addr;
use std::time::Duration;

use proptest::prelude::*;
use rig::AddressSpec;
use vocab::{
    AddressSource, ArpForm, ArpOp, ArpSeen, ClientId, ControlState, DhcpOffer, Fact, FrameSize, LinkState,
    Mac, Mode, Moment, Name, NameSource, PassId, Sighting, SilentTo, Text, Trial, Tried, Wake,
};

use super::world::{device, mac, rig, settings, station};
use crate::{Ledger, Purpose, Standing};

fn address() -> impl Strategy<Value = Ipv4Addr> {
    prop_oneof![
        (1_u8..8).prop_map(|n| Ipv4Addr::new(10, 40, 8, n)),
        Just(Ipv4Addr::new(10, 40, 8, 250)),
        (20_u8..23).prop_map(|n| Ipv4Addr::new(192, 168, 0, n)),
        Just(Ipv4Addr::UNSPECIFIED),
        any::<u32>().prop_map(Ipv4Addr::from),
    ]
}

fn hardware() -> impl Strategy<Value = Mac> {
    prop_oneof![
        (1_u8..8).prop_map(mac),
        Just(mac(250)),
        any::<[u8; 6]>().prop_map(Mac::new)
    ]
}

fn form() -> impl Strategy<Value = ArpForm> {
    prop_oneof![
        Just(ArpForm::Broadcast),
        Just(ArpForm::Nobody),
        hardware().prop_map(ArpForm::Unicast)
    ]
}

fn what() -> impl Strategy<Value = SilentTo> {
    prop_oneof![
        form().prop_map(SilentTo::Arp),
        prop::option::of(hardware()).prop_map(SilentTo::Echo)
    ]
}

fn fact() -> impl Strategy<Value = Fact> {
    let arp = (
        hardware(),
        hardware(),
        any::<bool>(),
        address(),
        address(),
        any::<bool>(),
        prop::option::of(form()),
    )
        .prop_map(|(a, b, same, address, target, request, form)| {
            Fact::Arp(ArpSeen {
                frame_source: if same { a } else { b },
                sender: a,
                address,
                target,
                op: if request { ArpOp::Request } else { ArpOp::Reply },
                vlan: None,
                answers: form.map(|f| (f, Duration::from_micros(400))),
            })
        });
    prop_oneof![
        8 => arp,
        4 => (address(), what()).prop_map(|(address, what)| Fact::Sent { address, what }),
        4 => (address(), what(), 0_u64..60_000).prop_map(|(address, what, ms)| Fact::Silent {
            address,
            what,
            sent: Moment::from_millis(ms)
        }),
        2 => (address(), prop::option::of(hardware()), prop::option::of(hardware()), prop::option::of(any::<u8>()))
            .prop_map(|(address, mac, asked, ttl)| Fact::Echo {
            address,
            mac,
            asked,
            ttl,
            rtt: Duration::from_millis(1)
        }),
        1 => (address(), hardware()).prop_map(|(address, mac)| Fact::Neighbour { address, mac, rtt: None }),
        2 => (address(), prop::option::of(hardware()), 0_u64..60_000, 0_usize..3).prop_map(|(address, mac, ms, s)| {
            Fact::Control {
                address,
                mac,
                port: "http".parse().unwrap(),
                state: [ControlState::Answered, ControlState::Refused, ControlState::Silent][s],
                detail: None,
                asked: Moment::from_millis(ms),
            }
        }),
        1 => address().prop_map(|address| Fact::ControlNotAsked { address, port: "http".parse().unwrap() }),
        1 => address().prop_map(|address| Fact::Borrowed { address }),
        1 => (hardware(), address(), 0_u8..40).prop_map(|(mac, address, n)| Fact::Named {
            mac,
            address: Some(address).filter(|_| n % 4 != 0),
            names: vec![Name { text: Text::clean(&format!("n{n}")), source: NameSource::Mdns }],
        }),
        1 => (hardware(), address(), 0_usize..3).prop_map(|(mac, address, n)| Fact::Address {
            mac,
            address,
            source: [AddressSource::Mdns, AddressSource::DhcpWanted, AddressSource::Packet][n],
        }),
        1 => (hardware(), prop::collection::vec(any::<u8>(), 0..20)).prop_map(|(mac, id)| Fact::DhcpClient {
            mac,
            class: Some(Text::clean_bytes(&id)),
            id: ClientId::read(&id),
        }),
        1 => hardware().prop_map(|mac| Fact::Wakes { mac, how: Wake::DhcpDiscover }),
        1 => (0_u32..4, any::<u64>(), any::<u64>()).prop_map(|(id, asked, total)| Fact::PassAsked {
            id: PassId(id),
            asked,
            total
        }),
        1 => (0_u32..4).prop_map(|id| Fact::PassDone { id: PassId(id) }),
        1 => any::<bool>().prop_map(|again| Fact::DhcpAsked { again }),
        1 => (address(), hardware(), any::<[Option<u32>; 3]>(), any::<u32>()).prop_map(
            |(server, mac, [mask, router, lease_s], offered)| Fact::DhcpOffer(DhcpOffer {
                server,
                mac,
                offered: offered.into(),
                mask: mask.map(Ipv4Addr::from),
                router: router.map(Ipv4Addr::from),
                lease_s,
            })
        ),
        1 => (0_u64..60_000).prop_map(|ms| Fact::DhcpOver { sent: Moment::from_millis(ms) }),
        1 => any::<bool>().prop_map(Fact::ListenOnly),
        1 => any::<bool>().prop_map(Fact::WatchOnly),
        4 => (address(), 0_u32..40, 0_usize..5, 0_usize..4).prop_map(|(address, number, size, what)| Fact::Trial {
            address,
            trial: Trial { number, size: FrameSize::ALL[size] },
            what: [Tried::Sent, Tried::NotSent, Tried::Answered(Duration::from_millis(1)), Tried::Silent][what],
        }),
        1 => (0_usize..4, 0_usize..2, any::<bool>()).prop_map(|(state, mode, near)| {
            let mut s = station();
            s.state = [LinkState::Up, LinkState::Up, LinkState::NoCarrier, LinkState::Gone][state];
            s.mode = [Mode::Raw, Mode::Unprivileged][mode];
            if !near {
                s.addresses.clear();
            }
            Fact::Station(s)
        }),
    ]
}

fn ledger(purpose: Purpose) -> Ledger {
    let mut devices: Vec<_> = (1..=6).map(|n| device(&format!("d{n}"), n)).collect();
    devices[1].macs.clear();
    devices[2].address = AddressSpec::Dhcp;
    devices[3].control = vec!["http".parse().unwrap()];
    devices[4].address = AddressSpec::None;
    Ledger::new(settings(rig(devices), purpose), Moment::ZERO)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn anything_at_all(
        facts in prop::collection::vec((fact(), 0_u64..700), 0..250),
        purpose in prop_oneof![Just(Purpose::Board), Just(Purpose::Check), Just(Purpose::Survey)],
    ) {
        let mut ledger = ledger(purpose);
        let mut now = Moment::ZERO;
        let mut revision = ledger.revision();
        for (fact, wait) in facts {
            ledger.fold(&Sighting { at: now, fact });
            ledger.check_cable(now, "d1");
            let end = now + Duration::from_millis(wait);
            let mut steps = 0;
            loop {
                ledger.tick(now);
                while ledger.next_ask(now).is_some() {
                    steps += 1;
                    prop_assert!(steps < 5_000, "asks without end");
                }
                let Some(wake) = ledger.next_wake() else { break };
                prop_assert!(wake > now, "busy at {now:?}");
                if wake > end {
                    break;
                }
                now = wake;
                steps += 1;
                prop_assert!(steps < 5_000, "wakes without end");
            }
            now = end;
            let s = ledger.snapshot(now);
            prop_assert_eq!(s.counts.total(), 5);
            prop_assert_eq!(s.devices.len(), 5);
            prop_assert!(ledger.revision() >= revision);
            revision = ledger.revision();
            let sighted = s.station.as_ref().is_some_and(|s| s.state == LinkState::Up) && !s.listen_only;
            for d in &s.devices {
                if d.standing != Standing::Unknown {
                    prop_assert!(sighted, "{} {:?}", d.name, d.standing);
                }
                if d.standing == Standing::Present && d.seen.as_ref().and_then(|s| s.mac) != Some(mac(250)) {
                    prop_assert!(d.last_heard.is_some());
                }
            }
            if let Some(cable) = &s.cable {
                prop_assert!(cable.sent() <= cable.offer.frames());
                prop_assert_eq!(cable.running(), cable.said.is_empty());
            }
            if s.ready {
                prop_assert!(s.devices.iter().all(|d| d.standing == Standing::Present));
            }
            let mut kinds: Vec<_> = s.findings.iter().map(|f| (f.kind, f.address, &f.devices, &f.macs)).collect();
            let all = kinds.len();
            kinds.sort();
            kinds.dedup();
            prop_assert_eq!(kinds.len(), all, "one finding per kind and subject");
        }
    }

    /// Without a question sent and unanswered, or anything heard of them, devices stay unknown.
    #[test]
    fn no_verdict_without_evidence(waits in prop::collection::vec(1_u64..20_000, 1..40)) {
        let mut ledger = ledger(Purpose::Board);
        let mut now = Moment::ZERO;
        ledger.fold(&Sighting { at: now, fact: Fact::Station(station()) });
        for wait in waits {
            now = now + Duration::from_millis(wait);
            ledger.tick(now);
            while ledger.next_ask(now).is_some() {}
            prop_assert_eq!(ledger.counts().of(Standing::Unknown), 5);
        }
    }
}

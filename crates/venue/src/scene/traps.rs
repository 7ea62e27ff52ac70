//! What looks like a fault and is none, and the other way round.

use std::borrow::Cow;
use std::net::Ipv4Addr;

use vocab::ControlWord::{Http, Onvif, Rtsp, ViscaUdp};
use vocab::{Ipv4Net, Mac};
use wire::{Arp, Ethernet, arp, ethernet};

use super::Scene;
use super::parts::{OURS, TOWER, s};
use crate::builder::{Deed, HostPlan, Plan, SwitchPlan};
use crate::oddity::Oddities;

/// The hardware address that the routers of group 7 share (RFC 9568 section 7.3).
const SHARED: Mac = Mac::new([0, 0, 0x5e, 0, 1, 7]);

pub(super) fn scene() -> Scene {
    Scene {
        name: "traps",
        title: "Nothing is what it seems",
        about: "Signal Tower: a computer with two ports, one asleep behind a proxy and one whose card answers for it, a wrong \
                mask, two units with one hardware address, routers that share one, and no querier.",
        rig: Cow::Borrowed(include_str!("../../scenes/signal-tower.rig.toml")),
        length: s(60),
        plan,
    }
}

fn plan() -> Plan {
    let mut plan = Plan::new(SwitchPlan::new("S1"), OURS, &[TOWER.net(230)]);
    let at = plan.first_switch();
    plan.host(
        HostPlan::new("Routers", SHARED, at)
            .fixed(TOWER.net(1))
            .own_supply(),
    );
    plan.host(
        HostPlan::new("First router", TOWER.mac(2), at)
            .fixed(TOWER.net(2))
            .own_supply(),
    );

    let mast = plan.host(
        TOWER
            .host("Mast", 21, at, &[ViscaUdp, Onvif])
            .extra(Ipv4Net::new_assert(Ipv4Addr::new(169, 254, 44, 3), 16)),
    );
    plan.at(s(5), Deed::Announce(mast));
    // The beacon camera (.22) is in the van.
    let narrow = Ipv4Net::new_assert(TOWER.address(24), 29);
    plan.host(TOWER.host("Hatch", 24, at, &[ViscaUdp]).fixed(narrow));
    plan.host(TOWER.host("Deck", 25, at, &[ViscaUdp, Rtsp]).says_name());
    // Its board was changed, and somebody typed in the hardware address of the wrong one.
    plan.host(
        HostPlan::new("Gangway", TOWER.mac(25), at)
            .fixed(TOWER.net(26))
            .odd(Oddities {
                ttl: Some(128),
                ..Oddities::default()
            })
            .says_name(),
    );

    plan.host(
        TOWER
            .host("Replay", 50, at, &[Http])
            .extra(TOWER.net(150))
            .own_supply()
            .odd(Oddities {
                second_port: Some(TOWER.mac(150)),
                ..Oddities::default()
            }),
    );
    // The titles computer (.51) sleeps, and the media box answers for it.
    plan.host(
        TOWER
            .host("Media box", 90, at, &[Http])
            .own_supply()
            .says_name()
            .odd(Oddities {
                answers_for: vec![(TOWER.address(51), TOWER.mac(51))],
                ..Oddities::default()
            }),
    );
    plan.host(
        TOWER
            .host("Cue laptop", 52, at, &[Http])
            .own_supply()
            .odd(Oddities {
                sleeps: true,
                ..Oddities::default()
            }),
    );

    let bridge = plan.host(
        HostPlan::new("Bridge", TOWER.mac(200), at)
            .fixed(TOWER.net(200))
            .own_supply(),
    );
    plan.at(s(3), Deed::Say(bridge, in_anothers_name()));
    plan.at(s(4), Deed::Say(bridge, tagged()));
    plan
}

/// The bridge sends ARP in the name of the camera that is not there.
fn in_anothers_name() -> Vec<u8> {
    let frame = arp::announcement_frame(TOWER.mac(22), TOWER.address(22));
    sent_by(TOWER.mac(200), None, &frame)
}

/// An announcement of the same in a virtual network that is not ours.
fn tagged() -> Vec<u8> {
    let frame = arp::announcement_frame(TOWER.mac(22), TOWER.address(22));
    sent_by(TOWER.mac(22), Some(30), &frame)
}

fn sent_by(source: Mac, vlan: Option<u16>, frame: &[u8]) -> Vec<u8> {
    let payload = frame.get(ethernet::HEADER..).unwrap_or_default();
    debug_assert!(Arp::parse(payload).is_ok());
    let head = Ethernet {
        destination: Mac::BROADCAST,
        source,
        vlan,
        ethertype: ethernet::ARP,
        payload,
    };
    head.emit()
}

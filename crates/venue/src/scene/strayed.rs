//! A rig after somebody tidied up: units and addresses swapped and left behind.

use std::borrow::Cow;
use std::net::Ipv4Addr;

use vocab::ControlWord::{Http, Rtsp, ViscaUdp};

use super::Scene;
use super::parts::{Site, s};
use crate::builder::{Habit, HostPlan, Plan, SwitchPlan};

/// A small network such as a house router makes: the addresses that cameras leave the factory with
/// lie inside it.
pub(super) const LOFT: Site = Site {
    number: 6,
    network: Ipv4Addr::new(192, 168, 0, 0),
    prefix: 24,
};

pub(super) fn scene() -> Scene {
    Scene {
        name: "strayed",
        title: "Tidied up",
        about: "Sail Loft: the spare that hangs in place of one camera is still at its factory address, two have changed places, and \
                the panel still calls an address that nobody has.",
        rig: Cow::Borrowed(include_str!("../../scenes/sail-loft.rig.toml")),
        length: s(60),
        plan,
    }
}

fn plan() -> Plan {
    let mut plan = LOFT.plan(SwitchPlan::new("S1"), 230);
    let at = plan.first_switch();
    // The quay camera broke; the spare that hangs in its place is unknown to the file.
    plan.host(
        LOFT.host("Spare from the van", 0x9f, at, &[ViscaUdp, Rtsp])
            .fixed(LOFT.net(20)),
    );
    plan.host(LOFT.host("Ramp", 32, at, &[ViscaUdp, Rtsp]).fixed(LOFT.net(33)));
    plan.host(LOFT.host("Jetty", 33, at, &[ViscaUdp, Rtsp]).fixed(LOFT.net(32)));
    plan.host(LOFT.host("Gate", 34, at, &[ViscaUdp, Rtsp]));
    let called = [31, 32, 33, 77].map(|n| LOFT.address(n)).to_vec();
    plan.host(
        LOFT.host("Loft panel", 60, at, &[Http])
            .habit(Habit::Calls(called)),
    );
    plan.host(
        HostPlan::new("Guest tablet", LOFT.mac(133), at)
            .fixed(LOFT.net(133))
            .own_supply(),
    );
    plan
}

//! Three new cameras on the addresses that they left the factory with, two of them on the same.

use std::borrow::Cow;
use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::ControlWord::{Http, Onvif, ViscaUdp};
use vocab::Ipv4Net;
use wire::persona::device::{DevicePlan, Takes, Wants};

use super::Scene;
use super::parts::{Site, s, speaks};
use crate::builder::{Boot, Habit, HostPlan, Plan, SwitchPlan};

const ROOM: Site = Site {
    number: 12,
    network: Ipv4Addr::new(10, 40, 20, 0),
    prefix: 24,
};
/// Addresses that cameras leave the factory with (common practice, no source).
const FACTORY: Ipv4Net = Ipv4Net::new_assert(Ipv4Addr::new(192, 168, 0, 20), 24);
const OTHER_FACTORY: Ipv4Net = Ipv4Net::new_assert(Ipv4Addr::new(192, 168, 1, 188), 24);

pub(super) fn scene() -> Scene {
    Scene {
        name: "unpacked",
        title: "Fresh out of the box",
        about: "Chart Room: three new cameras hang where they belong and still have their factory addresses, Helm and Compass \
                the same one. Helm wants no login; the other two take operator with harbour-7, and Sextant's clock was never set.",
        rig: Cow::Borrowed(include_str!("../../scenes/chart-room.rig.toml")),
        length: s(60),
        plan,
    }
}

fn plan() -> Plan {
    let mut plan = ROOM.plan(SwitchPlan::new("S1"), 230);
    let at = plan.first_switch();
    let cameras = [
        ("Helm", 21, FACTORY, Wants::Nothing, Takes::Soon),
        ("Compass", 22, FACTORY, Wants::DigestMd5, Takes::Restarting),
        ("Sextant", 23, OTHER_FACTORY, Wants::Token, Takes::AtRestart),
    ];
    for (name, number, factory, wants, takes) in cameras {
        let host = HostPlan::new(name, ROOM.mac(number), at)
            .fixed(factory)
            .boot(Boot::by(Duration::from_secs(6)))
            .device(DevicePlan {
                wants,
                takes,
                ..DevicePlan::default()
            });
        plan.host(speaks(host, &[ViscaUdp, Onvif], s(10)));
    }
    plan.all_say_names();
    let called = [21, 22, 23].map(|n| ROOM.address(n)).to_vec();
    plan.host(
        ROOM.host("Chart panel", 60, at, &[Http])
            .habit(Habit::Calls(called)),
    );
    plan
}

//! A rig as it comes out of the boxes: everybody somewhere else.

use std::borrow::Cow;
use std::net::Ipv4Addr;

use vocab::ControlWord::{Http, Https, Rtsp, ViscaTcp, ViscaUdp};
use vocab::Ipv4Net;

use super::Scene;
use super::parts::{Site, s};
use crate::builder::{HostPlan, Plan, SwitchPlan};

const CHAPEL: Site = Site {
    number: 1,
    network: Ipv4Addr::new(10, 40, 9, 0),
    prefix: 24,
};
/// An address that cameras leave the factory with.
const FACTORY: Ipv4Net = Ipv4Net::new_assert(Ipv4Addr::new(192, 168, 0, 20), 24);

pub(super) fn scene() -> Scene {
    Scene {
        name: "tangled",
        title: "Out of the boxes",
        about: "Quay Chapel: one camera is missing, one still has its factory address, one sits at a wrong address, \
                one was replaced, one takes no control; and there is a stranger.",
        rig: Cow::Borrowed(include_str!("../../scenes/quay-chapel.rig.toml")),
        length: s(60),
        plan,
    }
}

fn plan() -> Plan {
    let mut plan = CHAPEL.plan(SwitchPlan::new("S1"), 230);
    let at = plan.first_switch();
    // The pulpit camera (.21) is still in the van.
    // It has a page, as many cameras do, which the rig file does not count on.
    plan.host(
        CHAPEL
            .host("Nave", 22, at, &[ViscaUdp, Rtsp, Http])
            .fixed(FACTORY),
    );
    plan.host(
        CHAPEL
            .host("Choir", 23, at, &[ViscaUdp, Rtsp])
            .fixed(CHAPEL.net(73)),
    );
    plan.host(
        HostPlan::new("Font, another unit", CHAPEL.mac(0x94), at)
            .fixed(CHAPEL.net(24))
            .gateway(CHAPEL.address(1)),
    );
    // Its control over TCP is switched off in its menu: the port refuses.
    plan.host(CHAPEL.host("Lectern", 25, at, &[Http]));
    plan.host(CHAPEL.host("Balcony", 26, at, &[ViscaTcp, Rtsp]));
    plan.host(CHAPEL.host("Chapel panel", 60, at, &[Http]));
    plan.host(CHAPEL.host("Stream encoder", 62, at, &[Https]).own_supply());
    plan.host(CHAPEL.host("Guest tablet", 133, at, &[]).own_supply().says_name());
    plan
}

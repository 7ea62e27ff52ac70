//! A borrowed camera that hands out addresses beside the router.

use std::borrow::Cow;
use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::ControlWord::{Http, Rtsp, ViscaUdp};
use vocab::{AddressRange, Ipv4Net};

use super::Scene;
use super::parts::{Site, s};
use crate::builder::{Deed, Habit, HostPlan, Line, Plan, SwitchPlan};

const LAMPS: Site = Site {
    number: 7,
    network: Ipv4Addr::new(10, 40, 15, 0),
    prefix: 24,
};
/// Where a camera that acts as DHCP server has its factory address (a published manual).
const CAMERA: Ipv4Net = Ipv4Net::new_assert(Ipv4Addr::new(192, 168, 0, 19), 24);
const CAMERA_POOL: (Ipv4Addr, Ipv4Addr) = (Ipv4Addr::new(192, 168, 0, 100), Ipv4Addr::new(192, 168, 0, 109));

pub(super) fn scene() -> Scene {
    Scene {
        name: "leases",
        title: "Addresses from two sides",
        about: "The Lamp House takes addresses from its router, and a borrowed camera hands out others beside it, \
                until somebody unplugs it after 50 seconds.",
        rig: Cow::Borrowed(include_str!("../../scenes/lamp-house.rig.toml")),
        length: s(90),
        plan,
    }
}

fn plan() -> Plan {
    let mut plan = Plan::new(SwitchPlan::new("S1"), super::parts::OURS, &[LAMPS.net(230)]);
    let at = plan.first_switch();
    let mut gateway = HostPlan::new("Gateway", LAMPS.mac(1), at)
        .fixed(LAMPS.net(1))
        .own_supply();
    if let Some(pool) = AddressRange::new(LAMPS.address(100), LAMPS.address(150)) {
        gateway = gateway.habit(Habit::DhcpServer {
            pool,
            reserved: vec![(LAMPS.mac(31), LAMPS.address(31))],
            router: Some(LAMPS.address(1)),
        });
    }
    plan.host(gateway);
    plan.host(LAMPS.host("Rafters", 21, at, &[ViscaUdp, Rtsp]));
    plan.host(LAMPS.host("Hatch", 22, at, &[ViscaUdp, Rtsp]));
    for (name, number) in [("Stream encoder", 31), ("Talkback", 65)] {
        plan.host(LAMPS.host(name, number, at, &[Http]).dhcp(None).own_supply());
    }
    // It is slower than the router, so that all got the right address so far.
    let mut camera = LAMPS
        .host("Borrowed camera", 0x77, at, &[ViscaUdp])
        .fixed(CAMERA)
        .line(Line {
            latency: Duration::from_millis(200),
            ..Line::SOUND
        });
    if let Some(pool) = AddressRange::new(CAMERA_POOL.0, CAMERA_POOL.1) {
        camera = camera.habit(Habit::DhcpServer {
            pool,
            reserved: Vec::new(),
            router: None,
        });
    }
    let camera = plan.host(camera);
    plan.at(s(50), Deed::Unplug(camera));
    plan
}

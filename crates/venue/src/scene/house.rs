//! A rig as a guest in a big house network.

use std::borrow::Cow;
use std::net::Ipv4Addr;

use vocab::ControlWord::{Http, Rtsp, ViscaUdp};

use super::Scene;
use super::parts::{Site, mac, s};
use crate::builder::{Habit, HostPlan, Plan, SwitchPlan};

const HOUSE: Site = Site {
    number: 3,
    network: Ipv4Addr::new(10, 60, 0, 0),
    prefix: 22,
};
const STRANGERS: u8 = 40;

pub(super) fn scene() -> Scene {
    Scene {
        name: "house",
        title: "Guests in the house",
        about: "Six devices in the Custom House, on a /22 that belongs to others: forty strangers, and a router that \
                answers for every address.",
        rig: Cow::Borrowed(include_str!("../../scenes/custom-house.rig.toml")),
        length: s(180),
        plan,
    }
}

fn plan() -> Plan {
    let mut plan = HOUSE.plan(SwitchPlan::new("House core").unpowered(), 1000);
    let core = plan.first_switch();
    let at = plan.switch(SwitchPlan::new("S1").uplink(core));
    plan.computer().switch = at;
    for (name, number) in [("Staircase", 21), ("Long room", 22), ("Balcony", 23)] {
        plan.host(HOUSE.host(name, number, at, &[ViscaUdp, Rtsp]));
    }
    plan.host(HOUSE.host("Desk panel", 60, at, &[Http]));
    plan.host(HOUSE.host("Recorder", 63, at, &[Http]).own_supply());
    plan.host(HOUSE.host("Desk laptop", 64, at, &[]).own_supply());
    plan.host(HOUSE.host("House router", 2, core, &[]).habit(Habit::ProxyArp));
    for n in 0..STRANGERS {
        let name = format!("House computer {}", n + 1);
        // Spread over the second and third of the four blocks.
        let place = 256 + u32::from(n) * 12 + 7;
        let host = HostPlan::new(&name, mac(HOUSE.number, 0x80 + n), core).fixed(HOUSE.net(place));
        plan.host(host.gateway(HOUSE.address(1)));
    }
    plan
}

//! Power at its limit: a head on too weak a port, and a camera that is up before the DHCP server.

use std::borrow::Cow;
use std::net::Ipv4Addr;

use vocab::AddressRange;
use vocab::ControlWord::{Http, Rtsp, ViscaUdp};

use super::Scene;
use super::parts::{OURS, Site, s};
use crate::builder::{Boot, Deed, Habit, HostPlan, Plan, SwitchPlan};
use crate::oddity::Oddities;

const HOUSE: Site = Site {
    number: 11,
    network: Ipv4Addr::new(10, 40, 19, 0),
    prefix: 24,
};
const LINK_LOCAL: vocab::Ipv4Net = vocab::Ipv4Net::new_assert(Ipv4Addr::new(169, 254, 23, 23), 16);

pub(super) fn scene() -> Scene {
    Scene {
        name: "brownout",
        title: "Power at its limit",
        about: "In the Boat House the power fails after 20 seconds for 20. The cameras are up before the router that gives \
                out the addresses, and one asks no more when it comes; another, of class 4 on a 15.4 W port, restarts \
                three times as it moves. After 300 seconds somebody restarts the one without an address.",
        rig: Cow::Borrowed(include_str!("../../scenes/boat-house.rig.toml")),
        length: s(340),
        plan,
    }
}

fn plan() -> Plan {
    let mut plan = Plan::new(SwitchPlan::new("S0").unpowered(), OURS, &[HOUSE.net(230)]);
    let core = plan.first_switch();
    let s1 = plan.switch(SwitchPlan::new("S1").uplink(core));
    // Some take their address without a word.
    let mut router = HostPlan::new("Gateway", HOUSE.mac(1), core)
        .fixed(HOUSE.net(1))
        .boot(Boot::by(s(90)))
        .own_supply();
    if let Some(pool) = AddressRange::new(HOUSE.address(100), HOUSE.address(150)) {
        router = router.habit(Habit::DhcpServer {
            pool,
            reserved: Vec::new(),
            router: Some(HOUSE.address(1)),
        });
    }
    let router = plan.host(router);
    let quiet = |host: HostPlan| {
        let boot = Boot {
            probes: 0,
            ..Boot::by(s(6))
        };
        host.boot(boot).odd(Oddities {
            quiet_start: true,
            ..Oddities::default()
        })
    };
    plan.host(quiet(HOUSE.host("Slipway", 21, s1, &[ViscaUdp, Rtsp])));
    let crane = plan.host(HOUSE.host("Crane", 22, s1, &[ViscaUdp, Rtsp]));
    let balcony = HOUSE
        .host("Balcony", 23, s1, &[ViscaUdp, Rtsp])
        .dhcp(Some(LINK_LOCAL));
    let balcony = plan.host(balcony.odd(Oddities {
        gives_up: true,
        ..Oddities::default()
    }));
    plan.host(quiet(HOUSE.host("Desk panel", 60, s1, &[Http])));
    plan.host(HOUSE.host("Recorder", 62, core, &[Http]).own_supply());
    plan.at(s(20), Deed::SwitchOff(s1));
    plan.at(s(20), Deed::PowerOff(router));
    plan.at(s(40), Deed::SwitchOn(s1));
    plan.at(s(40), Deed::PowerOn(router));
    for again in [120, 170, 220] {
        plan.at(s(again), Deed::PowerOff(crane));
        plan.at(s(again + 1), Deed::PowerOn(crane));
    }
    plan.at(s(300), Deed::PowerOff(balcony));
    plan.at(s(303), Deed::PowerOn(balcony));
    plan
}

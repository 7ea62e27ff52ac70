//! Devices that come one by one.

use std::borrow::Cow;
use std::net::Ipv4Addr;

use vocab::ControlWord::{Http, Rtsp, ViscaUdp};
use vocab::{AddressRange, Ipv4Net};

use super::Scene;
use super::parts::{Site, s, speaks};
use crate::builder::{Boot, Deed, Habit, HostPlan, Plan, Start, SwitchPlan};

const STUDIO: Site = Site {
    number: 2,
    network: Ipv4Addr::new(10, 40, 10, 0),
    prefix: 24,
};
/// Where the ceiling camera is in its first moments.
const LINK_LOCAL: Ipv4Net = Ipv4Net::new_assert(Ipv4Addr::new(169, 254, 23, 7), 16);

pub(super) fn scene() -> Scene {
    Scene {
        name: "late",
        title: "One by one",
        about: "Ropewalk Studio is switched on bit by bit: one camera only after 45 seconds, by way of a link-local \
                address; the recorder takes longer than it should; the spare stays in its case.",
        rig: Cow::Borrowed(include_str!("../../scenes/ropewalk-studio.rig.toml")),
        length: s(120),
        plan,
    }
}

fn plan() -> Plan {
    let mut plan = Plan::new(SwitchPlan::new("S1"), super::parts::OURS, &[STUDIO.net(230)]);
    let at = plan.first_switch();
    let pool = AddressRange::new(STUDIO.address(100), STUDIO.address(150));
    let reserved = vec![(STUDIO.mac(31), STUDIO.address(31))];
    let router = Some(STUDIO.address(1));
    let mut gateway = HostPlan::new("Gateway", STUDIO.mac(1), at)
        .fixed(STUDIO.net(1))
        .own_supply();
    if let Some(pool) = pool {
        gateway = gateway.habit(Habit::DhcpServer {
            pool,
            reserved,
            router,
        });
    }
    plan.host(gateway);

    let door = STUDIO
        .host("Door", 21, at, &[ViscaUdp, Rtsp])
        .boot(Boot::by(s(8)));
    plan.host(door.start(Start::PoweredOn));
    let window = plan.host(STUDIO.host("Window", 22, at, &[ViscaUdp, Rtsp]).start(Start::Off));
    plan.at(s(10), Deed::PowerOn(window));
    let boot = Boot::by(s(6)).through(LINK_LOCAL, s(12));
    let ceiling = HostPlan::new("Ceiling", STUDIO.mac(23), at)
        .fixed(STUDIO.net(23))
        .boot(boot);
    let ceiling = plan.host(speaks(ceiling, &[ViscaUdp, Rtsp], s(25)).start(Start::Off));
    plan.at(s(45), Deed::PowerOn(ceiling));

    // Its file allows 30 seconds; its page is there after 75.
    let recorder = HostPlan::new("Recorder", STUDIO.mac(30), at)
        .fixed(STUDIO.net(30))
        .boot(Boot::by(s(8)));
    let recorder = plan.host(speaks(recorder, &[Http], s(75)).start(Start::Off).own_supply());
    plan.at(s(5), Deed::PowerOn(recorder));

    plan.host(STUDIO.host("Green room display", 40, at, &[Http]).own_supply());
    plan.host(
        STUDIO
            .host("Stream encoder", 31, at, &[Http])
            .dhcp(None)
            .own_supply(),
    );
    let talkback = STUDIO
        .host("Talkback", 65, at, &[Http])
        .dhcp(None)
        .start(Start::Off);
    let talkback = plan.host(talkback);
    plan.at(s(15), Deed::PowerOn(talkback));
    plan
}

//! Every standing at one time, for pictures.

use std::borrow::Cow;
use std::net::Ipv4Addr;

use vocab::ControlWord::{Http, Rtsp, ViscaUdp};
use vocab::Ipv4Net;

use super::Scene;
use super::parts::{Site, s, speaks, usual};
use crate::builder::{Boot, Deed, HostPlan, Plan, Service, Start, SwitchPlan};

const STORE: Site = Site {
    number: 5,
    network: Ipv4Addr::new(10, 40, 13, 0),
    prefix: 24,
};
const FACTORY: Ipv4Net = Ipv4Net::new_assert(Ipv4Addr::new(192, 168, 100, 88), 24);

pub(super) fn scene() -> Scene {
    Scene {
        name: "standings",
        title: "One of each",
        about: "The Net Loft shows every standing side by side, from half a minute after the start for about a minute.",
        rig: Cow::Borrowed(include_str!("../../scenes/net-loft.rig.toml")),
        length: s(90),
        plan,
    }
}

fn plan() -> Plan {
    let mut plan = STORE.plan(SwitchPlan::new("S1"), 230);
    let at = plan.first_switch();
    plan.host(STORE.host("Present", 21, at, &[ViscaUdp, Rtsp]));
    // Comes up after ten seconds; its control port takes almost two minutes, within its boot time.
    let starting = HostPlan::new("Starting", STORE.mac(22), at)
        .fixed(STORE.net(22))
        .boot(Boot::by(s(6)));
    let starting = plan.host(speaks(starting, &[ViscaUdp], s(110)).start(Start::Off));
    plan.at(s(10), Deed::PowerOn(starting));
    plan.host(
        STORE
            .host("No control", 23, at, &[])
            .serve(usual(ViscaUdp), Service::Mute),
    );
    // "Missing" (.24) is not there.
    plan.host(STORE.host("Wrong subnet", 25, at, &[ViscaUdp]).fixed(FACTORY));
    plan.host(
        STORE
            .host("Wrong address", 26, at, &[ViscaUdp])
            .fixed(STORE.net(76)),
    );
    plan.host(HostPlan::new("Different unit", STORE.mac(0x97), at).fixed(STORE.net(27)));
    plan.host(STORE.host("Two on one address", 28, at, &[Http]));
    plan.host(HostPlan::new("A stranger on its address", STORE.mac(0x98), at).fixed(STORE.net(28)));
    plan
}

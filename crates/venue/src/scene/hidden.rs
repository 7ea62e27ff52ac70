//! Cameras that kept addresses which nobody knows.

use std::borrow::Cow;
use std::net::Ipv4Addr;

use vocab::ControlWord::{Http, Rtsp, ViscaUdp};
use vocab::Ipv4Net;

use super::Scene;
use super::parts::{Site, s, speaks};
use crate::builder::{Deed, HostPlan, Plan, Start, SwitchPlan};

const ROOM: Site = Site {
    number: 7,
    network: Ipv4Addr::new(10, 40, 15, 0),
    prefix: 24,
};
/// What the tower camera was set to at its last hirer's.
const LAST_HIRE: Ipv4Net = Ipv4Net::new_assert(Ipv4Addr::new(192, 168, 77, 5), 24);
/// A borrowed camera that is not on the list.
const BORROWED: Ipv4Net = Ipv4Net::new_assert(Ipv4Addr::new(192, 168, 3, 40), 24);

pub(super) fn scene() -> Scene {
    Scene {
        name: "hidden",
        title: "Addresses that nobody knows",
        about: "In the Lantern Room the tower camera kept the address of its last hire, and so did a borrowed one: only \
                the deep search finds them. The porch camera is switched on in the midst of it, and later somebody \
                restarts the borrowed one.",
        rig: Cow::Borrowed(include_str!("../../scenes/lantern-room.rig.toml")),
        length: s(60),
        plan,
    }
}

fn plan() -> Plan {
    let mut plan = ROOM.plan(SwitchPlan::new("S1"), 230);
    let at = plan.first_switch();
    plan.host(ROOM.host("Desk", 21, at, &[ViscaUdp, Rtsp]));
    let foreign = |name, n: u8, net| {
        let host = HostPlan::new(name, ROOM.mac(n), at).fixed(net);
        speaks(host, &[ViscaUdp, Http, Rtsp], s(10))
    };
    plan.host(foreign("Tower", 22, LAST_HIRE));
    let borrowed = plan.host(foreign("Borrowed", 0x81, BORROWED));
    let porch = plan.host(ROOM.host("Porch", 23, at, &[ViscaUdp]).start(Start::Off));
    plan.at(s(5), Deed::PowerOn(porch));
    // Somebody restarts it, as the board advises who would rather wait than search.
    plan.at(s(35), Deed::PowerOff(borrowed));
    plan.at(s(37), Deed::PowerOn(borrowed));
    plan
}

//! What is heard by other means than ARP: the switch at the other end of our cable says who it is, and
//! what has no IPv4 address is on the wire all the same.

use vocab::ControlWord::Rtsp;
use wire::ipv6;

use super::Scene;
use super::hall::{self, HALL};
use super::parts::{OURS, s, speaks};
use crate::builder::{HostPlan, Plan, Source, SwitchPlan};

pub(super) fn scene() -> Scene {
    Scene {
        name: "heard",
        title: "Heard by other means",
        about: "Harbour Hall with a switch that says by LLDP where we are plugged in, a camera that lost its IPv4 \
                address, and a borrowed one that never had any.",
        rig: hall::rig(),
        length: s(60),
        plan,
    }
}

fn plan() -> Plan {
    let desk = SwitchPlan::new("S2 desk")
        .boot(s(5))
        .says(HALL.mac(0xf2), Some(HALL.address(3)));
    let (mut plan, gallery) = hall::plan_with(desk);
    plan.computer().link_local = Some(ipv6::from_hardware(OURS));
    if let Some(foyer) = plan.named("Foyer") {
        plan.hosts[foyer.0].source = Source::Nothing;
        plan.hosts[foyer.0].ipv6 = true;
    }
    let new = HostPlan::new("New camera", HALL.mac(141), gallery)
        .ipv6()
        .says_name();
    plan.host(speaks(new, &[Rtsp], s(10)));
    plan
}

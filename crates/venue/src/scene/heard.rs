//! What is heard by other means than ARP: the switch at the other end of our cable says who it is, what
//! has no IPv4 address is on the wire all the same, and cameras answer their own enquiry.

use std::net::Ipv4Addr;

use vocab::ControlWord::{Onvif, Rtsp};
use vocab::Ipv4Net;
use wire::ipv6;

use super::Scene;
use super::hall::{self, HALL};
use super::parts::{OURS, s, speaks};
use crate::builder::{HostPlan, Plan, Source, SwitchPlan};

/// Where last month's show was.
const ELSEWHERE: Ipv4Net = Ipv4Net::new_assert(Ipv4Addr::new(172, 20, 5, 9), 24);

pub(super) fn scene() -> Scene {
    Scene {
        name: "heard",
        title: "Heard by other means",
        about: "Harbour Hall with a switch that says by LLDP where we are plugged in, a camera that lost its IPv4 \
                address, a new one that never had any, a borrowed one of another network, one with a wrong mask, and one \
                whose ONVIF stands at a port of its own.",
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
    if let Some(door) = plan.named("West door") {
        plan.hosts[door.0].source = Source::Fixed(Ipv4Net::new_assert(HALL.address(22), 16));
        plan.hosts[door.0].tells_settings = true;
    }
    if let Some(centre) = plan.named("Gallery centre") {
        let host = &mut plan.hosts[centre.0];
        host.says_name = true;
        for (port, _) in &mut host.services {
            if port.word == Onvif {
                port.port = 2000;
            }
        }
    }
    plan.host(
        HALL.host("Borrowed camera", 140, gallery, &[Rtsp])
            .fixed(ELSEWHERE)
            .tells_settings(),
    );
    let new = HostPlan::new("New camera", HALL.mac(141), gallery)
        .ipv6()
        .says_name();
    plan.host(speaks(new, &[Rtsp], s(10)));
    plan
}

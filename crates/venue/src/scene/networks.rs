//! Networks that share no cable, with trouble on each.

use std::borrow::Cow;
use std::net::Ipv4Addr;

use vocab::ControlWord::{Http, Https, Rtsp, ViscaUdp};

use super::Scene;
use super::parts::{Site, mac, s};
use crate::builder::{Deed, Plan, SwitchPlan};

const CONTROL: Site = Site {
    number: 8,
    network: Ipv4Addr::new(10, 40, 16, 0),
    prefix: 24,
};
const MEDIA: Site = Site {
    number: 9,
    network: Ipv4Addr::new(10, 40, 17, 0),
    prefix: 24,
};
const OFFICE: Site = Site {
    number: 10,
    network: Ipv4Addr::new(10, 41, 3, 0),
    prefix: 24,
};

pub(super) fn scene() -> Scene {
    Scene {
        name: "networks",
        title: "A rig on three networks",
        about: "Tide Mill: a camera of the control network is plugged into the media network; there, after 20 s, a \
                guest takes the encoder's address; in the office behind the router one device answers no echo, and \
                after 30 s another goes off.",
        rig: Cow::Borrowed(include_str!("../../scenes/tide-mill.rig.toml")),
        length: s(60),
        plan,
    }
}

fn plan() -> Plan {
    let mut plan = CONTROL.plan(SwitchPlan::new("S1"), 230);
    let at = plan.first_switch();
    plan.host(CONTROL.host("Race", 21, at, &[ViscaUdp]));
    plan.host(CONTROL.host("Mill panel", 60, at, &[Http]));
    plan.beside("media", media());
    plan.beside("office", office());
    plan
}

/// Our computer is the router there. The ticket printer (.40) is in the cupboard.
fn office() -> Plan {
    let mut plan = Plan::new(SwitchPlan::new("S3"), mac(0xfe, 3), &[OFFICE.net(1)]);
    let at = plan.first_switch();
    let gateway = plan.host(OFFICE.host("Stream gateway", 21, at, &[Https]));
    plan.host(OFFICE.host("Lobby screen", 30, at, &[Http]).drops_echo());
    plan.at(s(30), Deed::PowerOff(gateway));
    plan
}

fn media() -> Plan {
    let mut plan = Plan::new(SwitchPlan::new("S2"), mac(0xfe, 2), &[MEDIA.net(230)]);
    let at = plan.first_switch();
    plan.host(MEDIA.host("Wall encoder", 21, at, &[Rtsp, Http]));
    plan.host(MEDIA.host("Wall decoder", 22, at, &[Http]));
    // Somebody took the wrong socket for it.
    plan.host(CONTROL.host("Wheel", 22, at, &[ViscaUdp]));
    let guest = MEDIA.host("Guest laptop", 131, at, &[]).own_supply();
    plan.at(s(20), Deed::AddHost(Box::new(guest.fixed(MEDIA.net(21)))));
    plan
}

//! Two cameras change places, step by step, so that no two ever share an address.

use std::borrow::Cow;

use vocab::ControlWord::{Http, Rtsp, ViscaUdp};

use super::Scene;
use super::parts::s;
use super::strayed::LOFT;
use crate::builder::{Deed, Plan, SwitchPlan};

pub(super) fn scene() -> Scene {
    Scene {
        name: "moving",
        title: "By the work list",
        about: "Sail Loft: two cameras have each other's address. From 30 seconds on the crew works through the list that plan \
                makes of it: one is parked, the other moves in, then the first goes home.",
        rig: Cow::Borrowed(include_str!("../../scenes/sail-loft.rig.toml")),
        length: s(75),
        plan,
    }
}

fn plan() -> Plan {
    let mut plan = LOFT.plan(SwitchPlan::new("S1"), 230);
    let at = plan.first_switch();
    plan.host(LOFT.host("Quay", 31, at, &[ViscaUdp, Rtsp]));
    let ramp = plan.host(LOFT.host("Ramp", 32, at, &[ViscaUdp, Rtsp]).fixed(LOFT.net(33)));
    let jetty = plan.host(LOFT.host("Jetty", 33, at, &[ViscaUdp, Rtsp]).fixed(LOFT.net(32)));
    plan.host(LOFT.host("Gate", 34, at, &[ViscaUdp, Rtsp]));
    plan.host(LOFT.host("Loft panel", 60, at, &[Http]));
    // The parking address is the highest that nobody has.
    plan.at(s(30), Deed::SetAddress(ramp, LOFT.net(254)));
    plan.at(s(45), Deed::SetAddress(jetty, LOFT.net(33)));
    plan.at(s(60), Deed::SetAddress(ramp, LOFT.net(32)));
    plan
}

//! Cameras that answer and are not on, and what devices say of themselves when they are asked.

use std::borrow::Cow;

use vocab::ControlWord::{Http, Onvif, Rtsp, ViscaTcp, ViscaUdp};
use vocab::Power;

use super::Scene;
use super::parts::{TOWER, s};
use crate::builder::{Plan, SwitchPlan};

pub(super) fn scene() -> Scene {
    Scene {
        name: "dozing",
        title: "Still asleep",
        about: "In the Bell Tower everything answers, but the vault camera says that it is in standby and the stair camera that \
                it has a fault inside. The others say what they are called.",
        rig: Cow::Borrowed(include_str!("../../scenes/bell-tower.rig.toml")),
        length: s(60),
        plan,
    }
}

fn plan() -> Plan {
    let mut plan = TOWER.plan(SwitchPlan::new("S1"), 230);
    let at = plan.first_switch();
    plan.host(TOWER.host("Ringing room", 21, at, &[ViscaUdp, Onvif, Rtsp]));
    plan.host(
        TOWER
            .host("Vault", 22, at, &[ViscaUdp])
            .says_power(Power::Standby),
    );
    plan.host(TOWER.host("Stair", 23, at, &[ViscaTcp]).says_power(Power::Fault));
    plan.host(TOWER.host("Stream", 62, at, &[Http]).titled("Encoder <2> & co"));
    plan
}

//! What is heard by other means than ARP: the switch at the other end of our cable says who it is.

use super::Scene;
use super::hall::{self, HALL};
use super::parts::s;
use crate::builder::{Plan, SwitchPlan};

pub(super) fn scene() -> Scene {
    Scene {
        name: "heard",
        title: "Heard by other means",
        about: "Harbour Hall with a switch at the desk that says by LLDP who it is and where we are plugged in.",
        rig: hall::rig(),
        length: s(60),
        plan,
    }
}

fn plan() -> Plan {
    let desk = SwitchPlan::new("S2 desk")
        .boot(s(5))
        .says(HALL.mac(0xf2), Some(HALL.address(3)));
    hall::plan_with(desk).0
}

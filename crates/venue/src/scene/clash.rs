//! A guest's laptop takes a camera's address in mid-rehearsal.

use super::hall::{self, HALL};
use super::{Scene, parts};
use crate::builder::{Boot, Deed, HostPlan, Start};
use parts::s;

/// When the guest plugs in, and when he leaves.
const COMES: u64 = 25;
const LEAVES: u64 = 70;

pub(super) fn scene() -> Scene {
    Scene {
        name: "clash",
        title: "Two on one address",
        about: "After 25 seconds a guest's laptop comes up with the address of the camera Stage left, and both \
                answer. It leaves after 70.",
        rig: hall::rig(),
        length: s(100),
        plan: || {
            let (mut plan, _) = hall::plan();
            let desk = plan.first_switch();
            let boot = Boot {
                link: s(1),
                settings: s(1),
                probes: 0,
                echo: s(2),
                interim: None,
            };
            let guest = plan.host(
                HostPlan::new("Guest laptop", HALL.mac(0xd1), desk)
                    .fixed(HALL.net(23))
                    .boot(boot)
                    .start(Start::Off)
                    .own_supply(),
            );
            // Its link comes up one second after it is switched on.
            plan.at(s(COMES - 1), Deed::PowerOn(guest));
            plan.at(s(LEAVES), Deed::PowerOff(guest));
            plan
        },
    }
}

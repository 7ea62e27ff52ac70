//! Our switch port passes nothing at first, and our link tells late that it lost its carrier.

use std::time::Duration;

use super::{Scene, hall};
use crate::builder::{Deed, SwitchPlan};
use crate::scene::parts::s;

pub(super) fn scene() -> Scene {
    Scene {
        name: "held",
        title: "The switch holds us back",
        about: "Spanning tree holds a new port of the desk's switch back for 30 seconds, and this computer has just been \
                plugged in. After 70 seconds its cable is pulled, which the link tells late; it is put back after 80.",
        rig: hall::rig(),
        length: s(130),
        plan: || {
            let (mut plan, _) = hall::plan_with(SwitchPlan::new("S2").boot(s(5)).listens(s(30)));
            let computer = plan.computer();
            computer.fresh = true;
            computer.tells_late = Duration::from_millis(1_700);
            plan.at(s(70), Deed::UnplugUs);
            plan.at(s(80), Deed::PlugUs);
            plan
        },
    }
}

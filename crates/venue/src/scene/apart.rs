//! Our port is kept apart from those of the rig.

use super::{Scene, hall};
use crate::builder::SwitchPlan;
use crate::scene::parts::s;

pub(super) fn scene() -> Scene {
    Scene {
        name: "apart",
        title: "Kept apart",
        about: "The port that this computer is plugged into is isolated, as are those of the rig: it reaches the gateway, and \
                none of the twelve devices.",
        rig: hall::rig(),
        length: s(60),
        plan: || {
            let (mut plan, _) = hall::plan_with(SwitchPlan::new("S2").boot(s(5)));
            plan.keep_apart("Gateway");
            plan
        },
    }
}

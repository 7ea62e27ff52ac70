//! Our own cable is pulled and put back.

use super::{Scene, hall};
use crate::builder::Deed;
use crate::scene::parts::s;

pub(super) fn scene() -> Scene {
    Scene {
        name: "cable",
        title: "Somebody trips over our cable",
        about: "The cable of this computer is pulled after 20 seconds and put back after 35. Nothing else changes.",
        rig: hall::rig(),
        length: s(60),
        plan: || {
            let (mut plan, _) = hall::plan();
            plan.at(s(20), Deed::UnplugUs);
            plan.at(s(35), Deed::PlugUs);
            plan
        },
    }
}

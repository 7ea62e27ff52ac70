//! A whole switch goes dark and comes back.

use super::{Scene, hall};
use crate::builder::Deed;
use crate::scene::parts::s;

pub(super) fn scene() -> Scene {
    Scene {
        name: "power",
        title: "The gallery goes dark",
        about: "The switch that powers the cameras loses power after 20 seconds and has it again after 40. \
                The devices start at their own pace, the last head a minute and a half later.",
        rig: hall::rig(),
        length: s(150),
        plan: || {
            let (mut plan, gallery) = hall::plan();
            plan.at(s(20), Deed::SwitchOff(gallery));
            plan.at(s(40), Deed::SwitchOn(gallery));
            plan
        },
    }
}

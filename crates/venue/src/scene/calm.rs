//! A load-in where everything is well.

use super::{Scene, hall};
use crate::scene::parts::s;

pub(super) fn scene() -> Scene {
    Scene {
        name: "calm",
        title: "A calm load-in",
        about: "Twelve devices on two switches in Harbour Hall, all where they belong.",
        rig: hall::rig(),
        length: s(60),
        plan: || hall::plan().0,
    }
}

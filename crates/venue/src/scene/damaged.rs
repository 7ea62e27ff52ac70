//! A damaged cable, a limit on large echoes, and a line that loses all sizes alike.

use super::{Scene, hall};
use crate::builder::{Deed, Line};
use crate::scene::parts::s;

/// One bit in 50,000, far more than a sound link may damage: 1 % of the shortest frames get lost each
/// way, and 22 % of the longest.
const DAMAGED: Line = Line {
    bits_ppb: 20_000,
    ..Line::SOUND
};

pub(super) fn scene() -> Scene {
    Scene {
        name: "damaged",
        title: "Pictures break up",
        about: "Harbour Hall: the cable of Stage left damages frames, the more the longer they are; Foyer answers no large \
                echoes; the line of the recorder loses one frame in twenty. On the board x checks a cable.",
        rig: hall::rig(),
        length: s(120),
        plan: || {
            let (mut plan, _) = hall::plan();
            for (name, line) in [("Stage left", DAMAGED), ("Recorder", Line::lossy(5))] {
                if let Some(host) = plan.named(name) {
                    plan.at(s(0), Deed::Line(host, line));
                }
            }
            plan.limit_echo("Foyer", 1_000);
            plan
        },
    }
}

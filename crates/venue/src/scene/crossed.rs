//! The hall's panel with channels that do not drive what the rig file says.

use std::time::Duration;

use wire::persona::camera::{CameraPlan, Sway, at};

use super::Scene;
use super::hall::{self, HALL};
use super::parts::s;

pub(super) fn scene() -> Scene {
    Scene {
        name: "crossed",
        title: "Crossed channels",
        about: "All answer, and yet Desk panel drives Stage right on channel 3 and Stage left on 4, two heads on 5, and \
                none on 6. Organ loft follows somebody by itself; Conductor does not tell where it points.",
        rig: hall::rig(),
        length: s(60),
        plan: || {
            let (mut plan, _) = hall::plan();
            let address = |n: u32| HALL.address(n);
            plan.wire_panel(
                "Desk panel",
                &[
                    (1, &[address(21)]),
                    (2, &[address(22)]),
                    (3, &[address(24)]),
                    (4, &[address(23)]),
                    (5, &[address(25), address(22)]),
                ],
            );
            plan.make_camera(
                "Organ loft",
                &CameraPlan {
                    sway: Some(Sway {
                        steps: 80,
                        period: Duration::from_secs(6),
                    }),
                    ..CameraPlan::default()
                },
            );
            plan.make_camera(
                "Conductor",
                &CameraPlan {
                    head: Some(at(-300, 40)),
                    tells_position: false,
                    ..CameraPlan::default()
                },
            );
            plan
        },
    }
}

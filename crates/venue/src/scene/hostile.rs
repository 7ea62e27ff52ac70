//! A network where not everybody means well: a flood of hardware that nobody ever saw, and strangers whose
//! names are made to spoil screens, files and spreadsheets.

use std::time::Duration;

use vocab::ControlWord::{Http, Onvif, Rtsp};

use super::Scene;
use super::hall::{self, HALL};
use super::parts::{OURS, s};
use crate::builder::{Plan, SwitchPlan};
use crate::deeds::Deed;
use crate::storm::{Ground, NAMES, Storm};

/// When the flood begins and how many frames it has, so many a second: more hardware than anybody keeps.
const BEGINS: Duration = s(6);
const FRAMES: u32 = 6_000;
const A_SECOND: u32 = 400;

pub(super) fn scene() -> Scene {
    Scene {
        name: "hostile",
        title: "A hostile network",
        about: "Harbour Hall with strangers whose names are made to spoil screens and files, by every way in which a \
                host says a name, and from the sixth second on a flood of hardware that nobody ever saw.",
        rig: hall::rig(),
        length: s(60),
        plan,
    }
}

fn plan() -> Plan {
    let desk = SwitchPlan::new("S2\u{1b}[2J\u{202e} desk")
        .boot(s(5))
        .says(HALL.mac(0xf2), Some(HALL.address(3)));
    let (mut plan, gallery) = hall::plan_with(desk);
    for (name, n) in NAMES.iter().zip(151..) {
        plan.host(
            HALL.host(name, n, gallery, &[Onvif, Http, Rtsp])
                .says_name()
                .tells_settings()
                .titled(name)
                .served_by(name),
        );
    }
    // One that is named by its page alone.
    let page = HALL.host("Page", 161, gallery, &[Http]);
    plan.host(page.titled(NAMES[0]).served_by(NAMES[6]));
    // What a listed device's page and servers are called comes by the answers of its control ports.
    for (name, words) in [("Organ loft", NAMES[0]), ("Foyer", NAMES[2])] {
        if let Some(device) = plan.named(name) {
            let device = &mut plan.hosts[device.0];
            words.clone_into(&mut device.title);
            words.clone_into(&mut device.server);
        }
    }
    // Nobody in it claims what belongs to a device or to one of those: that is another scene.
    let hosts = (21..=27).chain(60..=64).chain(151..=161);
    let ground = Ground {
        subnet: HALL.net(0),
        ours: (OURS, HALL.address(230)),
        gateway: HALL.address(1),
        listed: hosts.map(|n| (HALL.mac(n), HALL.address(u32::from(n)))).collect(),
    };
    // Clients that ask for an address by such names; every fourth frame would be a server's.
    for n in (0..40).filter(|n| n % 4 != 0) {
        plan.at(s(3), Deed::Hear(Storm::Dhcp.frame(n, &ground)));
    }
    let storms = [Storm::NewHosts, Storm::NewHosts, Storm::Mdns, Storm::WsDiscovery];
    for (n, storm) in (0..FRAMES).zip(storms.iter().cycle()) {
        let at = BEGINS + s(1) * n / A_SECOND;
        plan.at(at, Deed::Hear(storm.frame(n, &ground)));
    }
    plan
}

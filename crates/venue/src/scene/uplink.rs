//! Three chained switches: an uplink is pulled, and later the cable between all of them and our switch.

use std::borrow::Cow;
use std::net::Ipv4Addr;

use vocab::ControlWord::{Http, Rtsp, Tcp, ViscaUdp};

use super::Scene;
use crate::builder::{Deed, SwitchPlan};
use crate::scene::parts::{Site, s};

const MAST_HOUSE: Site = Site {
    number: 11,
    network: Ipv4Addr::new(10, 40, 19, 0),
    prefix: 24,
};

pub(super) fn scene() -> Scene {
    Scene {
        name: "uplink",
        title: "A chain of switches loses a link",
        about: "After 20 seconds the uplink of the second switch is pulled, which cuts off the third as well, and put \
                back after 45. After 75 seconds the cable between all of them and the small switch at our table is \
                pulled while our own link stays up, and put back after 90.",
        rig: Cow::Borrowed(include_str!("../../scenes/mast-house.rig.toml")),
        length: s(110),
        plan: || {
            // Our small switch is not in the file.
            let mut plan = MAST_HOUSE.plan(SwitchPlan::new("Table").boot(s(5)), 230);
            let table = plan.first_switch();
            let first = plan.switch(SwitchPlan::new("S1").uplink(table).boot(s(5)));
            let second = plan.switch(SwitchPlan::new("S2").uplink(first).boot(s(5)));
            let third = plan.switch(SwitchPlan::new("S3").uplink(second).boot(s(5)));
            let hosts = [
                ("S2", 3, second, &[][..]),
                ("Fore deck", 21, second, &[ViscaUdp, Rtsp]),
                ("Mid deck", 22, second, &[ViscaUdp, Rtsp]),
                ("After deck", 23, second, &[ViscaUdp, Rtsp]),
                ("Lookout", 24, third, &[ViscaUdp]),
                ("Rope walk", 25, third, &[ViscaUdp]),
                ("Vision mixer", 61, first, &[Tcp]),
                ("Recorder", 62, first, &[Http]),
            ];
            for (name, number, at, words) in hosts {
                plan.host(MAST_HOUSE.host(name, number, at, words).own_supply());
            }
            plan.at(s(20), Deed::UnplugUplink(second));
            plan.at(s(45), Deed::PlugUplink(second));
            plan.at(s(75), Deed::UnplugUplink(first));
            plan.at(s(90), Deed::PlugUplink(first));
            plan
        },
    }
}

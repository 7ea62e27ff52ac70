//! As much as a /24 holds, for sizing.

use std::borrow::Cow;
use std::fmt::Write;
use std::net::Ipv4Addr;

use super::Scene;
use super::parts::{Site, s};
use crate::builder::{HostPlan, Plan, SwitchPlan};

const GRAND: Site = Site {
    number: 4,
    network: Ipv4Addr::new(10, 40, 12, 0),
    prefix: 24,
};
/// Our computer has the last of the 254 addresses, so that 253 are left for devices.
const DEVICES: u8 = 253;

pub(super) fn scene() -> Scene {
    Scene {
        name: "grand",
        title: "A full house",
        about: "253 devices without control ports: together with this computer they fill a /24. For sizing.",
        rig: Cow::Owned(rig()),
        length: s(60),
        plan,
    }
}

fn name(n: u8) -> String {
    format!("Seat {n:03}")
}

fn rig() -> String {
    let network = GRAND.network;
    let mut text =
        format!("format = 1\ntitle = \"The Grand, every seat\"\n\n[network]\nsubnet = \"{network}/24\"\n");
    for n in 1..=DEVICES {
        let (name, mac, address) = (name(n), GRAND.mac(n), GRAND.address(u32::from(n)));
        // Writing to a String cannot fail.
        let _ = write!(
            text,
            "\n[[device]]\nname = \"{name}\"\nrole = \"other\"\nmac = \"{mac}\"\naddress = \"{address}\"\n"
        );
    }
    text
}

fn plan() -> Plan {
    let network = Plan::new(
        SwitchPlan::new("Core"),
        super::parts::OURS,
        &[GRAND.net(u32::from(DEVICES) + 1)],
    );
    let mut plan = network;
    let at = plan.first_switch();
    for n in 1..=DEVICES {
        plan.host(HostPlan::new(&name(n), GRAND.mac(n), at).fixed(GRAND.net(u32::from(n))));
    }
    plan
}

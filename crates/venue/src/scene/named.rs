//! Everybody says who he is, and one of them stands in another network.

use std::net::Ipv4Addr;

use vocab::ControlWord::{Onvif, Rtsp};
use vocab::Ipv4Net;

use super::Scene;
use super::hall::{self, HALL};
use super::parts::s;
use crate::builder::Plan;

/// Where last month's show was.
const ELSEWHERE: Ipv4Net = Ipv4Net::new_assert(Ipv4Addr::new(172, 20, 5, 9), 24);

pub(super) fn scene() -> Scene {
    Scene {
        name: "named",
        title: "Everybody says a name",
        about: "Harbour Hall with all twelve devices telling their names, and a borrowed camera that still has \
                last month's address and is heard all the same.",
        rig: hall::rig(),
        length: s(60),
        plan,
    }
}

fn plan() -> Plan {
    let (mut plan, gallery) = hall::plan();
    plan.host(
        HALL.host("Borrowed camera", 140, gallery, &[Onvif, Rtsp])
            .fixed(ELSEWHERE),
    );
    plan.all_say_names();
    plan
}

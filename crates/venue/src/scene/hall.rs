//! Harbour Hall with its twelve devices: what several scenes begin with.

use std::borrow::Cow;
use std::net::Ipv4Addr;

use vocab::ControlWord::{Http, Https, Onvif, Rtsp, Tcp, ViscaRawUdp, ViscaTcp, ViscaUdp};
use wire::persona::camera::CameraPlan;

use super::parts::{Site, s, speaks};
use crate::builder::{Boot, Habit, HostPlan, Plan, SwitchId, SwitchPlan};

pub(super) const HALL: Site = Site {
    number: 0,
    network: Ipv4Addr::new(10, 40, 8, 0),
    prefix: 24,
};

/// The rig file of the hall.
pub(super) const fn rig() -> Cow<'static, str> {
    Cow::Borrowed(include_str!("../../scenes/harbour-hall.rig.toml"))
}

/// The hall as it stands when all is well, and the gallery's switch S1, which powers the heads.
pub(super) fn plan() -> (Plan, SwitchId) {
    // S2 stands at the desk, where our computer is plugged in too.
    plan_with(SwitchPlan::new("S2").boot(s(5)))
}

/// The same with this switch at the desk.
pub(super) fn plan_with(desk: SwitchPlan) -> (Plan, SwitchId) {
    let mut plan = HALL.plan(desk, 230);
    plan.let_query("Gateway");
    let desk = plan.first_switch();
    let gallery = plan.switch(SwitchPlan::new("S1").uplink(desk).boot(s(5)));
    // (name, number, words, settings, first control port): the heads come last, each at its own pace.
    let heads = [
        ("Organ loft", 21, &[ViscaUdp, Rtsp, Http][..], 14, 24),
        ("West door", 22, &[ViscaTcp, Http][..], 18, 30),
        ("Stage left", 23, &[ViscaUdp, Rtsp][..], 22, 38),
        ("Stage right", 24, &[ViscaUdp, Rtsp][..], 27, 46),
        ("Gallery centre", 25, &[ViscaUdp, Onvif][..], 34, 58),
        ("Conductor", 26, &[ViscaRawUdp, Rtsp][..], 45, 70),
        ("Foyer", 27, &[Rtsp, Http][..], 60, 80),
    ];
    for (name, number, words, settings, control) in heads {
        let host = HostPlan::new(name, HALL.mac(number), gallery)
            .fixed(HALL.net(u32::from(number)))
            .gateway(HALL.address(1))
            .boot(Boot::by(s(settings)))
            .camera(CameraPlan::default());
        plan.host(speaks(host, words, s(control)));
    }
    let channels: Vec<Ipv4Addr> = (21..=26).map(|n| HALL.address(n)).collect();
    let mut panel = HALL.host("Desk panel", 60, gallery, &[Http]);
    for (channel, address) in (1..).zip(&channels) {
        panel = panel.drives(channel, &[*address]);
    }
    plan.host(panel.habit(Habit::Calls(channels)));
    plan.host(HALL.host("Vision mixer", 61, desk, &[Tcp]).own_supply());
    plan.host(HALL.host("Stream encoder", 62, desk, &[Https]).own_supply());
    plan.host(HALL.host("Recorder", 63, desk, &[Http]).own_supply());
    plan.host(HALL.host("Desk laptop", 64, desk, &[]).own_supply());
    (plan, gallery)
}

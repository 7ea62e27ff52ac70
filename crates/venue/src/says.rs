//! Switches that say who they are and to which port one is plugged in (LLDP, IEEE 802.1AB).

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::Mac;
use wire::lldp;

use crate::events::Event;
use crate::packet::Packet;
use crate::venue::Venue;

/// How often a switch says so (IEEE 802.1AB clause 9.2.5.7, `msgTxInterval`, from memory).
const EVERY: Duration = Duration::from_secs(30);

/// Who a switch says it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Says {
    pub(crate) mac: Mac,
    pub(crate) address: Option<Ipv4Addr>,
}

impl Venue {
    /// A switch that has been up for long will say so at some time within the next interval.
    pub(crate) fn plan_says(&mut self, switch: usize) {
        let s = &self.switches[switch];
        if s.up && s.plan.says.is_some() {
            let (at, life) = (self.now + self.chance.within(EVERY), s.life);
            self.agenda.put(at, Event::Says { switch, life });
        }
    }

    /// It says so at every port whose link is up, and will again.
    pub(crate) fn say_plugged(&mut self, switch: usize, life: u32) {
        let s = &self.switches[switch];
        let Some(says) = s.plan.says.filter(|_| s.up && s.life == life) else {
            return;
        };
        let name = s.plan.name.clone();
        let ports: Vec<(usize, bool)> = s.ports.iter().map(|p| (p.cable, !p.is_b)).collect();
        for (n, (cable, to_b)) in ports.into_iter().enumerate() {
            let frame = lldp::Switch {
                name: &name,
                mac: says.mac,
                port: &(n + 1).to_string(),
                address: says.address,
                passes_on: true,
                ttl: lldp::USUAL_TTL,
            }
            .frame();
            if let Some(packet) = Packet::new(frame) {
                self.transmit(cable, to_b, &packet);
            }
        }
        self.agenda.put(self.now + EVERY, Event::Says { switch, life });
    }
}

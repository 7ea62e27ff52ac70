//! Echoes of a cable check on the scripted wire.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{Fact, Mac, Sighting, Trial, Tried};

use super::{Event, World};

impl World {
    /// An echo of a cable check leaves; it comes back if its unit and cable let it.
    pub(super) fn try_cable(&mut self, address: Ipv4Addr, mac: Option<Mac>, trial: Trial) {
        let now = self.now;
        let fact = |what| Fact::Trial { address, trial, what };
        self.ledger.fold(&Sighting {
            at: now,
            fact: fact(Tried::Sent),
        });
        let there = self
            .units
            .iter()
            .find(|u| u.on && u.addresses.contains(&address) && mac.is_none_or(|m| m == u.mac));
        let rtt = Duration::from_micros(700);
        if there.is_some_and(|u| u.echo && (u.passes)(trial.size, trial.number)) {
            self.at(now + rtt, Event::See(fact(Tried::Answered(rtt))));
        } else {
            self.at(now + Duration::from_secs(1), Event::See(fact(Tried::Silent)));
        }
    }
}

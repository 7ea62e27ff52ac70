//! Control ports on the scripted wire.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{ControlPort, ControlState, Fact, Mac};

use super::{Event, World};

impl World {
    /// A control port is asked, from whichever address.
    pub(super) fn dial(&mut self, address: Ipv4Addr, mac: Option<Mac>, port: ControlPort) {
        let now = self.now;
        let there = self
            .units
            .iter()
            .find(|u| u.on && u.addresses.contains(&address) && mac.is_none_or(|m| m == u.mac))
            .filter(|_| !self.tap.deaf());
        let state = there.map_or(ControlState::Silent, |u| {
            u.ports.get(&port).copied().unwrap_or(ControlState::Refused)
        });
        let wait = if state == ControlState::Silent { 1_500 } else { 20 };
        let fact = if self.dials {
            Fact::Control {
                address,
                mac,
                port,
                state,
                detail: None,
                asked: now,
            }
        } else {
            Fact::ControlNotAsked { address, port }
        };
        self.at(now + Duration::from_millis(wait), Event::See(fact));
    }
}

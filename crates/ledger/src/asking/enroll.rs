//! What an enrolment asks and notes beyond a survey: every usual control port of a stranger, those
//! that it announces, and whom it calls. A rig file is made of that.

use std::net::Ipv4Addr;

use vocab::{ControlPort, ControlWord, Mac, Moment};

use crate::Purpose;
use crate::asking::lanes::Key;
use crate::hosts::claim::{Claim, HostId};
use crate::ledger::Ledger;

/// Control ports of a stranger that are asked in a survey.
const SURVEYED: [ControlWord; 4] = [
    ControlWord::ViscaUdp,
    ControlWord::Http,
    ControlWord::Rtsp,
    ControlWord::Onvif,
];
/// Those that are asked in an enrolment: all that have a usual place.
const ENROLLED: [ControlWord; 7] = [
    ControlWord::ViscaUdp,
    ControlWord::Http,
    ControlWord::Rtsp,
    ControlWord::Onvif,
    ControlWord::ViscaTcp,
    ControlWord::ViscaRawUdp,
    ControlWord::Https,
];
/// Control ports of one host that are asked, announced ones included.
const MAX_PORTS: usize = 12;
/// Addresses noted that one host asks for. Who asks for more looks around, and calls nobody.
pub(crate) const MAX_CALLED: usize = 16;

impl Ledger {
    pub(crate) fn enrolls(&self) -> bool {
        self.settings.purpose == Purpose::Enroll
    }

    /// The control ports that a stranger is asked at without a reason of its own.
    pub(crate) fn usual_words(&self) -> &'static [ControlWord] {
        if self.enrolls() { &ENROLLED } else { &SURVEYED }
    }

    /// A host said where it serves; one that is no device of the rig is asked there too.
    pub(crate) fn ask_announced(&mut self, at: Moment, mac: Mac) {
        let id = HostId::Mac(mac);
        if !self.enrolls() || self.by_mac.contains_key(&mac) || self.blind().is_some() {
            return;
        }
        let Some(host) = self.hosts.get(id) else {
            return;
        };
        // Before the usual ones are asked these would stand in their way.
        let known = !host.ports.is_empty();
        let held = |c: &&Claim| c.alive() && !c.proxied() && self.in_subnet(c.address);
        let Some(address) = host.claims.iter().find(held).map(|c| c.address).filter(|_| known) else {
            return;
        };
        let new = |port: &&ControlPort| port.word != ControlWord::Onvif && !host.ports.contains_key(port);
        let room = MAX_PORTS.saturating_sub(host.ports.len());
        let ports: Vec<ControlPort> = host.serves.iter().filter(new).take(room).copied().collect();
        for port in ports {
            if let Some(host) = self.hosts.get_mut(id) {
                host.ports.insert(port, None);
            }
            self.lanes.want(Key::Port(address, id.mac(), port), Some(at));
        }
    }

    /// `mac` asks who holds `address`: it has something to say to whoever does.
    pub(crate) fn note_call(&mut self, mac: Mac, address: Ipv4Addr) {
        if !self.enrolls() || self.is_ours(address) || self.gateway() == Some(address) {
            return;
        }
        if let Some(host) = self.hosts.get_mut(HostId::Mac(mac))
            && host.calls.len() < MAX_CALLED
            && host.calls.insert(address)
        {
            self.revision += 1;
        }
    }

    /// Control ports that an enrolment still waits for, beside those on foreign subnets.
    pub(crate) fn open_strangers(&self) -> bool {
        let open = |key: Key| self.lanes.busy(key) || self.lanes.due_at(key).is_some();
        let untold =
            |(id, address, port): (HostId, Ipv4Addr, ControlPort)| open(Key::Port(address, id.mac(), port));
        let mut all = self.hosts.iter().flat_map(|host| {
            let waits = host.ports.iter().filter(|(_, state)| state.is_none());
            waits.flat_map(move |(port, _)| host.claims.iter().map(move |c| (host.id, c.address, *port)))
        });
        self.enrolls() && all.any(untold)
    }
}

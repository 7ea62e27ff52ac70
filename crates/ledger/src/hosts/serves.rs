//! What hosts announce that they serve: where ONVIF is to be asked for, and who may be a camera.

use std::net::Ipv4Addr;

use vocab::{ControlPort, ControlState, ControlWord, Mac, Moment};

use crate::asking::lanes::Key;
use crate::hosts::claim::HostId;
use crate::judging::track::PortState;
use crate::ledger::Ledger;

/// Announced services kept of one host.
const MAX_SERVES: usize = 8;

impl Ledger {
    /// A host announced services, at ports of its own; `video`: one of them has to do with pictures or
    /// sound.
    pub(crate) fn serves(&mut self, at: Moment, mac: Mac, ports: &[ControlPort], video: bool) {
        let id = HostId::Mac(mac);
        if !mac.is_host() || self.is_our_hardware(mac) {
            return;
        }
        self.revision += u64::from(self.hosts.hear(id, at).news);
        let Some(host) = self.hosts.get_mut(id) else {
            return;
        };
        let mut news = video && !host.video;
        host.video |= video;
        let mut moved = false;
        for port in ports {
            if host.serves.contains(port) {
                continue;
            }
            news = true;
            if port.word == ControlWord::Onvif {
                // It stands in one place only, the one said last.
                host.serves.retain(|p| p.word != ControlWord::Onvif);
                moved = true;
            }
            if host.serves.len() < MAX_SERVES {
                host.serves.insert(*port);
            }
        }
        if news {
            self.revision += 1;
            self.look_who(at);
            self.ask_announced(at, mac);
        }
        if moved && let Some(&i) = self.by_mac.get(&mac) {
            let gone = |s: PortState| matches!(s, PortState::Told(s) if s != ControlState::Answered);
            for port in &mut self.tracks[i].ports {
                port.wanted |= is_usual_onvif(port.which) && gone(port.state);
            }
            self.touched.insert(i);
        }
    }

    /// Where a control port of the host at `address` really is: ONVIF stands where the host itself says
    /// so, unless the file gives it a port of its own (the contract of `control`).
    pub(crate) fn real_port(&self, address: Ipv4Addr, mac: Option<Mac>, port: ControlPort) -> ControlPort {
        if !is_usual_onvif(port) {
            return port;
        }
        let said = |id: HostId| {
            let host = self.hosts.get(id)?;
            host.serves.iter().find(|p| p.word == ControlWord::Onvif).copied()
        };
        self.asked_of(address, mac).find_map(said).unwrap_or(port)
    }

    /// Who is asked at `address`, if only `mac` is meant or, without one, whoever is there.
    fn asked_of(&self, address: Ipv4Addr, mac: Option<Mac>) -> impl Iterator<Item = HostId> {
        let holders = self.hosts.holders(address).map(|(id, _)| id);
        holders.filter(move |id| mac.is_none_or(|m| id.mac() == Some(m)))
    }

    /// The other way round: by what name a port was asked that told something.
    pub(crate) fn asked_as(&self, address: Ipv4Addr, mac: Option<Mac>, told: ControlPort) -> ControlPort {
        let Some(usual) = usual_onvif().filter(|_| told.word == ControlWord::Onvif) else {
            return told;
        };
        let own_name = self.lanes.has(Key::Port(address, mac, told))
            || self
                .asked_of(address, mac)
                .any(|id| self.lanes.has(Key::Port(address, id.mac(), told)));
        if !own_name && self.real_port(address, mac, usual) == told {
            usual
        } else {
            told
        }
    }
}

fn usual_onvif() -> Option<ControlPort> {
    let word = ControlWord::Onvif;
    word.usual_port().map(|port| ControlPort { word, port })
}

fn is_usual_onvif(port: ControlPort) -> bool {
    Some(port) == usual_onvif()
}

//! When to ask which control port: a device's own when it appears, returns or on request, and in a
//! survey a stranger's usual ones.

use std::net::Ipv4Addr;
use std::time::Duration;

use rig::AskWhen;
use vocab::{ControlPort, ControlState, Moment};

use crate::Standing;
use crate::asking::lanes::Key;
use crate::hosts::claim::HostId;
use crate::judging::track::PortState;
use crate::ledger::Ledger;

/// How soon a control port is asked again while a device starts, where the pace leaves room: the
/// stopwatch of its start is right to within this.
const PORT_SOON: Duration = Duration::from_secs(2);
/// How often the ports of a device with `ask = "watch"` are asked.
const PORT_WATCH: Duration = Duration::from_mins(1);

impl Ledger {
    /// Plans the questions to the control ports of device `i`.
    pub(crate) fn plan_ports(&mut self, i: usize, now: Moment) {
        let here = self.place_of_ports(i);
        let routed = self.routed();
        let away = here.is_some() && self.tracks[i].evidence.here.is_none() && !routed;
        let track = &self.tracks[i];
        if track.ports.is_empty() || self.watch_only || self.settings.purpose.leaves_no_neighbour() {
            return;
        }
        if track.port_lanes != here
            && let Some((address, id)) = track.port_lanes
        {
            for port in &track.ports {
                self.lanes.remove(Key::Port(address, id.mac(), port.which));
            }
        }
        self.tracks[i].port_lanes = here;
        let Some((address, id)) = here else { return };
        let track = &self.tracks[i];
        let soon = self.stretch(PORT_SOON);
        // One that takes longer than the file allows may yet come up.
        let starts = track.standing == Standing::Starting || track.starts.running().is_some();
        let watch = track.device.ask == AskWhen::Watch && !self.settings.purpose.surveys();
        for port in &track.ports {
            let key = Key::Port(address, id.mac(), port.which);
            let last = self.lanes.closed_at(key);
            let after = |span: Duration| Some(last.map_or(now, |l| (l + span).max(now)));
            let again = match routed.then(|| self.knock_again(i, port.state)).flatten() {
                Some(every) => after(every),
                None if watch => after(PORT_WATCH),
                None => None,
            };
            let at = match port.state {
                _ if port.wanted => Some(now),
                // On the wrong subnet once is enough: its address will not stay.
                PortState::Waiting | PortState::Told(_) | PortState::Away(_) if away => {
                    last.is_none_or(|l| l < track.reset).then_some(now)
                }
                PortState::Waiting | PortState::Away(_) => last
                    .filter(|l| *l >= track.reset)
                    .map_or(Some(now), |_| after(soon)),
                PortState::Told(ControlState::Answered) => again,
                PortState::Told(_) if starts => after(soon),
                PortState::Told(_) => again,
                PortState::NoWay if routed => again,
                PortState::NoWay => None,
            };
            self.lanes.want(key, at);
        }
    }

    /// Where the control ports of device `i` are asked: where it should be, or, once it is sure to be
    /// on the wrong subnet, where it is.
    pub(crate) fn place_of_ports(&self, i: usize) -> Option<(Ipv4Addr, HostId)> {
        let track = &self.tracks[i];
        let e = &track.evidence;
        let me = self.me();
        let foreign = || {
            let strayed = track.standing == Standing::WrongSubnet && self.sees_frames();
            e.foreign.filter(|_| strayed)
        };
        // Behind a router they are asked beside the echo, not after it.
        let afar = || {
            let address = track.device.fixed_address()?;
            let asks = self.routed() && self.blind().is_none();
            asks.then_some((HostId::Only(address), address))
        };
        e.here
            .filter(|_| e.clash.is_empty())
            .or_else(afar)
            .or_else(foreign)
            .filter(|(id, _)| Some(*id) != me)
            .map(|(id, address)| (address, id))
    }

    /// In a survey a stranger's usual control ports are asked once.
    pub(crate) fn survey_ports(&mut self, id: HostId, address: Ipv4Addr) {
        let stranger = id.mac().is_none_or(|m| !self.by_mac.contains_key(&m));
        if !self.settings.purpose.surveys()
            || !stranger
            || self.by_address.contains_key(&address)
            || self.blind().is_some()
        {
            return;
        }
        if self.in_subnet(address) {
            if let Some(at) = self.hosts.get(id).map(|h| h.last) {
                self.usual_ports(id, address, at);
            }
        } else if id.mac().is_some() && self.sees_frames() {
            self.survey_away(id, address);
        }
    }

    /// Has a stranger's usual control ports asked, unless some were.
    pub(crate) fn usual_ports(&mut self, id: HostId, address: Ipv4Addr, at: Moment) {
        let usual = self.usual_words();
        let Some(host) = self.hosts.get_mut(id) else {
            return;
        };
        if !host.ports.is_empty() {
            return;
        }
        for word in usual {
            let Some(port) = word.usual_port().map(|port| ControlPort { word: *word, port }) else {
                continue;
            };
            host.ports.insert(port, None);
            self.lanes.want(Key::Port(address, id.mac(), port), Some(at));
        }
        if let Some(mac) = id.mac() {
            self.ask_announced(at, mac);
        }
    }
}

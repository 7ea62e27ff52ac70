//! A network behind a router: there echo and control ports alone tell of a device.
//!
//! Nothing of its wire reaches us, so hardware is never known, and clashes, strangers and wrong
//! subnets cannot be told. An echo request takes the place of the broadcast question of a wire: its
//! lane, its rounds and its misses are the same. Control ports are asked beside it and not after
//! it, since a firewall may drop the one and let the other through; a device that never answered an
//! echo stands by its ports alone, and those are then asked again and again.

use std::net::Ipv4Addr;
use std::time::Duration;

use rig::{AskWhen, Need, Reach};
use vocab::{ControlState, Moment};

use crate::find::made;
use crate::hosts::claim::{HostId, Life, Misses};
use crate::judging::judge::{Evidence, Ports};
use crate::judging::track::{PortState, Track};
use crate::ledger::Ledger;
use crate::{Finding, FindingKind, Proof, Severity, Standing};

/// How often the ports of a device are asked that stands by them alone, or is missing.
pub(crate) const KNOCK: Duration = Duration::from_secs(30);

impl Ledger {
    /// Whether the network is behind a router.
    pub(crate) fn routed(&self) -> bool {
        let rig = self.settings.rig.as_ref();
        rig.is_some_and(|rig| rig.network.reach == Reach::Routed)
    }

    /// What speaks for and against device `i`, expected at `address` behind a router.
    pub(crate) fn afar(&self, i: usize, address: Ipv4Addr, e: &mut Evidence) {
        let track = &self.tracks[i];
        let mut echo_in_vain = self.targets.get(&address).is_some_and(|t| t.unanswered);
        for (id, claim) in self.hosts.holders(address) {
            if claim.alive() {
                e.here = Some((id, address));
                let fades = claim.misses.any() && claim.rtt.is_some() && only_silent(track);
                if fades && track.standing == Standing::Present {
                    // It may just be going: that is told by its echo and its ports together.
                    e.ports = Ports::Waiting;
                    e.grace = false;
                    e.failing.clear();
                }
            }
            echo_in_vain |= claim.life == Life::Gone;
        }
        let asked = track.ports.iter().filter(|p| p.state != PortState::NoWay);
        let told = asked.clone().all(|p| matches!(p.state, PortState::Told(_)));
        e.unanswered = e.here.is_none() && echo_in_vain && told;
    }

    /// A port of device `i` told something, or stayed silent.
    pub(crate) fn port_told(&mut self, at: Moment, i: usize, address: Ipv4Addr, state: ControlState) {
        let id = HostId::Only(address);
        if state != ControlState::Silent {
            // To turn us away a host must be there.
            self.way_found();
            self.claimed(at, id, address, Proof::Port, None);
        } else if only_silent(&self.tracks[i])
            && let Some(claim) = self.hosts.get_mut(id).and_then(|h| h.claim_mut(address))
            && claim.alive()
            && claim.rtt.is_none()
        {
            claim.life = Life::Gone;
        }
    }

    /// An echo request to `address` was not answered: its ports are asked whether it is still there.
    pub(crate) fn knock(&mut self, address: Ipv4Addr) {
        let Some(&i) = self.by_address.get(&address) else {
            return;
        };
        let track = &mut self.tracks[i];
        if track.device.ask != AskWhen::Never {
            for port in &mut track.ports {
                port.wanted = true;
            }
        }
        self.touched.insert(i);
    }

    /// When a port in this state is asked again by itself, counted from the last time; `None` where
    /// the echo tells enough.
    pub(crate) fn knock_again(&self, i: usize, state: PortState) -> Option<Duration> {
        let track = &self.tracks[i];
        if !self.watches() || track.device.ask == AskWhen::Never {
            return None;
        }
        let address = track.device.fixed_address()?;
        let by_echo = self
            .hosts
            .holders(address)
            .any(|(_, c)| c.alive() && c.rtt.is_some());
        (!by_echo && state != PortState::Waiting).then_some(KNOCK)
    }

    /// The kernel found nobody to hand a question about `address` to: it never left, so that
    /// nothing follows from silence.
    pub(crate) fn no_way(&mut self, at: Moment, address: Ipv4Addr) {
        if self.blind().is_some() {
            return;
        }
        self.wire_dirty |= self.no_way.is_none();
        self.no_way.get_or_insert(at);
        self.lanes
            .close(crate::asking::lanes::Key::Broadcast(address), at);
        self.targets.change(&address, |target| {
            target.heard();
            target.open = None;
        });
        let ids: Vec<HostId> = self.hosts.holders(address).map(|(id, _)| id).collect();
        for id in ids {
            if let Some(claim) = self.hosts.get_mut(id).and_then(|h| h.claim_mut(address)) {
                claim.life = Life::Stale;
                claim.misses = Misses::NONE;
            }
        }
        if let Some(&i) = self.by_address.get(&address) {
            self.tracks[i].reset_ports(at);
            self.touched.insert(i);
        }
        self.replan.insert(address);
    }

    /// Somebody answered from there: there is a way.
    pub(crate) fn way_found(&mut self) {
        self.wire_dirty |= self.no_way.take().is_some();
    }

    /// What is wrong with the way there.
    pub(crate) fn find_way(&self, all: &mut Vec<Finding>) {
        let (Some(_), Some(subnet)) = (self.no_way, self.subnet()) else {
            return;
        };
        let shown = self.tracks.iter().any(|t| t.device.need == Need::Show);
        all.push(made(
            FindingKind::NoWay,
            if shown { Severity::Fault } else { Severity::Note },
            format!("There is no way to {subnet}: nobody takes what this computer sends there."),
            "Look whether the router is switched on and plugged in, and whether this computer's network settings \
             name it as the gateway.",
        ));
    }
}

/// Whether a device has ports, and every one that could be asked was silent.
fn only_silent(track: &Track) -> bool {
    let silent = PortState::Told(ControlState::Silent);
    let mut asked = track
        .ports
        .iter()
        .filter(|p| p.state != PortState::NoWay)
        .peekable();
    asked.peek().is_some() && asked.all(|p| p.state == silent)
}

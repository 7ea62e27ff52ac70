//! Computers that sleep: another answers for them, or their own network card does.
//!
//! A sleep proxy (DNS-SD type `_sleep-proxy._udp`) answers ARP for a sleeping computer with its own
//! hardware address, probes included, so only its own word tells it from an owner. A network card that
//! answers by itself looks awake by ARP, and answers nothing else.

use std::net::Ipv4Addr;

use vocab::{ControlState, Mac, Moment};

use crate::find::made;
use crate::hosts::claim::HostId;
use crate::judging::track::{PortState, Track};
use crate::judging::words::place;
use crate::ledger::Ledger;
use crate::{EchoSample, Finding, FindingKind, Severity, Standing};

/// Echoes in a row without a reply, before it is said that none is answered.
const VAIN: usize = 3;
/// Sleep proxies told of.
const MAX_TOLD: usize = 16;

impl Track {
    /// Whether its hardware answers ARP and nothing else that was asked.
    fn answers_arp_only(&self) -> bool {
        let vain = |e: &&EchoSample| e.0.is_none();
        let port =
            |s: PortState| matches!(s, PortState::Told(ControlState::Answered | ControlState::Refused));
        self.evidence.here.is_some()
            && self.echoes.iter().rev().take_while(vain).count() >= VAIN
            && !self.ports.iter().any(|p| port(p.state))
    }

    /// Whether it may doze off, and looks as if it did.
    pub(crate) fn dozes(&self) -> bool {
        self.device.sleeps && self.answers_arp_only()
    }
}

impl Ledger {
    /// `mac` says of itself, from `address`, that it answers for sleeping computers.
    pub(crate) fn sleep_proxy(&mut self, at: Moment, mac: Mac, address: Ipv4Addr) {
        let id = HostId::Mac(mac);
        if !mac.is_host() || self.me() == Some(id) {
            return;
        }
        self.hosts.hear(id, at);
        if self.hosts.lends(id, address) {
            let held: Vec<Ipv4Addr> = self.answered_by(id).collect();
            for address in held {
                self.touch(address);
                self.replan.insert(address);
            }
            self.touched.extend(self.by_mac.get(&mac));
            self.wire_dirty = true;
            self.ready_dirty = true;
            self.revision += 1;
        }
    }

    /// The addresses that a sleep proxy answers at for others.
    fn answered_by(&self, id: HostId) -> impl Iterator<Item = Ipv4Addr> {
        let claims = self.hosts.get(id).into_iter().flat_map(|h| &h.claims);
        claims.filter(|c| c.alive() && c.lent).map(|c| c.address)
    }

    pub(crate) fn find_asleep(&self, all: &mut Vec<Finding>) {
        for id in self.hosts.lenders().take(MAX_TOLD) {
            let asleep = |a: Ipv4Addr| {
                let i = *self.by_address.get(&a)?;
                (self.tracks[i].standing == Standing::Missing).then_some(&self.tracks[i])
            };
            let tracks: Vec<&Track> = self.answered_by(id).filter_map(asleep).collect();
            let (Some(mac), Some(first)) = (id.mac(), tracks.first()) else {
                continue;
            };
            let names: Vec<String> = tracks.iter().map(|t| t.device.name.clone()).collect();
            all.push(Finding {
                macs: vec![mac],
                text: format!(
                    "{mac} is a sleep proxy and answers for {}, which it takes for asleep.",
                    names.join(" and ")
                ),
                devices: names.clone(),
                ..made(
                    FindingKind::SleepProxy,
                    Severity::Note,
                    String::new(),
                    format!("Wake {}{} if it is needed.", first.device.name, place(first)),
                )
            });
        }
        let subnet = self.subnet();
        for track in self.tracks.iter().filter(|t| t.answers_arp_only()) {
            let name = &track.device.name;
            let place = place(track);
            let ports = if track.ports.is_empty() {
                ""
            } else {
                " nor at a control port"
            };
            let advice = match subnet {
                Some(net) if !track.device.sleeps => format!(
                    "Look whether {name}{place} is awake, and in its network menu whether its mask is {} and its \
                     gateway right.",
                    net.netmask()
                ),
                _ => format!("Wake {name}{place} if it is needed."),
            };
            all.push(Finding {
                devices: vec![name.clone()],
                address: track.evidence.here.map(|(_, a)| a),
                macs: track.who.and_then(HostId::mac).into_iter().collect(),
                ..made(
                    FindingKind::ArpOnly,
                    Severity::Note,
                    format!(
                        "{name} answers ARP, but no echo{ports}: it may be asleep, or have a wrong mask or gateway, or \
                         a firewall."
                    ),
                    advice,
                )
            });
        }
    }
}

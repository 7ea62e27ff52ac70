//! Findings that are no device's own: this computer, the gateway, proxies, strangers, the file.

use std::collections::BTreeSet;
use std::net::Ipv4Addr;
use std::time::Duration;

use rig::How;
use vocab::{Mac, Moment};

use crate::headline::link_words;
use crate::ledger::{Blind, Ledger, Timer};
use crate::words::number;
use crate::{Change, Finding, FindingKind, Severity, Subject};

/// Clashes between strangers that are told.
const MAX_CLASHES: usize = 50;
/// A flood is told for so long after the last host was dropped.
const FLOOD: Duration = Duration::from_mins(1);

/// Which of two faults stands first: the smaller.
pub(crate) fn weight(kind: FindingKind) -> usize {
    use FindingKind as K;
    const ORDER: &[FindingKind] = &[
        K::LinkDown,
        K::NoWay,
        K::ThisComputerOffSubnet,
        K::MaskMismatch,
        K::TwoWaysToRig,
        K::WirelessLink,
        K::AddressConflict,
        K::Missing,
        K::Replaced,
        K::WrongSubnet,
        K::WrongNetwork,
        K::Moved,
        K::NoControl,
        K::SecondDhcpServer,
        K::NoDhcpAnswer,
        K::ProxyArp,
        K::Flood,
        K::DeviceFault,
        K::GatewaySilent,
        K::CallsForNobody,
        K::StaticInLeasePool,
        K::DhcpServer,
        K::Standby,
        K::PortNotPassing,
        K::TwoPorts,
        K::OddSender,
        K::TaggedFrames,
        K::DeviceMask,
        K::ExtraAddress,
    ];
    ORDER.iter().position(|k| *k == kind).unwrap_or(ORDER.len())
}

/// What makes a finding one and the same over time.
pub(crate) type Subjects = (FindingKind, Option<Ipv4Addr>, Vec<String>, Option<Mac>);

fn subject(f: &Finding) -> Subjects {
    let mac = if f.address.is_none() {
        f.macs.first().copied()
    } else {
        None
    };
    (f.kind, f.address, f.devices.clone(), mac)
}

/// A finding of no particular subject.
pub(crate) fn made(
    kind: FindingKind,
    severity: Severity,
    text: String,
    advice: impl Into<String>,
) -> Finding {
    Finding {
        kind,
        severity,
        network: None,
        devices: Vec::new(),
        address: None,
        macs: Vec::new(),
        text,
        advice: advice.into(),
        since: Moment::ZERO,
    }
}

impl Ledger {
    /// Makes these findings anew, and puts on record which began and ended.
    pub(crate) fn find(&mut self, now: Moment) {
        let mut all = Vec::new();
        self.find_leases(&mut all);
        match self.blind() {
            Some(Blind::NoReport) => {}
            Some(Blind::Link(state)) => {
                let text = format!("{}.", capital(link_words(state)));
                let advice = match state {
                    vocab::LinkState::NoCarrier | vocab::LinkState::Up => {
                        "Plug the network cable in at this computer and at the switch."
                    }
                    vocab::LinkState::Down => "Switch the interface on in this computer's network settings.",
                    vocab::LinkState::Gone => "Plug this computer's network adapter in again.",
                };
                all.push(made(FindingKind::LinkDown, Severity::Fault, text, advice));
            }
            Some(Blind::ListenOnly) | None if self.routed() => self.find_way(&mut all),
            Some(Blind::ListenOnly) | None => {
                self.find_port(now, &mut all);
                self.find_computer(&mut all);
                self.find_clashes(&mut all);
                self.find_two_ports(&mut all);
                self.find_servers(&mut all);
                self.find_masks(&mut all);
                self.find_wire(now, &mut all);
                self.find_calls(now, &mut all);
                self.find_power(&mut all);
            }
        }
        all.sort_by_key(|f| (f.severity, weight(f.kind), f.address));
        self.keep(all, now);
    }

    fn keep(&mut self, mut all: Vec<Finding>, now: Moment) {
        let old: BTreeSet<Subjects> = self.wire_findings.iter().map(subject).collect();
        for finding in &mut all {
            let before = self.wire_findings.iter().find(|f| subject(f) == subject(finding));
            finding.since = before.map_or(now, |f| f.since);
        }
        let new: BTreeSet<Subjects> = all.iter().map(subject).collect();
        let blind = matches!(self.blind(), Some(Blind::Link(_)));
        let mut changes = Vec::new();
        // While the link is down only that is told, not all that cannot be seen any more.
        let ended = self
            .wire_findings
            .iter()
            .filter(|f| !new.contains(&subject(f)) && !blind);
        changes.extend(ended.map(|f| (f.clone(), false)));
        changes.extend(
            all.iter()
                .filter(|f| !old.contains(&subject(f)))
                .map(|f| (f.clone(), true)),
        );
        for (f, began) in changes {
            if f.severity == Severity::Note {
                continue;
            }
            let text = if began {
                f.text.clone()
            } else {
                format!("Over: {}", f.text)
            };
            let subject = Subject::Finding {
                kind: f.kind,
                severity: f.severity,
                began,
                macs: f.macs.clone(),
                address: f.address,
            };
            self.changes.push(Change {
                at: now,
                subject,
                text,
                basis: String::new(),
                worse: began,
            });
        }
        if all != self.wire_findings {
            self.revision += 1;
            self.wire_findings = all;
        }
    }

    fn find_leases(&self, all: &mut Vec<Finding>) {
        let Some(rig) = &self.settings.rig else { return };
        for track in &self.tracks {
            let device = &track.device;
            let Some(address) = device.fixed_address() else {
                continue;
            };
            let pool = rig.network.leases.iter().find(|r| r.contains(address));
            if let Some(pool) = pool
                && device.how == How::Static
            {
                let name = &device.name;
                all.push(Finding {
                    devices: vec![name.clone()],
                    address: Some(address),
                    ..made(
                        FindingKind::StaticInLeasePool,
                        Severity::Risk,
                        format!(
                            "{address} of {name} lies in the lease pool {pool}: it may be given to another."
                        ),
                        format!(
                            "Reserve {address} for {name} in the DHCP server, or give {name}{} an address \
                             outside the pool.",
                            crate::words::place(track)
                        ),
                    )
                });
            }
        }
    }

    /// Whether the standing of a device tells of a clash at `address`.
    fn decides(&self, address: Ipv4Addr) -> bool {
        self.by_address.contains_key(&address)
            || self
                .device_at(address)
                .is_some_and(|i| self.tracks[i].evidence.here.is_some_and(|(_, a)| a == address))
    }

    fn find_clashes(&self, all: &mut Vec<Finding>) {
        let own = self
            .station
            .iter()
            .flat_map(|s| s.addresses.iter().map(vocab::Ipv4Net::addr));
        let first: BTreeSet<Ipv4Addr> = own.chain(self.gateway()).collect();
        let strangers = self
            .hosts
            .contested()
            .filter(|a| !first.contains(a))
            .take(MAX_CLASHES * 4);
        let mut told = 0;
        for address in first.iter().copied().chain(strangers) {
            if self.decides(address) || told >= MAX_CLASHES {
                continue;
            }
            let clash = self.clash(None, address);
            if clash.is_empty() {
                continue;
            }
            told += 1;
            let ours = self.is_ours(address);
            let gateway = self.gateway() == Some(address);
            let macs: Vec<Mac> = clash.iter().filter_map(|id| id.mac()).take(8).collect();
            let names: Vec<String> = clash
                .iter()
                .take(8)
                .map(|id| match id.mac() {
                    _ if Some(*id) == self.me() => "this computer".to_owned(),
                    Some(mac) => mac.to_string(),
                    None => "unknown hardware".to_owned(),
                })
                .collect();
            let other = clash
                .iter()
                .filter(|id| Some(**id) != self.me())
                .find_map(|id| id.mac());
            let other = other.map(|m| m.to_string()).unwrap_or_default();
            let (whose, advice) = if ours {
                (
                    ", this computer's own address",
                    format!("Find {other} and unplug it, or give this computer another address."),
                )
            } else if gateway {
                (
                    ", the gateway's address",
                    format!("Find {other} on the switch; if it is not the router, give it another address."),
                )
            } else {
                (
                    "",
                    format!("Find {other} on the switch and give it another address."),
                )
            };
            all.push(Finding {
                address: Some(address),
                macs,
                ..made(
                    FindingKind::AddressConflict,
                    if ours || gateway {
                        Severity::Fault
                    } else {
                        Severity::Note
                    },
                    format!(
                        "{} units hold {address}{whose}: {}.",
                        number(clash.len()),
                        names.join(" and ")
                    ),
                    advice,
                )
            });
        }
    }

    fn find_wire(&mut self, now: Moment, all: &mut Vec<Finding>) {
        for host in self.hosts.proxies().take(MAX_CLASHES) {
            let Some(mac) = host.id.mac() else { continue };
            all.push(Finding {
                macs: vec![mac],
                ..made(
                    FindingKind::ProxyArp,
                    Severity::Risk,
                    format!("{mac} answers for addresses that it does not own (proxy ARP)."),
                    format!("Switch proxy ARP off in the router or access point with the hardware {mac}."),
                )
            });
        }
        if let Some(gateway) = self.gateway()
            && !self.is_ours(gateway)
            && !self.port.deaf()
            && self.targets.get(&gateway).is_some_and(|t| t.unanswered)
        {
            all.push(Finding {
                address: Some(gateway),
                ..made(
                    FindingKind::GatewaySilent,
                    Severity::Risk,
                    format!("The gateway {gateway} does not answer."),
                    "Look whether the router is switched on and plugged into the rig's switch.",
                )
            });
        }
        for (source, (sender, address, _)) in &self.odd {
            all.push(Finding {
                macs: vec![*source, *sender],
                ..made(
                    FindingKind::OddSender,
                    Severity::Note,
                    format!("{source} sends ARP in the name of {sender} for {address}; it proves nothing."),
                    format!("Look what {source} is: a bridge or access point does this for its clients."),
                )
            });
        }
        if let Some(tag) = self.tags.keys().next() {
            all.push(made(
                FindingKind::TaggedFrames,
                Severity::Note,
                format!("Frames with the VLAN tag {tag} reach this computer; they are not counted."),
                "Set this computer's switch port to one untagged VLAN, that of the rig.",
            ));
        }
        if let Some(last) = self.hosts.overflowed {
            let over = last + FLOOD;
            if now < over {
                self.timers.set(Timer::Flood, Some(over));
                all.push(made(
                    FindingKind::Flood,
                    Severity::Risk,
                    format!(
                        "More than {} unknown hosts: the oldest are forgotten.",
                        crate::hosts::MAX_STRANGERS
                    ),
                    "Look at the switch for the port that all this comes from, and unplug it.",
                ));
            } else {
                self.hosts.overflowed = None;
            }
        }
    }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars
        .next()
        .map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

//! Findings that are no device's own: this computer, the gateway, proxies, strangers, the file.

pub(crate) mod apart;
pub(crate) mod asleep;
pub(crate) mod calls;
pub(crate) mod clashes;
pub(crate) mod computer;
pub(crate) mod masks;
pub(crate) mod querier;
pub(crate) mod returned;
pub(crate) mod servers;
pub(crate) mod starts;
pub(crate) mod wire;

use std::net::Ipv4Addr;

use rig::How;
use vocab::{Mac, Moment};

use crate::judging::headline::link_words;
use crate::ledger::{Blind, Ledger};
use crate::{Finding, FindingKind, Severity};

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
        K::ClientIsolation,
        K::AddressConflict,
        K::CommonOutage,
        K::Missing,
        K::Replaced,
        K::WrongSubnet,
        K::WrongNetwork,
        K::Moved,
        K::NoControl,
        K::SecondDhcpServer,
        K::NoDhcpAnswer,
        K::ProxyArp,
        K::FramesReturn,
        K::Flood,
        K::DeviceFault,
        K::RestartLoop,
        K::NeedsRestart,
        K::DuplicateMac,
        K::GatewaySilent,
        K::CallsForNobody,
        K::StaticInLeasePool,
        K::DhcpServer,
        K::Standby,
        K::PortNotPassing,
        K::SleepProxy,
        K::ArpOnly,
        K::NoQuerier,
        K::TwoPorts,
        K::VirtualRouter,
        K::OddSender,
        K::TaggedFrames,
        K::DeviceMask,
        K::ExtraAddress,
    ];
    ORDER.iter().position(|k| *k == kind).unwrap_or(ORDER.len())
}

/// What makes a finding one and the same over time.
pub(crate) type Subjects = (FindingKind, Option<Ipv4Addr>, Vec<String>, Option<Mac>);

pub(crate) fn subject(f: &Finding) -> Subjects {
    let mac = if f.address.is_none() {
        f.macs.first().copied()
    } else {
        None
    };
    if f.kind == FindingKind::NeedsRestart {
        // One of them that came up makes no new finding of the rest.
        return (f.kind, None, Vec::new(), None);
    }
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

/// Whether such findings are made with when they began.
const fn knows_when(kind: FindingKind) -> bool {
    matches!(kind, FindingKind::CommonOutage | FindingKind::AddressConflict)
}

impl Ledger {
    /// Makes these findings anew, and puts on record which began and ended.
    pub(crate) fn find(&mut self, now: Moment) {
        let mut all = Vec::new();
        self.find_leases(&mut all);
        self.find_outages(now, &mut all);
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
                self.find_apart(&mut all);
                self.find_asleep(&mut all);
                self.find_doubles(&mut all);
                self.find_querier(now, &mut all);
                self.find_servers(&mut all);
                self.find_masks(&mut all);
                self.find_returned(now, &mut all);
                self.find_wire(now, &mut all);
                self.find_calls(now, &mut all);
                self.find_power(&mut all);
                self.find_starts(now, &mut all);
            }
        }
        self.time_starts(now);
        all.sort_by_key(|f| (f.severity, weight(f.kind), f.address));
        self.keep(all, now);
    }

    fn keep(&mut self, mut all: Vec<Finding>, now: Moment) {
        for finding in all.iter_mut().filter(|f| !knows_when(f.kind)) {
            let shown = self.wire_findings.iter().find(|f| subject(f) == subject(finding));
            let since = shown.map(|f| f.since).or_else(|| self.open.since(finding));
            finding.since = since.unwrap_or(now);
        }
        self.tell_findings(&all, now);
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
                            crate::judging::words::place(track)
                        ),
                    )
                });
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

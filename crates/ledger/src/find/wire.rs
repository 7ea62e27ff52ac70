//! Findings about the wire itself: who answers for others, what reaches us that should not, too much of it.

use std::time::Duration;

use vocab::Moment;

use crate::find::made;
use crate::ledger::{Ledger, Timer};
use crate::{Finding, FindingKind, Severity};

/// Hosts of one sort that are told of.
const MAX_TOLD: usize = 50;
/// Of those who send in the names of others each is told of, up to so many.
const MAX_ODD_TOLD: usize = 4;
/// A flood is told for so long after the last host was dropped.
const FLOOD: Duration = Duration::from_mins(1);

impl Ledger {
    pub(crate) fn find_wire(&mut self, now: Moment, all: &mut Vec<Finding>) {
        for host in self.hosts.proxies().take(MAX_TOLD) {
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
        for host in self.hosts.virtual_routers().take(MAX_TOLD) {
            let claim = host.claims.iter().find(|c| c.alive() && !c.proxied());
            let (Some(mac), Some(claim)) = (host.id.mac(), claim) else {
                continue;
            };
            all.push(Finding {
                address: Some(claim.address),
                macs: vec![mac],
                ..made(
                    FindingKind::VirtualRouter,
                    Severity::Note,
                    format!(
                        "{} is held by a virtual router, number {} (VRRP): {mac} moves between its units.",
                        claim.address,
                        mac.octets()[5]
                    ),
                    format!(
                        "Nothing to do at the routers for {}: a second hardware address beside theirs is as it \
                         should be.",
                        claim.address
                    ),
                )
            });
        }
        if let Some(gateway) = self.gateway()
            && !self.is_ours(gateway)
            && !self.port.deaf()
            && !self.outages.is_whole()
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
        if self.odd.len() > MAX_ODD_TOLD {
            let first: Vec<String> = self
                .odd
                .keys()
                .take(MAX_ODD_TOLD)
                .map(ToString::to_string)
                .collect();
            all.push(made(
                FindingKind::OddSender,
                Severity::Note,
                format!(
                    "More than {MAX_ODD_TOLD} pieces of hardware send ARP in the names of others, as {} do; it proves \
                     nothing.",
                    first.join(", ")
                ),
                "Look at the switch for the port that all this comes from: a bridge does this for a few, and nobody \
                 for so many.",
            ));
        }
        for (source, (sender, address)) in self.odd.iter().filter(|_| self.odd.len() <= MAX_ODD_TOLD) {
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

//! A port that is kept apart: somebody answers, and none of the rig does.
//!
//! Isolated ports of a switch, and Wi-Fi with client isolation, let their clients reach the gateway and not
//! each other. A dozen missing devices then have one cause, which is said once.

use crate::find::made;
use crate::judging::track::Track;
use crate::judging::words::{number, place};
use crate::ledger::Ledger;
use crate::{Finding, FindingKind, Severity, Standing};

/// With fewer devices each is looked for by itself.
const AT_LEAST: usize = 3;

impl Ledger {
    pub(crate) fn find_apart(&self, all: &mut Vec<Finding>) {
        let counted = |t: &&Track| {
            let address = t.device.fixed_address();
            address.is_some_and(|a| Some(a) != self.gateway() && !self.is_ours(a))
        };
        let devices: Vec<&Track> = self.tracks.iter().filter(counted).collect();
        let gone = |t: &Track| t.standing == Standing::Missing;
        // One that has answered us shows that our port is not kept apart from it.
        let answered = self.tracks.iter().any(|t| {
            let there = |(id, address)| Some(id) != self.me() && Some(address) != self.gateway();
            t.evidence.here.is_some_and(there)
        });
        if devices.len() < AT_LEAST || answered || self.outages.is_whole() || !devices.iter().all(|t| gone(t))
        {
            return;
        }
        let gateway = self.gateway().filter(|a| {
            let mut holders = self.hosts.holders(*a);
            !self.is_ours(*a) && holders.any(|(_, c)| c.alive() && !c.proxied())
        });
        let listed = |id: crate::hosts::claim::HostId| id.mac().is_some_and(|m| self.by_mac.contains_key(&m));
        let others = self
            .hosts
            .iter()
            .filter(|h| !listed(h.id) && h.claims.iter().any(|c| c.alive() && self.near(c.address)))
            .count();
        let who = match (gateway, others) {
            (Some(gateway), 0 | 1) => format!("The gateway {gateway} answers"),
            (None, 0) => return,
            (None, 1) => "One other host answers".to_owned(),
            (_, n) => format!("{} other hosts answer", number(n)),
        };
        let Some(first) = devices.first() else { return };
        let place = place(first);
        all.push(Finding {
            devices: devices.iter().map(|t| t.device.name.clone()).collect(),
            ..made(
                FindingKind::ClientIsolation,
                Severity::Fault,
                format!(
                    "{who}, and none of the {} devices: this computer's port is probably kept apart from them (port or \
                     client isolation), or the switch that they are on is off.",
                    devices.len()
                ),
                format!(
                    "Plug this computer into the switch that {}{place} is on, and see whether that switch is on.",
                    first.device.name
                ),
            )
        });
    }
}

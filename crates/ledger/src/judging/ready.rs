//! Whether the rig is ready, exactly as the contract says.

use std::time::Duration;

use rig::{AddressSpec, Need};
use vocab::{Ipv4Net, Moment};

use crate::asking::target::Kind;
use crate::hosts::claim::Claim;
use crate::judging::judge::Evidence;
use crate::ledger::{Ledger, Timer};
use crate::servers::FOR_OFFERS;
use crate::{Change, Severity, Standing, Subject};

/// "No sooner than 250 ms after every rig address was asked a second time."
const AFTER_SECOND: Duration = Duration::from_millis(250);

/// The rig became ready, or is no longer; `expected`: by restarts that were announced alone. What readiness rests on is said; what ends it is told by itself.
pub(crate) fn ready_change(at: Moment, ready: bool, text: String, expected: bool) -> Change {
    let basis = if ready {
        "every address of the rig was asked twice, and each is claimed by one host alone"
    } else {
        ""
    };
    Change {
        at,
        subject: Subject::Ready(ready),
        text,
        basis: basis.to_owned(),
        worse: !ready && !expected,
        folded: false,
    }
}

impl Ledger {
    /// Looks again whether the rig is ready.
    pub(crate) fn check_ready(&mut self, now: Moment) {
        let at = self.ready_from();
        let ready = at.is_some_and(|at| at <= now);
        self.timers.set(Timer::Ready, at.filter(|at| *at > now));
        if ready != self.ready {
            self.ready = ready;
            self.revision += 1;
        }
        if self.blind().is_some() {
            // A gap in our own sight is told by its finding alone.
            return;
        }
        let mut open = std::mem::take(&mut self.open);
        let tells = open.tells_ready(ready, now, |told| self.sure_since(told, now));
        self.open = open;
        if tells {
            let text = self.headline();
            let expected = self.only_expected();
            self.changes.push(ready_change(now, ready, text, expected));
        }
    }

    /// From when on the rig may be called ready as things stand; `None` if it may not.
    fn ready_from(&self) -> Option<Moment> {
        self.settings.rig.as_ref()?;
        if self.blind().is_some() {
            return None;
        }
        let fault = |s: Severity| s == Severity::Fault;
        for track in &self.tracks {
            let waits = track.device.need == Need::Show;
            if (waits && track.standing != Standing::Present)
                || track.finding.as_ref().is_some_and(|f| fault(f.severity))
            {
                return None;
            }
        }
        if self.wire_findings.iter().any(|f| fault(f.severity)) {
            return None;
        }
        // Whoever claims an address of ours, or the gateway's, may yet prove to be a clash.
        let station = self.station.iter().flat_map(|s| &s.addresses);
        let ours = station.map(Ipv4Net::addr).filter(|a| self.in_subnet(*a));
        if ours.chain(self.gateway()).any(|a| self.claimants(a) > 1) {
            return None;
        }
        let mut from = self.epoch;
        for (i, track) in self.tracks.iter().enumerate() {
            if track.device.address == AddressSpec::Dhcp {
                // From the first question on; the unprivileged way there is none.
                from = from.max(self.epoch.max(self.servers.first.unwrap_or(self.epoch)) + FOR_OFFERS);
            }
            from = from.max(self.counted_from(i, &track.evidence)?);
        }
        Some(from)
    }

    /// From when on the address of device `i` was asked often enough; `None` if it was not, or
    /// more than one may hold it.
    fn counted_from(&self, i: usize, e: &Evidence) -> Option<Moment> {
        let device = &self.tracks[i].device;
        let Some(address) = device.fixed_address().or(e.here.map(|(_, a)| a)) else {
            return Some(self.epoch);
        };
        if self.claimants(address) > 1 {
            return None;
        }
        let target = self.targets.get(&address)?;
        if target.kind == Kind::Own {
            // Asking for our own address in our own name would be announcing it: one probe it is.
            return (target.rounds > 0).then(|| target.asked.unwrap_or(self.epoch) + AFTER_SECOND);
        }
        if device.macs.is_empty()
            && self.sees_frames()
            && let Some((id, _)) = e.here
        {
            let claim = self.hosts.get(id).and_then(|h| h.claim(address));
            if !claim.is_some_and(Claim::answers_nobody) {
                return None;
            }
        }
        target.twice.map(|at| at + AFTER_SECOND)
    }
}

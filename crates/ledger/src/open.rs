//! What was told to have begun and not yet to be over, so that on record every begin has its end.
//!
//! A gap in our own sight ends nothing: what was told before is looked for again first, for [`AGAIN`].

use std::collections::BTreeMap;
use std::time::Duration;

use vocab::Moment;

use crate::find::{Subjects, subject};
use crate::ledger::{Blind, Ledger};
use crate::{Change, Finding, FindingKind, Severity, Subject};

/// Within this time after a gap in our sight all is found again that is still there: the passes are over by then,
/// DHCP servers were waited for, and foreign addresses were asked for three times, 10 s apart.
pub(crate) const AGAIN: Duration = Duration::from_secs(30);

/// What is open on record.
#[derive(Debug, Default)]
pub(crate) struct Open {
    findings: BTreeMap<Subjects, Finding>,
    /// Since when the rig was told to be ready, if it was not told to be so no longer.
    ready: Option<Moment>,
}

impl Open {
    /// Since when the same finding is open.
    pub(crate) fn since(&self, finding: &Finding) -> Option<Moment> {
        self.findings.get(&subject(finding)).map(|f| f.since)
    }

    /// Whether it has to be told that the rig is ready, or no longer: `sure` says whether it is sure that
    /// it is not, if it was told to be since that moment.
    pub(crate) fn tells_ready(&mut self, ready: bool, now: Moment, sure: impl Fn(Moment) -> bool) -> bool {
        let tells = match self.ready {
            None => ready,
            Some(since) => !ready && sure(since),
        };
        if tells {
            self.ready = ready.then_some(now);
        }
        tells
    }
}

/// Whether it is told where a finding begins and ends. Of a common outage that is told where it begins and
/// ends, not with each of its devices.
fn is_told(finding: &Finding) -> bool {
    finding.severity != Severity::Note && finding.kind != FindingKind::CommonOutage
}

/// Whether such a finding rests on what this computer and the file say, and on nothing that has to be heard.
const fn at_once(kind: FindingKind) -> bool {
    use FindingKind as K;
    matches!(
        kind,
        K::ThisComputerOffSubnet
            | K::MaskMismatch
            | K::TwoWaysToRig
            | K::WirelessLink
            | K::StaticInLeasePool
            | K::LinkDown
    )
}

impl Ledger {
    /// Puts on record which of these findings began, and which that were open are over.
    pub(crate) fn tell_findings(&mut self, all: &[Finding], now: Moment) {
        let told: BTreeMap<Subjects, &Finding> = all
            .iter()
            .filter(|f| is_told(f))
            .map(|f| (subject(f), f))
            .collect();
        let gone = |(s, f): (&Subjects, &Finding)| {
            (!told.contains_key(s) && !self.may_be_found_again(f, now)).then(|| s.clone())
        };
        let ended: Vec<Subjects> = self.open.findings.iter().filter_map(gone).collect();
        for subject in ended {
            if let Some(finding) = self.open.findings.remove(&subject) {
                self.changes.push(change(&finding, false, now));
            }
        }
        for (subject, finding) in told {
            if self.open.findings.insert(subject, finding.clone()).is_none() {
                self.changes.push(change(finding, true, now));
            }
        }
    }

    fn may_be_found_again(&self, finding: &Finding, now: Moment) -> bool {
        if finding.kind == FindingKind::LinkDown {
            return false;
        }
        match self.blind() {
            // Only that is told, not all that cannot be seen any more.
            Some(Blind::NoReport | Blind::Link(_)) => true,
            Some(Blind::ListenOnly) => !at_once(finding.kind),
            None => !at_once(finding.kind) && finding.since < self.epoch && now < self.epoch + AGAIN,
        }
    }

    /// Whether it is sure that the rig is not ready any more, if it was told to be so at `told`: right
    /// after a gap in our sight that is not known yet.
    pub(crate) fn sure_since(&self, told: Moment, now: Moment) -> bool {
        self.epoch <= told || self.settled() || now >= self.epoch + AGAIN
    }
}

fn change(f: &Finding, began: bool, now: Moment) -> Change {
    let text = if began {
        f.text.clone()
    } else {
        format!("Over: {}", f.text)
    };
    let subject = Subject::Finding {
        kind: f.kind,
        severity: f.severity,
        began,
        devices: f.devices.clone(),
        macs: f.macs.clone(),
        address: f.address,
    };
    Change {
        at: now,
        subject,
        text,
        basis: String::new(),
        worse: began,
        folded: false,
    }
}

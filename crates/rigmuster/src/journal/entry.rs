//! What is written in the journal: one entry a change.

use std::collections::BTreeMap;
use std::net::Ipv4Addr;
use std::time::Duration;

use ledger::{Change, Opening, Standing, Start, Subject};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use vocab::{Mac, Moment};

use super::Stamp;

/// A change, as it is written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// Its number in its run, from 1, without gaps: what was lost is known by it.
    pub seq: u64,
    /// When, on the run's own clock, which never jumps.
    pub mono: Moment,
    /// When, on the wall.
    pub wall: Stamp,
    /// What changed.
    pub what: What,
    /// The names of the devices concerned.
    pub devices: Vec<String>,
    /// The hardware concerned.
    pub macs: Vec<Mac>,
    /// The address concerned.
    pub address: Option<Ipv4Addr>,
    /// One sentence.
    pub text: String,
    /// What it is based on.
    pub basis: String,
    /// Whether it is one for the worse.
    pub worse: bool,
    /// Whether another entry tells it together with others.
    pub folded: bool,
}

/// Something that the user had done to a device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Action {
    /// Whether it began; else it is over.
    pub began: bool,
    /// The device's name, where the rig has it.
    pub device: Option<String>,
    /// Its hardware, where that is known.
    pub mac: Option<Mac>,
    /// Its address, where that is known.
    pub address: Option<Ipv4Addr>,
    /// What was done, in one sentence.
    pub text: String,
    /// How it was before, and how after.
    pub basis: String,
}

/// What an entry is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum What {
    /// A device stands differently.
    Standing {
        /// How.
        to: Standing,
        /// Whether it was there before in this run and is lost, unasked for: by a restart that was
        /// announced nothing is lost, nor by a device that may sleep and dozes off.
        lost: bool,
    },
    /// A finding began or ended.
    Finding {
        /// Its word.
        kind: &'static str,
        /// The word of how much it matters.
        severity: &'static str,
        /// Whether it began.
        began: bool,
    },
    /// The rig became ready, or is no longer.
    Ready(bool),
    /// A device has started.
    Start {
        /// From its first frame to the last of its steps.
        took: Option<Duration>,
        /// The steps.
        steps: Steps,
    },
    /// A device's cable was checked: the text says what came of it, the basis gives the numbers.
    Cable,
    /// The user had something done to a device; it began, or it is over.
    Action {
        /// Whether it began.
        began: bool,
    },
    /// The head count began anew, or the time of day was set.
    Anew,
    /// Changes that could not be written: so many.
    Gap(u64),
}

/// What the steps of a start took, in milliseconds since its first frame. This is the JSON that
/// stands in the file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Steps {
    /// Whether the device's own first frame was heard, so that all of it was timed; else it was
    /// noticed by an answer, and had been on the wire before.
    pub first_frame: bool,
    /// Until it held its address.
    pub address_ms: Option<u64>,
    /// Until it answered an echo request.
    pub echo_ms: Option<u64>,
    /// Until each of its control ports answered.
    pub control_ms: BTreeMap<String, Option<u64>>,
}

impl Steps {
    fn of(start: &Start) -> Self {
        let ms = |time: Duration| u64::try_from(time.as_millis()).unwrap_or(u64::MAX);
        Self {
            first_frame: start.opening == Opening::FirstFrame,
            address_ms: start.settled.map(ms),
            echo_ms: start.echo.map(ms),
            control_ms: start
                .ports
                .iter()
                .map(|(p, t)| (p.to_string(), t.map(ms)))
                .collect(),
        }
    }
}

impl What {
    /// The word in the table and in JSON.
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::Standing { .. } => "standing",
            Self::Finding { .. } => "finding",
            Self::Ready(_) => "ready",
            Self::Start { .. } => "start",
            Self::Cable => "cable",
            Self::Action { .. } => "action",
            Self::Anew => "anew",
            Self::Gap(_) => "gap",
        }
    }
}

impl Entry {
    /// The entry of a change. `heard` tells whether a device was heard before in this run.
    pub fn of(change: &Change, seq: u64, wall: Stamp, heard: impl Fn(&str) -> bool) -> Self {
        let (what, devices, macs, address) = match &change.subject {
            Subject::Device {
                name,
                from,
                to,
                mac,
                address,
            } => {
                // One of several that are told together is lost as well, and one that two had claimed.
                let alarms = change.worse || change.folded || *from == Standing::Conflict;
                let lost = *to == Standing::Missing && alarms && heard(name);
                let what = What::Standing { to: *to, lost };
                (what, vec![name.clone()], mac.iter().copied().collect(), *address)
            }
            Subject::Finding {
                kind,
                severity,
                began,
                devices,
                macs,
                address,
            } => {
                let what = What::Finding {
                    kind: kind.as_str(),
                    severity: severity.as_str(),
                    began: *began,
                };
                (what, devices.clone(), macs.clone(), *address)
            }
            Subject::Start(start) => {
                let what = What::Start {
                    took: start.done,
                    steps: Steps::of(start),
                };
                let macs = start.mac.iter().copied().collect();
                (what, vec![start.device.clone()], macs, start.address)
            }
            Subject::Cable { device, mac, address } => {
                let macs = mac.iter().copied().collect();
                (What::Cable, vec![device.clone()], macs, Some(*address))
            }
            Subject::Anew => (What::Anew, Vec::new(), Vec::new(), None),
            Subject::Ready(ready) => (What::Ready(*ready), Vec::new(), Vec::new(), None),
        };
        Self {
            seq,
            mono: change.at,
            wall,
            what,
            devices,
            macs,
            address,
            text: change.text.clone(),
            basis: change.basis.clone(),
            worse: change.worse,
            folded: change.folded,
        }
    }

    /// The entry of something that the user had done.
    pub(crate) fn action(action: Action, seq: u64, mono: Moment, wall: Stamp) -> Self {
        Self {
            seq,
            mono,
            wall,
            what: What::Action { began: action.began },
            devices: action.device.into_iter().collect(),
            macs: action.mac.into_iter().collect(),
            address: action.address,
            text: action.text,
            basis: action.basis,
            worse: false,
            folded: false,
        }
    }

    /// What stands in place of `lost` changes before this one.
    pub(crate) fn gap(seq: u64, lost: u64, mono: Moment, wall: Stamp) -> Self {
        Self {
            seq,
            mono,
            wall,
            what: What::Gap(lost),
            devices: Vec::new(),
            macs: Vec::new(),
            address: None,
            text: format!("Changes that could not be written here: {lost}."),
            basis: String::new(),
            worse: false,
            folded: false,
        }
    }

    /// How many changes it says are missing.
    pub(super) const fn lost(&self) -> u64 {
        match self.what {
            What::Gap(lost) => lost,
            _ => 0,
        }
    }

    /// The number of the last change that it stands for.
    pub(super) const fn last(&self) -> u64 {
        match self.what {
            What::Gap(lost) => self.seq + lost - 1,
            _ => self.seq,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STAMP: Stamp = Stamp { ms: 0, offset_s: 0 };

    fn lost(from: Standing, to: Standing, (worse, folded): (bool, bool), heard: bool) -> bool {
        let change = Change {
            at: Moment::ZERO,
            subject: Subject::Device {
                name: "Ramp".to_owned(),
                from,
                to,
                mac: None,
                address: None,
            },
            text: String::new(),
            basis: String::new(),
            worse,
            folded,
        };
        let entry = Entry::of(&change, 1, STAMP, |name| heard && name == "Ramp");
        matches!(entry.what, What::Standing { lost: true, .. })
    }

    #[test]
    fn only_what_was_there_and_nobody_expected_is_lost() {
        use Standing::{Conflict, Missing, Present};
        assert!(lost(Present, Missing, (true, false), true));
        assert!(lost(Present, Missing, (true, true), true), "told with others");
        assert!(
            lost(Conflict, Missing, (false, false), true),
            "better is not back"
        );
        assert!(lost(Missing, Missing, (true, false), true), "overdue");
        assert!(
            !lost(Present, Missing, (false, false), true),
            "announced, or asleep"
        );
        assert!(!lost(Present, Missing, (true, false), false), "not there yet");
        assert!(!lost(Missing, Present, (false, false), true));
    }
}

//! What began or ended, and when.

use std::net::Ipv4Addr;

use vocab::{Mac, Moment};

use super::{FindingKind, Severity, Standing, Start};

/// A standing or finding that began or ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// When.
    pub at: Moment,
    /// What changed.
    pub subject: Subject,
    /// One sentence for the running list, without its time.
    pub text: String,
    /// What it is based on, in a few words; empty where the sentence says it all.
    pub basis: String,
    /// Whether it is one for the worse.
    pub worse: bool,
    /// Another change tells it together with others, as a common outage does for its devices: it is on
    /// record, and neither listed nor an alarm.
    pub folded: bool,
}

/// What a change is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Subject {
    /// A device stands differently.
    Device {
        /// Its name.
        name: String,
        /// How it stood.
        from: Standing,
        /// How it stands.
        to: Standing,
        /// Its hardware, where known.
        mac: Option<Mac>,
        /// The address that matters, where known.
        address: Option<Ipv4Addr>,
    },
    /// A finding that no device's standing already tells began or ended.
    Finding {
        /// What it is about.
        kind: FindingKind,
        /// How much it matters.
        severity: Severity,
        /// Whether it began; else it ended.
        began: bool,
        /// The names of the devices concerned.
        devices: Vec<String>,
        /// The hardware concerned.
        macs: Vec<Mac>,
        /// The address concerned.
        address: Option<Ipv4Addr>,
    },
    /// A device has started: one whole cycle from its first frame to the last of its steps.
    Start(Box<Start>),
    /// A device's cable was checked.
    Cable {
        /// Its name.
        device: String,
        /// Its hardware, where known.
        mac: Option<Mac>,
        /// The address that was asked.
        address: Ipv4Addr,
    },
    /// The head count began anew, or the time of day was set: no device's doing.
    Anew,
    /// The rig became ready, or is no longer.
    Ready(bool),
}

//! What the ledger shows of itself: a [`Snapshot`], made on request, that screens and reports read.
//!
//! Everything in it is a copy: a snapshot does not change, and reading it asks nothing.

pub(crate) mod cable;
mod change;
mod device;
mod finding;
mod host;
mod known;
mod network;
mod restart;
mod search;
mod standing;
mod start;
mod wait;

pub use cable::{CableOffer, CableView, NoCheck, SizeView};
pub use change::{Change, Subject};
pub use device::{AnswerView, ControlView, DeviceView, EchoSample, Likely, SeenView};
pub use finding::{Finding, FindingKind, Severity};
pub use host::{HostView, Resemblance};
pub use known::{AddressView, HeardView, Known, Proof};
pub use network::NetworkView;
pub use restart::{Expected, Restart, Restarted};
pub use search::{SearchOffer, SearchView};
pub use standing::{Counts, Standing};
pub use start::{Course, Opening, Start, StartView, Usual};
pub use wait::{Caught, Sign, WaitView};

use std::net::Ipv4Addr;

use vocab::{Ipv4Net, Level, Mac, Moment, Plugged, Station};

impl Snapshot {
    /// How much is sent, by the user's word.
    pub const fn level(&self) -> Level {
        match (self.listen_only, self.watch_only) {
            (true, _) => Level::Silent,
            (false, true) => Level::Watch,
            (false, false) => Level::All,
        }
    }
}

/// The state of the head count at one moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Snapshot {
    /// When it was taken.
    pub at: Moment,
    /// The rig's title; `None` in a survey without a rig file.
    pub title: Option<String>,
    /// The rig's subnet, or in a survey the computer's own.
    pub subnet: Option<Ipv4Net>,
    /// This computer; `None` until the link has reported.
    pub station: Option<Station>,
    /// Whether we keep silent by the user's word.
    pub listen_only: bool,
    /// Whether no more than one question a second goes to each device, by the user's word.
    pub watch_only: bool,
    /// What this computer is plugged into, as switches say. More than one says so behind a simple
    /// switch that passes their word on.
    pub plugged: Vec<Plugged>,
    /// What cannot be seen in this mode or state, in plain words, one sentence each.
    pub unseen: Vec<String>,
    /// The gateway that the file or the computer names, with its hardware if it answered.
    pub gateway: Option<(Ipv4Addr, Option<Mac>)>,
    /// Whether the rig is ready, as the contract defines it.
    pub ready: bool,
    /// One sentence: ready or not, why not, and no more than was seen.
    pub headline: String,
    /// How many devices stand how.
    pub counts: Counts,
    /// The counted devices in file order.
    pub devices: Vec<DeviceView>,
    /// Hosts that are not on the list, worth-looking-at first, at most 500; in an enrolment all that are kept.
    pub unlisted: Vec<HostView>,
    /// How many there are in all.
    pub unlisted_total: usize,
    /// Faults first, then risks, then notes; one per kind and subject.
    pub findings: Vec<Finding>,
    /// The networks of the rig, the main one first, where it has more than one; else empty.
    pub networks: Vec<NetworkView>,
    /// How far the passes are: (asked, of); `None` when none is running.
    pub pass: Option<(u64, u64)>,
    /// The deep search; `None` where there cannot be one.
    pub search: Option<SearchView>,
    /// The waiting for a device to start; `None` while nobody waits.
    pub waiting: Option<WaitView>,
    /// The check of a cable: that under way, or the last one.
    pub cable: Option<CableView>,
    /// The latest changes, oldest first, at most 1,000; without those that another of them tells.
    pub changes: Vec<Change>,
    /// Frames the kernel dropped since the start.
    pub dropped: u64,
    /// Frames that made no sense since the start.
    pub malformed: u64,
}

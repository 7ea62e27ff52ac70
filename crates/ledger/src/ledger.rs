//! The ledger itself: sightings in, verdicts, changes and asks out.

use vocab::{Ask, Moment, Sighting};

use crate::{Change, Counts, Settings, Snapshot};

/// The state store and judge. Reads no clock and no file and never waits.
#[derive(Debug)]
pub struct Ledger {
    settings: Settings,
    revision: u64,
}

impl Ledger {
    /// A ledger that knows nothing yet.
    pub fn new(settings: Settings, _now: Moment) -> Self {
        Self { settings, revision: 0 }
    }

    /// Takes in one observed fact. Bounded work; never waits.
    pub fn fold(&mut self, _sighting: &Sighting) {
        self.revision += 1;
    }

    /// Does what is due at `now`.
    pub fn tick(&mut self, _now: Moment) {}

    /// The next question that is due; call until `None`.
    pub fn next_ask(&mut self, _now: Moment) -> Option<Ask> {
        None
    }

    /// When [`Ledger::tick`] or [`Ledger::next_ask`] next has something to do.
    pub fn next_wake(&self) -> Option<Moment> {
        None
    }

    /// The next change not yet taken, oldest first.
    pub fn next_change(&mut self) -> Option<Change> {
        None
    }

    /// Everything a screen or report shows, as of `now`.
    pub fn snapshot(&self, now: Moment) -> Snapshot {
        Snapshot {
            at: now,
            title: self.settings.rig.as_ref().map(|r| r.title.clone()),
            subnet: self.settings.rig.as_ref().map(|r| r.network.subnet).or(self.settings.subnet),
            station: None,
            listen_only: false,
            unseen: Vec::new(),
            gateway: None,
            ready: false,
            headline: String::new(),
            counts: Counts::default(),
            devices: Vec::new(),
            unlisted: Vec::new(),
            unlisted_total: 0,
            findings: Vec::new(),
            pass: None,
            changes: Vec::new(),
            dropped: 0,
            malformed: 0,
        }
    }

    /// Grows whenever something that a screen shows has changed.
    pub fn revision(&self) -> u64 {
        self.revision
    }

    /// Starts all passes again.
    pub fn sweep_now(&mut self, _now: Moment) {}

    /// Asks the control ports of the device of that name now. `false` if that cannot be done.
    pub fn ask_control(&mut self, _now: Moment, _device: &str) -> bool {
        false
    }

    /// Whether the first passes are over.
    pub fn pass_complete(&self) -> bool {
        false
    }

    /// Whether the passes are over and no device is unknown or starting.
    pub fn settled(&self) -> bool {
        false
    }
}

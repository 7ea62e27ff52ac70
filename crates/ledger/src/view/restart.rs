//! A restart that somebody announced, as screens show it.

use std::time::Duration;

use vocab::Moment;

/// What somebody restarts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Restarted {
    /// The device of this name.
    Device(String),
    /// The switch of this name, and with it all that hangs on it, chained switches included.
    Switch(String),
}

/// What may be said of restarting a device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Restart {
    /// How long no alarm would be raised: its usual time and spread, or what the file allows.
    pub within: Duration,
    /// The switch that it is plugged into (or is), and how many devices hang on that.
    pub switch: Option<(String, usize)>,
    /// Its restart is expected.
    pub expected: Option<Expected>,
}

/// A restart that was announced and is not over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Expected {
    /// Since when.
    pub since: Moment,
    /// Until when no alarm is raised for it.
    pub until: Moment,
    /// That time is past, and it is not back.
    pub overdue: bool,
    /// The switch that is restarted, if it is not the device alone.
    pub switch: Option<String>,
}

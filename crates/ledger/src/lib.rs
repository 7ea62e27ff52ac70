//! The state store: sightings in, standings, findings and asks out. Pure; time is a parameter.

mod ledger;
mod settings;
mod view;

pub use ledger::Ledger;
pub use settings::{Purpose, Settings};
pub use view::{
    Change, ControlView, Counts, DeviceView, EchoSample, Finding, FindingKind, HostView, Resemblance,
    SeenView, Severity, Snapshot, Standing, Subject,
};

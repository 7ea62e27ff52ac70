//! The state store: sightings in, standings, findings and asks out. Pure; time is a parameter.

mod view;

pub use view::{
    Change, ControlView, Counts, DeviceView, EchoSample, Finding, FindingKind, HostView, Resemblance,
    SeenView, Severity, Snapshot, Standing, Subject,
};

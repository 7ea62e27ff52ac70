//! What a device says of itself when it is asked: whether it is on, what it is called.

use crate::Name;

/// Whether a device is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Power {
    /// It is.
    On,
    /// It is waiting to be switched on.
    Standby,
    /// It reports a fault inside.
    Fault,
}

/// What a control port tells beside its answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Told {
    /// Whether the device is on.
    Power(Power),
    /// What it is called.
    Name(Name),
}

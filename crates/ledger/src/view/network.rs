//! One of several networks of a rig.

use rig::Reach;
use vocab::{Ipv4Net, Plugged, Station};

use super::Counts;

/// A network of a rig that has more than one.
#[derive(Debug, Clone, PartialEq)]
pub struct NetworkView {
    /// Its name.
    pub name: String,
    /// How its hosts are asked.
    pub reach: Reach,
    /// Its subnet.
    pub subnet: Ipv4Net,
    /// This computer as it looks at it; `None` until the link has reported.
    pub station: Option<Station>,
    /// What this computer is plugged into there, as switches say.
    pub plugged: Vec<Plugged>,
    /// How many of its devices stand how.
    pub counts: Counts,
}

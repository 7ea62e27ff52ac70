//! A hall as a file of its own describes it.

use super::{Network, Plan};

/// A venue file: the tables `[network]`, `[networks.NAME]` and `[plan]` of a rig file, without a rig.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Venue {
    /// What the venue is called; empty if the file gives none.
    pub title: String,
    /// Its networks, `[network]` first; their subnets do not overlap.
    pub networks: Vec<Network>,
    /// What planning may use of `[network]`.
    pub plan: Plan,
}

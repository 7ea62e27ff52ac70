//! The deep search as screens show it.

use std::time::Duration;

use vocab::Ipv4Net;

/// The search of the usual places that could be begun now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SearchOffer {
    /// Where it would look, in that order.
    pub places: Vec<Ipv4Net>,
    /// How many addresses that are: one frame each.
    pub total: u64,
    /// How long it would take; `None` where nothing holds it back.
    pub takes: Option<Duration>,
}

/// A search beyond the subnet: one under way, the last one, or the one that could be begun.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SearchView {
    /// Whether it is under way, or waits for the rig's own pass to end.
    pub running: bool,
    /// Where it is just now.
    pub place: Option<Ipv4Net>,
    /// Addresses asked so far.
    pub asked: u64,
    /// Addresses in all: of the search under way, of the last one, or else of the usual places.
    /// One frame each.
    pub total: u64,
    /// Frames a second; `None` where nothing holds it back.
    pub per_second: Option<u32>,
    /// How long it will still take at that pace, or take again; `None` where nothing holds it back.
    pub left: Option<Duration>,
    /// Hosts known so far that stand outside the subnet.
    pub finds: usize,
    /// What could be begun; `None` while one is under way.
    pub offer: Option<SearchOffer>,
}

//! Where there is a crowd of strangers, what one more of them does changes the screen once a second at the most.

use vocab::{Fact, Mac};

use crate::ledger::Ledger;

/// From so many hosts on it is a crowd: of a /24, all.
const CROWD: usize = 256;

impl Ledger {
    /// What was heard of a stranger is to be shown, since `before`, but not at once. What it makes of a device or
    /// of a finding is judged afterwards, and shown at once.
    pub(crate) fn calm_strangers(&mut self, fact: &Fact, before: u64) {
        if self.revision == before || self.hosts.len() <= CROWD {
            return;
        }
        if speaker(fact).is_some_and(|mac| !self.by_mac.contains_key(&mac)) {
            self.revision = before;
            self.soft = true;
        }
    }
}

/// Whom something unasked was heard of.
const fn speaker(fact: &Fact) -> Option<Mac> {
    match fact {
        Fact::Arp(seen) => Some(seen.sender),
        Fact::Plugged(plugged) => Some(plugged.mac),
        Fact::Wakes { mac, .. }
        | Fact::Named { mac, .. }
        | Fact::Ipv6 { mac, .. }
        | Fact::Mask { mac, .. }
        | Fact::Serves { mac, .. }
        | Fact::Address { mac, .. }
        | Fact::DhcpClient { mac, .. } => Some(*mac),
        _ => None,
    }
}

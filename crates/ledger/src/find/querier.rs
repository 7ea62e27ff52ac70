//! Whether anybody keeps the multicast groups alive.
//!
//! A switch that looks into IGMP (RFC 4541) forgets who listens to a group when nobody asks: the group
//! membership interval of RFC 2236 section 8.4 is 260 s. Without a querier WS-Discovery then stops, whose
//! group lies outside 224.0.0.0/24, while all else goes on.

use std::time::Duration;

use vocab::{ControlWord, Mac, Moment, NameSource};

use crate::find::made;
use crate::ledger::{Ledger, Timer};
use crate::{Finding, FindingKind, Severity};

/// Nothing is said before: the group membership interval (RFC 2236 section 8.4, 2 × 125 s + 10 s), and a
/// query more.
const UNHEARD: Duration = Duration::from_secs(260 + 125);

/// When a query was last heard.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Querier {
    heard: Option<Moment>,
}

impl Ledger {
    /// Somebody asks who listens to which group.
    pub(crate) fn queried(&mut self, at: Moment, mac: Mac) {
        if mac.is_host() && self.me().and_then(crate::hosts::claim::HostId::mac) != Some(mac) {
            self.querier.heard = Some(at);
            self.time_querier();
            self.wire_dirty = true;
        }
    }

    /// When a query will have been missing for long enough.
    fn querier_missed(&self) -> Option<Moment> {
        let since = self.port.passes_since()?;
        Some(self.querier.heard.map_or(since, |q| q.max(since)) + UNHEARD)
    }

    pub(crate) fn time_querier(&mut self) {
        let at = self.querier_missed();
        self.timers.set(Timer::Querier, at);
    }

    /// Whether anything here rests on WS-Discovery.
    fn needs_discovery(&self) -> bool {
        let listed = self
            .tracks
            .iter()
            .flat_map(|t| &t.ports)
            .any(|p| p.which.word == ControlWord::Onvif);
        let heard = |source| matches!(source, NameSource::WsDiscovery | NameSource::Hardware);
        listed || self.hosts.iter().flat_map(|h| &h.names).any(|n| heard(n.source))
    }

    pub(crate) fn find_querier(&self, now: Moment, all: &mut Vec<Finding>) {
        let missed = self.querier_missed().is_some_and(|at| at <= now);
        if !missed || !self.sees_frames() || !self.needs_discovery() {
            return;
        }
        all.push(made(
            FindingKind::NoQuerier,
            Severity::Note,
            format!(
                "No multicast querier was heard for {} min: a switch that looks into IGMP then stops passing on \
                 WS-Discovery (239.255.255.250), and devices are not found by it any more.",
                UNHEARD.as_secs() / 60
            ),
            "If devices are not found by WS-Discovery, switch the IGMP querier on in the rig's switch, or its IGMP \
             snooping off.",
        ));
    }
}

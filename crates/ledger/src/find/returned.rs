//! What this computer sends comes back to it: a loop in the cabling, or somebody who repeats what he hears.

use std::time::Duration;

use vocab::Moment;

use crate::find::made;
use crate::ledger::{Ledger, Timer};
use crate::{Finding, FindingKind, Severity};

/// So many within a second are no chance: of what is asked of one device while watching, a loop gives back more.
const MANY: u64 = 10;
/// It is told for so long after the last time.
const HOLDS: Duration = Duration::from_secs(30);

/// Frames of our own that came back.
#[derive(Debug, Default)]
pub(crate) struct Returned {
    total: u64,
    /// When many of them last came.
    many: Option<Moment>,
}

impl Ledger {
    /// So many came back since the start; told once a second at the most.
    pub(crate) fn came_back(&mut self, at: Moment, total: u64) {
        let fresh = total.saturating_sub(self.returned.total);
        self.returned.total = total;
        if fresh >= MANY {
            self.wire_dirty |= self.returned.many.is_none();
            self.returned.many = Some(at);
        }
    }

    pub(crate) fn find_returned(&mut self, now: Moment, all: &mut Vec<Finding>) {
        let Some(last) = self.returned.many else { return };
        let over = last + HOLDS;
        if now >= over {
            self.returned.many = None;
            return;
        }
        self.timers.set(Timer::Returned, Some(over));
        all.push(made(
            FindingKind::FramesReturn,
            Severity::Risk,
            "What this computer sends comes back to it: the network has a loop, or somebody sends by this computer's \
             hardware address."
                .to_owned(),
            "Look at the switches for a cable with both its ends in them, or a second one between two of them, and \
             unplug it.",
        ));
    }
}

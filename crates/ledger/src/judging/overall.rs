//! Looks at the rig as a whole: common outages, findings that are no device's own, readiness.
//!
//! Such a look costs as much as there are devices and hosts. After one, the next is held back for a time in
//! proportion, so that in a rush of news a large rig costs no more for each piece of news than a small one.

use std::time::Duration;

use vocab::Moment;

use crate::ledger::{Ledger, Timer};

/// Up to so many devices and hosts together, a look follows every piece of news at once.
const FEW: usize = 256;
/// For each of them, where there are more, the time from one look to the next. A look costs a tenth of that at
/// the most (docs/numbers.md).
const EACH: Duration = Duration::from_micros(20);

impl Ledger {
    /// Looks, if anything calls for it and it is time; else at its time.
    pub(crate) fn look_overall(&mut self, now: Moment) {
        if !(self.wire_dirty || self.ready_dirty || self.outages.wait_for_a_look()) {
            return;
        }
        let due = self.looked.map_or(now, |at| at + self.between_looks());
        // That the rig is no longer ready is told without delay.
        if due > now && !self.no_longer_ready {
            self.timers.set(Timer::Overall, Some(due));
            return;
        }
        self.timers.set(Timer::Overall, None);
        self.looked = Some(now);
        self.no_longer_ready = false;
        self.watch_outages(now);
        if self.wire_dirty {
            self.wire_dirty = false;
            self.find(now);
            self.ready_dirty = true;
        }
        if self.ready_dirty {
            self.ready_dirty = false;
            self.check_ready(now);
        }
    }

    fn between_looks(&self) -> Duration {
        let size = self.tracks.len() + self.hosts.len();
        let count = if size > FEW { size } else { 0 };
        EACH * u32::try_from(count).unwrap_or(u32::MAX)
    }
}

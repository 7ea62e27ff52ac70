//! Looking for devices by DHCP that are at none of their addresses: only a pass over all places tells where one
//! is that got a lease and said nothing.

use std::time::Duration;

use vocab::{AddressRange, Moment};

use crate::asking::lanes::Key;
use crate::judging::track::Track;
use crate::ledger::{Ledger, Timer};

/// The most addresses that a repeated pass goes through.
const MOST: u64 = 1_024;
/// How long between two of those.
const EVERY: Duration = Duration::from_secs(30);
/// The same while a device's time to start runs out.
const SOON: Duration = Duration::from_secs(10);
/// An answer to the last question of a pass is in by then.
const ANSWERS: Duration = Duration::from_secs(1);

impl Track {
    /// Whether it is a device by DHCP that may be anywhere.
    fn is_sought_by_lease(&self) -> bool {
        self.device.fixed_address().is_none() && !self.device.macs.is_empty() && self.evidence.here.is_none()
    }
}

impl Ledger {
    /// Where devices by DHCP that have not turned up are looked for, again and again: now, or when it is time.
    pub(crate) fn plan_leases(&mut self, at: Moment) {
        let round = self.passes.lease_rounds;
        let over = round == 0 || (round > 1 && !self.watches());
        if self.watch_only || over || !self.passes.idle() {
            return;
        }
        if !self.tracks.iter().any(Track::is_sought_by_lease) {
            return;
        }
        let ranges = self.lease_ranges();
        if round > 1 {
            let count = ranges.iter().map(|r| r.count()).sum();
            if count > MOST {
                return;
            }
            let due = self.leases_due(count);
            if due > at {
                self.timers.set(Timer::Leases, Some(due));
                return;
            }
        }
        for range in ranges {
            let id = self.passes.add(range, at);
            self.lanes.want(Key::Pass(id), Some(at));
        }
    }

    /// Device `i` was judged: perhaps it is to be looked for from now on, or sooner than it was.
    pub(crate) fn seek_lease(&mut self, i: usize, now: Moment) {
        let track = &self.tracks[i];
        if !track.is_sought_by_lease() {
            return;
        }
        let planned = self.timers.get(Timer::Leases);
        let late = |planned: Moment| {
            let takes = || self.pass_takes(self.lease_ranges().iter().map(|r| r.count()).sum());
            track.boot_end().is_some_and(|end| planned + takes() > end)
        };
        if planned.is_none_or(late) {
            self.plan_leases(now);
        }
    }

    fn lease_ranges(&self) -> Vec<AddressRange> {
        let listed = self.settings.rig.as_ref().map(|r| r.network.leases.clone());
        let mut ranges = listed.unwrap_or_default();
        if ranges.is_empty() {
            ranges.extend(self.pass_range());
        }
        ranges
    }

    /// When the next of the repeated passes over `count` addresses is to begin. The one that decides on a device
    /// that starts is over as its time is: one from before it had its lease would call it missing.
    fn leases_due(&self, count: u64) -> Moment {
        let usual = self.passes.lease_over + EVERY;
        let takes = self.pass_takes(count);
        let sought = self.tracks.iter().filter(|t| t.is_sought_by_lease());
        let starts = sought.filter_map(Track::boot_end).map(|end| end - takes);
        // The usual one waits for it where it would else be in its way.
        let next = starts.filter(|due| self.passes.lease_began < *due && *due < usual + SOON);
        next.min()
            .map_or(usual, |due| due.max(self.passes.lease_over + SOON))
    }

    /// How long it takes until a pass over `count` addresses has told, at the rig's pace, of which the watch keeps half.
    fn pass_takes(&self, count: u64) -> Duration {
        let rig = self.settings.rig.as_ref();
        let pace = rig.and_then(|r| r.network.pace.per_second());
        let asks = pace.map_or(0.0, |pace| count as f64 * 2.0 / f64::from(pace.max(1)));
        ANSWERS + Duration::from_secs_f64(asks)
    }
}

//! Venue, scanner and ledger as one loop without waiting: the same seed gives the same course.

use std::time::Duration;

use ledger::{Change, Muster, Settings, Snapshot};
use venue::{Plan, Scene};
use vocab::{Moment, Pace};

use super::{Rehearsal, exchange_by, nets};

/// A course of events in virtual time.
#[derive(Debug)]
pub struct Simulation {
    rehearsal: Rehearsal,
    ledger: Muster,
    changes: Vec<Change>,
    steps: u64,
}

impl Simulation {
    /// Plays `scene` from its start; `pace` is that of a settings without a rig.
    pub fn new(scene: &Scene, seed: u64, pace: Pace, settings: Settings) -> Self {
        Self::of_plan(scene.plan(), seed, pace, settings)
    }

    /// The same with a plan of one's own.
    pub fn of_plan(plan: Plan, seed: u64, pace: Pace, settings: Settings) -> Self {
        let nets = nets(settings.rig.as_ref(), pace);
        let rehearsal = Rehearsal::of_plan(plan, seed, &nets, false, None);
        Self {
            rehearsal,
            ledger: Muster::new(settings, Moment::ZERO),
            changes: Vec::new(),
            steps: 0,
        }
    }

    /// The time of the last step.
    pub const fn now(&self) -> Moment {
        self.rehearsal.now()
    }

    /// The judge.
    pub const fn ledger(&self) -> &Muster {
        &self.ledger
    }

    /// The judge, to ask something of.
    pub const fn ledger_mut(&mut self) -> &mut Muster {
        &mut self.ledger
    }

    /// The venues with the scanners on them, to look at.
    pub const fn stage(&self) -> &Rehearsal {
        &self.rehearsal
    }

    /// The venue with the scanner on it.
    pub const fn rehearsal(&mut self) -> &mut Rehearsal {
        &mut self.rehearsal
    }

    /// All changes so far, oldest first.
    pub fn changes(&self) -> &[Change] {
        &self.changes
    }

    /// The same, and forgets them.
    pub fn take_changes(&mut self) -> Vec<Change> {
        std::mem::take(&mut self.changes)
    }

    /// How many events were played.
    pub const fn steps(&self) -> u64 {
        self.steps
    }

    /// The state now.
    pub fn snapshot(&self) -> Snapshot {
        self.ledger.snapshot(self.now())
    }

    /// Goes on until `enough` says so (true) or `end` is reached (false).
    pub fn play_until(&mut self, end: Moment, mut enough: impl FnMut(&Muster) -> bool) -> bool {
        loop {
            self.exchange();
            if enough(&self.ledger) {
                return true;
            }
            if self.now() >= end {
                return false;
            }
            let next = [self.rehearsal.next_wake(), self.ledger.next_wake()]
                .into_iter()
                .flatten()
                .min();
            let next = next.unwrap_or(end).clamp(self.now(), end);
            self.steps += 1;
            self.rehearsal.step(next);
        }
    }

    /// Goes on for `span`.
    pub fn play(&mut self, span: Duration) {
        let end = self.now() + span;
        self.play_until(end, |_| false);
    }

    fn exchange(&mut self) {
        let (venue, ledger) = (&mut self.rehearsal, &mut self.ledger);
        exchange_by(
            venue,
            ledger,
            Rehearsal::now,
            Rehearsal::next_sighting,
            Rehearsal::ask,
        );
        while let Some(change) = self.ledger.next_change() {
            self.changes.push(change);
        }
    }
}

//! All heads around one push of the stick: still before it, one that moves, still again.

use std::collections::BTreeSet;
use std::time::Duration;

use vocab::Moment;

use super::track::Track;

/// So long it is waited for all heads to stand still before the push: a preset takes its time.
const SETTLE: Duration = Duration::from_secs(12);
/// So long it is waited for the push: whoever is on the way to the panel takes a while.
const PUSH: Duration = Duration::from_mins(5);
/// So long after the first movement another head's may still come.
const OTHERS: Duration = Duration::from_millis(1_500);
/// So long it is waited for all to stand still again.
const LET_GO: Duration = Duration::from_secs(15);
/// The usual time between two questions to a head.
const EVERY: Duration = Duration::from_millis(250);
/// At most so many questions a second to all heads together.
const A_SECOND: u32 = 50;

/// The time between two questions to the same head, where so many are asked.
pub(crate) fn pause(heads: usize) -> Duration {
    let heads = u32::try_from(heads).unwrap_or(u32::MAX);
    EVERY.max(Duration::from_secs(1).saturating_mul(heads) / A_SECOND)
}

/// What came of one push.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Outcome {
    /// The heads that moved.
    pub moved: BTreeSet<usize>,
    /// The heads that moved already before the push, so that their movement says nothing.
    pub restless: BTreeSet<usize>,
    /// The heads that do not answer.
    pub lost: BTreeSet<usize>,
    /// One that moved was still moving in the end.
    pub moving: bool,
}

/// What is to be done next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Step {
    /// Read on.
    On,
    /// All stand still, but for these: it is time for the push.
    Push(BTreeSet<usize>),
    /// These heads have begun to move: let go of the stick.
    Moves(BTreeSet<usize>),
    /// That was it.
    Over(Outcome),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Phase {
    Settling(Moment),
    Pushing(Moment),
    LettingGo(Moment),
    Over,
}

/// All heads around one push.
#[derive(Debug, Clone)]
pub(crate) struct Watch {
    heads: Vec<Track>,
    /// Moved by themselves before, so that they are not waited for again.
    known: BTreeSet<usize>,
    restless: BTreeSet<usize>,
    told: BTreeSet<usize>,
    phase: Phase,
}

impl Watch {
    /// So many heads from now on.
    pub(crate) fn new(heads: usize, now: Moment) -> Self {
        Self {
            heads: vec![Track::default(); heads],
            known: BTreeSet::new(),
            restless: BTreeSet::new(),
            told: BTreeSet::new(),
            phase: Phase::Settling(now),
        }
    }

    /// A head says where it points.
    pub(crate) fn read(&mut self, head: usize, at: Moment, position: wire::visca::Position) {
        if let Some(track) = self.heads.get_mut(head) {
            track.read(at, position);
        }
    }

    /// A head did not answer in time.
    pub(crate) fn miss(&mut self, head: usize) {
        if let Some(track) = self.heads.get_mut(head) {
            track.miss();
        }
    }

    /// A head cannot be read, and will not be.
    pub(crate) fn blind(&mut self, head: usize) {
        if let Some(track) = self.heads.get_mut(head) {
            track.blind();
        }
    }

    /// These moved by themselves when they were watched last: they are not waited for.
    pub(crate) fn know_restless(&mut self, heads: &BTreeSet<usize>) {
        self.known.clone_from(heads);
    }

    /// What is to be done now. Called again and again, at the least once a reading.
    pub(crate) fn step(&mut self, now: Moment) -> Step {
        match self.phase {
            Phase::Settling(since) => {
                let late = now.since(since) >= SETTLE;
                let ready = |track: &Track| track.is_calm() || track.is_lost();
                let mut heads = self.heads.iter().enumerate();
                if !late && !heads.all(|(n, track)| ready(track) || self.known.contains(&n)) {
                    return Step::On;
                }
                self.restless = self.of(|track| !ready(track));
                self.heads.iter_mut().for_each(Track::set_base);
                self.phase = Phase::Pushing(now);
                Step::Push(self.restless.clone())
            }
            Phase::Pushing(since) => {
                let moved = self.moved();
                if !moved.is_empty() {
                    self.told.clone_from(&moved);
                    self.phase = Phase::LettingGo(now);
                    return Step::Moves(moved);
                }
                let blind =
                    (0..self.heads.len()).all(|n| self.heads[n].is_lost() || self.restless.contains(&n));
                if blind || now.since(since) >= PUSH {
                    return self.over(false);
                }
                Step::On
            }
            Phase::LettingGo(since) => {
                let moved = self.moved();
                let calm = |n: &usize| self.heads[*n].is_calm() || self.heads[*n].is_lost();
                let still = moved.iter().all(calm);
                let waited = now.since(since);
                if (still && waited >= OTHERS) || waited >= LET_GO {
                    return self.over(!still);
                }
                let new: BTreeSet<usize> = moved.difference(&self.told).copied().collect();
                if new.is_empty() {
                    return Step::On;
                }
                self.told = moved;
                Step::Moves(new)
            }
            Phase::Over => self.over(false),
        }
    }

    /// The heads that do not answer.
    pub(super) fn lost(&self) -> BTreeSet<usize> {
        self.of(Track::is_lost)
    }

    fn over(&mut self, moving: bool) -> Step {
        self.phase = Phase::Over;
        Step::Over(Outcome {
            moved: self.moved(),
            restless: self.restless.clone(),
            lost: self.lost(),
            moving,
        })
    }

    fn moved(&self) -> BTreeSet<usize> {
        let mut moved = self.of(Track::moved);
        moved.retain(|n| !self.restless.contains(n));
        moved
    }

    fn of(&self, is: impl Fn(&Track) -> bool) -> BTreeSet<usize> {
        let all = self.heads.iter().enumerate();
        all.filter(|(_, track)| is(track)).map(|(n, _)| n).collect()
    }
}

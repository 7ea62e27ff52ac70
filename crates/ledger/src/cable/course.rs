//! The course of one check: which echo goes out next and when, what came back, and when it is over.
//!
//! The least frames come first, and go out alone until one is answered: who answers none of the first
//! few is not asked on. From then on that size goes next of which the fewest went out, so that all sizes go
//! side by side and a disturbance that passes hits all alike. In each round the sizes change places, lest
//! one that comes again and again always hits the same one.

use std::collections::BTreeMap;
use std::time::Duration;

use vocab::{FrameSize, Moment, Trial, Tried};

use super::interval::interval;
use crate::judging::jitter::Jitter;
use crate::view::cable::ANSWERS;
use crate::view::{CableOffer, SizeView};

/// So many of the least frames in vain, and the device is not asked on.
pub(crate) const KNOCKS: u32 = 5;
/// So many of one size that our own system refuses, and it is not asked for more of them.
const REFUSALS: u32 = 3;
/// An echo of which nothing is told for so long is forgotten: it was dropped by the way.
const FORGOTTEN: Duration = Duration::from_secs(20);

/// Why a check is over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum End {
    /// All was sent, and answered or given up.
    Through,
    /// The time was over before.
    TimeUp,
    /// The user ended it.
    Stopped,
    /// The device is not there any more.
    Vanished,
    /// The level became quieter.
    Level,
    /// The link, or our own sight, was interrupted.
    Interrupted,
    /// The device answers no echoes, so the rest was not sent.
    NoEcho,
    /// This computer sends no echoes.
    NotSent,
}

/// What came of one size.
#[derive(Debug, Clone, Default)]
pub(crate) struct Tally {
    /// Handed out, whatever became of it. It never exceeds what was promised.
    handed: u32,
    /// Sent.
    pub(crate) sent: u32,
    /// Not sent by our own system.
    pub(crate) unsent: u32,
    /// When those left that were not answered in time.
    lost: Vec<Moment>,
    /// The round trips of those that were answered.
    times: Vec<Duration>,
    jitter: Jitter,
}

impl Tally {
    /// So many were answered.
    pub(crate) fn answered(&self) -> u32 {
        self.times.len() as u32
    }

    /// So many were not.
    pub(crate) fn lost(&self) -> u32 {
        self.lost.len() as u32
    }

    /// Of so many the end is known.
    pub(crate) fn told(&self) -> u32 {
        self.answered() + self.lost()
    }

    /// What share is lost, at least and at most.
    pub(crate) fn loss(&self) -> (f64, f64) {
        interval(self.lost(), self.told())
    }

    /// Our own system does not send this size.
    pub(crate) const fn refused(&self) -> bool {
        self.sent == 0 && self.unsent >= REFUSALS
    }

    fn middle(&self) -> Option<Duration> {
        let mut times = self.times.clone();
        times.sort_unstable();
        let upper = *times.get(times.len() / 2)?;
        Some(match times.len() % 2 {
            1 => upper,
            _ => (upper + times[times.len() / 2 - 1]) / 2,
        })
    }

    fn view(&self, size: FrameSize) -> SizeView {
        SizeView {
            size,
            sent: self.sent,
            answered: self.answered(),
            lost: self.lost(),
            loss: self.loss(),
            time: self.middle(),
            jitter: (self.answered() > 1).then(|| self.jitter.estimate()),
        }
    }

    #[cfg(test)]
    pub(crate) fn of(answered: u32, lost: u32) -> Self {
        Self {
            handed: answered + lost,
            sent: answered + lost,
            lost: vec![Moment::ZERO; lost as usize],
            times: vec![Duration::from_micros(400); answered as usize],
            ..Self::default()
        }
    }
}

/// Where an echo is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    /// Handed out then, and not known to have left.
    Handed(Moment),
    /// It left then.
    Out(Moment),
}

/// A check from its first echo to its end.
#[derive(Debug, Clone)]
pub(crate) struct Course {
    pub(crate) offer: CableOffer,
    pub(crate) since: Moment,
    tallies: [Tally; FrameSize::ALL.len()],
    open: BTreeMap<u32, (FrameSize, Step)>,
    /// The number of the next echo.
    number: u32,
    next_at: Moment,
    /// When the latest left that was answered.
    alive: Moment,
    end: Option<End>,
}

impl Course {
    /// One that begins at `now`; its echoes bear numbers from `number` on.
    pub(crate) fn new(now: Moment, offer: CableOffer, number: u32) -> Self {
        Self {
            offer,
            since: now,
            tallies: Default::default(),
            open: BTreeMap::new(),
            number,
            next_at: now,
            alive: now,
            end: None,
        }
    }

    /// Why it is over, if it is.
    pub(crate) const fn end(&self) -> Option<End> {
        self.end
    }

    /// The number after that of its last echo.
    pub(crate) const fn next_number(&self) -> u32 {
        self.number
    }

    /// What came of each size.
    pub(crate) const fn tallies(&self) -> &[Tally; FrameSize::ALL.len()] {
        &self.tallies
    }

    /// The same for a screen.
    pub(crate) fn sizes(&self) -> Vec<SizeView> {
        let pairs = FrameSize::ALL.into_iter().zip(&self.tallies);
        pairs.map(|(size, tally)| tally.view(size)).collect()
    }

    /// How long it still takes, if nothing holds it up; `None` once it is over.
    pub(crate) fn left(&self, now: Moment) -> Option<Duration> {
        let handed: u32 = self.tallies.iter().map(|t| t.handed).sum();
        let to_go = self.offer.every * self.offer.frames().saturating_sub(handed);
        let most = self.deadline().since(now);
        self.end.is_none().then(|| (to_go + ANSWERS).min(most))
    }

    /// The next echo, if one is due. At most one is on its way to the port.
    pub(crate) fn next(&mut self, now: Moment) -> Option<Trial> {
        if self.end.is_some() || now < self.next_at {
            return None;
        }
        let size = self.size()?;
        let number = self.number;
        self.number = self.number.wrapping_add(1);
        self.tallies[size as usize].handed += 1;
        self.open.insert(number, (size, Step::Handed(now)));
        Some(Trial { number, size })
    }

    /// Of which size the next echo is; `None` while there is none to send.
    fn size(&self) -> Option<FrameSize> {
        let on_its_way = |(_, step): &(FrameSize, Step)| matches!(step, Step::Handed(_));
        if self.open.values().any(on_its_way) {
            return None;
        }
        let least = &self.tallies[0];
        if least.times.is_empty() {
            let knocks = least.handed < KNOCKS.min(self.offer.per_size);
            return knocks.then_some(FrameSize::Least);
        }
        let open = |size: &FrameSize| {
            let tally = &self.tallies[*size as usize];
            tally.handed < self.offer.per_size && !tally.refused()
        };
        FrameSize::ALL.into_iter().filter(open).min_by_key(|size| {
            let handed = self.tallies[*size as usize].handed;
            // Two places further in each round: in five rounds each size stands once in each place.
            (handed, (*size as u32 + 2 * handed) % FrameSize::ALL.len() as u32)
        })
    }

    /// Takes what became of an echo.
    pub(crate) fn tell(&mut self, at: Moment, trial: Trial, what: Tried) {
        if self.end.is_some() {
            return;
        }
        let Some((size, step)) = self.open.get_mut(&trial.number) else {
            return;
        };
        let tally = &mut self.tallies[*size as usize];
        match (what, *step) {
            (Tried::Sent, Step::Handed(_)) => {
                *step = Step::Out(at);
                tally.sent += 1;
                self.next_at = at + self.offer.every;
                return;
            }
            (Tried::NotSent, Step::Handed(_)) => {
                tally.unsent += 1;
                self.next_at = at + self.offer.every;
            }
            (Tried::Answered(rtt), Step::Out(left)) => {
                tally.times.push(rtt);
                tally.jitter.answered(rtt);
                self.alive = self.alive.max(left);
            }
            (Tried::Silent, Step::Out(left)) => tally.lost.push(left),
            _ => return,
        }
        self.open.remove(&trial.number);
        self.look_for_end();
    }

    /// Lets time pass.
    pub(crate) fn tick(&mut self, now: Moment) {
        if self.end.is_some() {
            return;
        }
        self.open.retain(|_, (_, step)| {
            let (Step::Handed(since) | Step::Out(since)) = *step;
            now < since + FORGOTTEN
        });
        self.look_for_end();
        if self.end.is_none() && now >= self.deadline() {
            self.stop(End::TimeUp);
        }
    }

    /// When something is to be done next.
    pub(crate) fn next_wake(&self) -> Option<Moment> {
        if self.end.is_some() {
            return None;
        }
        let forgotten = self.open.values().map(|(_, step)| {
            let (Step::Handed(since) | Step::Out(since)) = *step;
            since + FORGOTTEN
        });
        let next = self.size().map(|_| self.next_at);
        forgotten.chain(next).chain([self.deadline()]).min()
    }

    /// Ends it; what is still on its way is not waited for. Where nothing could come back any more, what left
    /// after the last that did is no loss of the cable's.
    pub(crate) fn stop(&mut self, end: End) {
        if self.end.is_some() {
            return;
        }
        self.end = Some(end);
        self.open.clear();
        if matches!(end, End::Vanished | End::Interrupted) {
            for tally in &mut self.tallies {
                tally.lost.retain(|left| *left < self.alive);
            }
        }
    }

    fn deadline(&self) -> Moment {
        self.since + self.offer.at_most()
    }

    fn look_for_end(&mut self) {
        if self.end.is_some() || !self.open.is_empty() || self.size().is_some() {
            return;
        }
        let least = &self.tallies[0];
        self.stop(if !least.times.is_empty() {
            End::Through
        } else if least.sent > 0 {
            End::NoEcho
        } else {
            End::NotSent
        });
    }
}

#[cfg(test)]
#[path = "course_tests.rs"]
mod tests;

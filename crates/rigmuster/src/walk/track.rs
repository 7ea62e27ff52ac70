//! One head: the positions that were read of it, and whether they are more than noise.

use std::time::Duration;

use vocab::Moment;
use wire::visca::Position;

/// So many steps are no movement: a still head's own readings differ by a few. The coarsest heads have 14
/// steps a degree (their published tables), so that this is half a degree there and less elsewhere (the
/// tolerance is common practice, no source).
pub(super) const STILL: u32 = 8;
/// A head is still when all its readings of so long a time are alike.
pub(super) const CALM: Duration = Duration::from_millis(1_200);
/// And there were at least so many.
const READINGS: u32 = 3;
/// So many readings away from where it was are a movement: one could be a mistake.
const AWAY: u32 = 2;
/// So many questions in a row without an answer are more than loss.
pub(super) const LOST: u32 = 8;

/// Where all readings of a while lie.
#[derive(Debug, Clone, Copy)]
struct Stay {
    since: Moment,
    last: Moment,
    readings: u32,
    low: Position,
    high: Position,
}

impl Stay {
    const fn new(at: Moment, position: Position) -> Self {
        Self {
            since: at,
            last: at,
            readings: 1,
            low: position,
            high: position,
        }
    }

    /// The same with one more reading.
    fn with(self, at: Moment, position: Position) -> Self {
        let (low, high) = (self.low, self.high);
        Self {
            last: self.last.max(at),
            readings: self.readings.saturating_add(1),
            low: Position {
                pan: low.pan.min(position.pan),
                tilt: low.tilt.min(position.tilt),
                digits: low.digits,
            },
            high: Position {
                pan: high.pan.max(position.pan),
                tilt: high.tilt.max(position.tilt),
                digits: high.digits,
            },
            ..self
        }
    }

    fn is_narrow(&self) -> bool {
        self.low.distance(self.high) <= STILL
    }

    fn is_calm(&self) -> bool {
        self.readings >= READINGS && self.last.since(self.since) >= CALM
    }

    /// Whether a position is more than noise away from all of them.
    fn is_away(&self, position: Position) -> bool {
        let beyond = |value: i32, low: i32, high: i32| {
            let still = i64::from(STILL);
            i64::from(value) < i64::from(low) - still || i64::from(value) > i64::from(high) + still
        };
        beyond(position.pan, self.low.pan, self.high.pan)
            || beyond(position.tilt, self.low.tilt, self.high.tilt)
    }
}

/// One head.
#[derive(Debug, Clone, Default)]
pub(super) struct Track {
    /// Since when its readings are alike.
    stay: Option<Stay>,
    /// Where it stood before the push.
    base: Option<Stay>,
    away: u32,
    missed: u32,
    moved: bool,
}

impl Track {
    /// Takes a reading in.
    pub(super) fn read(&mut self, at: Moment, position: Position) {
        self.missed = 0;
        self.stay = match self.stay {
            // An answer that was late on its way says nothing of now.
            Some(stay) if at < stay.last => Some(stay),
            Some(stay) => Some(stay.with(at, position))
                .filter(Stay::is_narrow)
                .or_else(|| Some(Stay::new(at, position))),
            None => Some(Stay::new(at, position)),
        };
        if let Some(base) = self.base {
            self.away = if base.is_away(position) { self.away + 1 } else { 0 };
            self.moved |= self.away >= AWAY;
        }
    }

    /// A question was not answered.
    pub(super) fn miss(&mut self) {
        self.missed = self.missed.saturating_add(1);
    }

    /// It cannot be read, and will not be.
    pub(super) const fn blind(&mut self) {
        self.missed = LOST;
    }

    /// Whether it has stood still for a while.
    pub(super) fn is_calm(&self) -> bool {
        self.stay.is_some_and(|stay| stay.is_calm())
    }

    /// Whether it does not answer any more, or never did.
    pub(super) const fn is_lost(&self) -> bool {
        self.missed >= LOST
    }

    /// From now on it is known where it stood.
    pub(super) fn set_base(&mut self) {
        self.base = self.stay;
    }

    /// Whether it moved from there.
    pub(super) const fn moved(&self) -> bool {
        self.moved
    }
}

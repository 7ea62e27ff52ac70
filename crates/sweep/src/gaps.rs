//! Noticing that the program slept through something: the computer was suspended, or the program stopped.
//!
//! What is heard late is no trouble, since everything that the link holds is taken in before time passes.
//! But what a link brings after a long gap is old, and much of it was never delivered.

use core::time::Duration;

use vocab::{Gap, Moment};

/// A computer that slept for less has missed nothing.
const SLEPT: Duration = Duration::from_secs(1);
/// So much later than wanted is no busy computer any more (chosen: a busy one is late by fractions of a
/// second, and the answers to a question of a second are held by any receive buffer).
const STOOD: Duration = Duration::from_secs(10);

/// When the program last looked, and until when it meant to wait.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Gaps {
    seen: Moment,
    /// `None`: it waits for ever, so that no waiting is too long.
    until: Option<Moment>,
    slept: Duration,
}

impl Gaps {
    /// From now on. `slept`: how long the computer has slept in all.
    pub(crate) const fn new(now: Moment, slept: Duration) -> Self {
        Self {
            seen: now,
            until: Some(now),
            slept,
        }
    }

    /// The program looks at the clock. The gap since it last did, if there was one.
    pub(crate) fn look(&mut self, now: Moment, slept: Duration) -> Option<Gap> {
        let more = slept.saturating_sub(self.slept);
        let late = self
            .until
            .map_or(Duration::ZERO, |until| now.since(until.max(self.seen)));
        *self = Self::new(now, slept);
        if more >= SLEPT {
            Some(Gap::Slept(more))
        } else {
            (late >= STOOD).then_some(Gap::Stood(late))
        }
    }

    /// It waits until then, and may be woken sooner.
    pub(crate) const fn wait(&mut self, until: Option<Moment>) {
        self.until = until;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NONE: Duration = Duration::ZERO;

    fn s(secs: u64) -> Moment {
        Moment::from_secs(secs)
    }

    #[test]
    fn a_computer_that_sleeps_is_told_from_a_program_that_stands() {
        let mut gaps = Gaps::new(s(1), NONE);
        gaps.wait(Some(s(2)));
        // The run's own clock stands still while the computer sleeps.
        assert_eq!(
            gaps.look(s(2), Duration::from_mins(41)),
            Some(Gap::Slept(Duration::from_mins(41)))
        );
        assert_eq!(gaps.look(s(3), Duration::from_mins(41)), None, "told once");
        gaps.wait(Some(s(4)));
        let gap = gaps.look(s(45), Duration::from_mins(41));
        assert_eq!(gap, Some(Gap::Stood(Duration::from_secs(41))));
        assert_eq!(gaps.look(s(45), Duration::from_mins(41)), None);
    }

    #[test]
    fn a_late_program_and_a_long_wait_are_no_gap() {
        let mut gaps = Gaps::new(s(0), NONE);
        gaps.wait(Some(s(60)));
        assert_eq!(gaps.look(s(60), NONE), None, "as long as it meant to wait");
        gaps.wait(Some(s(61)));
        assert_eq!(gaps.look(s(70), NONE), None, "9 s late");
        gaps.wait(None);
        assert_eq!(gaps.look(s(4_000), NONE), None, "it waited for ever");
        gaps.wait(Some(s(4_001)));
        assert_eq!(
            gaps.look(s(4_001), Duration::from_millis(900)),
            None,
            "a moment's sleep"
        );
        // Woken sooner than it meant to be, and stopped then.
        gaps.wait(Some(s(5_000)));
        assert_eq!(gaps.look(s(4_100), Duration::from_millis(900)), None);
        assert_eq!(
            gaps.look(s(4_111), Duration::from_millis(900)),
            Some(Gap::Stood(Duration::from_secs(11)))
        );
    }
}

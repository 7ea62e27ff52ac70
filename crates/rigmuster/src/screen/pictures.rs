//! When the next picture may be drawn: only if something changed, and not too often.

use std::time::Duration;

use vocab::Moment;

/// At most 30 pictures a second.
const FRAME: Duration = Duration::from_millis(34);

/// The beat of the pictures.
#[derive(Debug)]
pub(crate) struct Pictures {
    next: Moment,
}

impl Pictures {
    /// The first may be drawn at once.
    pub(crate) const fn new(now: Moment) -> Self {
        Self { next: now }
    }

    /// Whether one is drawn now; `stale`: something is not on the screen yet.
    pub(crate) fn take(&mut self, now: Moment, stale: bool) -> bool {
        let due = stale && now >= self.next;
        if due {
            self.next = now + FRAME;
        }
        due
    }

    /// When to come back for one.
    pub(crate) fn next(&self, stale: bool) -> Option<Moment> {
        stale.then_some(self.next)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn at_most_thirty_a_second_and_none_while_nothing_changes() {
        let mut pictures = Pictures::new(Moment::ZERO);
        // Something changes every millisecond for ten seconds.
        let drawn = (0..10_000)
            .filter(|ms| pictures.take(Moment::from_millis(*ms), true))
            .count();
        assert!((290..=300).contains(&drawn), "{drawn}");
        assert_eq!(pictures.next(false), None);
        assert!(!pictures.take(Moment::from_secs(60), false));
        assert!(pictures.next(true).is_some_and(|at| at <= Moment::from_secs(11)));
        assert!(
            pictures.take(Moment::from_secs(60), true),
            "what changes after a rest is drawn at once"
        );
    }
}

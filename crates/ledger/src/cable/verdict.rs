//! What a check says. docs/cable-check.md derives it.

use vocab::FrameSize;

use super::course::{End, Tally};
use super::interval::interval;

/// With fewer frames of the least and of the full size nothing is said of what passes.
pub(crate) const ENOUGH: u32 = 20;
/// A loss that is not surely above this is a few stray frames: no wire is trusted to lose less by the
/// detector either.
const STRAY: f64 = 0.01;
/// Where only the least frames pass at all: if they surely lose more than this, it is no clean edge.
const CLEAN_EDGE: f64 = 0.1;

/// What a check says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Verdict {
    /// Not one was lost, and at most such a share of any size is.
    Clean {
        /// The share.
        below: f64,
    },
    /// A few were lost, too few to tell anything by.
    Few {
        /// So many.
        lost: u32,
        /// Of so many.
        told: u32,
    },
    /// All sizes lose, and the full size about as much as small ones may.
    AllSizes {
        /// So many.
        lost: u32,
        /// Of so many.
        told: u32,
    },
    /// Surely some are lost, but it cannot be told whether that depends on the size.
    Unclear {
        /// So many.
        lost: u32,
        /// Of so many.
        told: u32,
    },
    /// Small frames pass, full-size ones do not, or not all: they surely lose more.
    Larger {
        /// What the small ones are.
        small: Small,
    },
    /// From this size on none comes back, and below nothing is wrong.
    Edge {
        /// The smallest that never comes back.
        from: FrameSize,
    },
    /// Our own system does not send frames from this size on.
    OwnEdge {
        /// The smallest.
        from: FrameSize,
    },
    /// The device answers no echoes.
    NoEcho,
    /// This computer sends no echoes.
    NotSent,
    /// Too few frames were sent.
    TooFew,
}

/// The small frames, which others are held against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Small {
    /// The largest of them.
    pub(crate) up_to: FrameSize,
    /// So many were lost.
    pub(crate) lost: u32,
    /// Of so many.
    pub(crate) told: u32,
}

impl Small {
    /// The two smallest sizes together, since twice as many frames say more; the least alone where the
    /// next one surely loses more.
    fn of(tallies: &[Tally; FrameSize::ALL.len()]) -> Self {
        let [least, next, ..] = tallies;
        if next.loss().0 > least.loss().1 {
            return Self {
                up_to: FrameSize::Least,
                lost: least.lost(),
                told: least.told(),
            };
        }
        Self {
            up_to: FrameSize::Small,
            lost: least.lost() + next.lost(),
            told: least.told() + next.told(),
        }
    }
}

/// What the tallies of the sizes, from the least up, say.
pub(crate) fn judge(tallies: &[Tally; FrameSize::ALL.len()], end: End) -> Verdict {
    match end {
        End::NoEcho => return Verdict::NoEcho,
        End::NotSent => return Verdict::NotSent,
        _ => {}
    }
    let refused = FrameSize::ALL.into_iter().zip(tallies).find(|(_, t)| t.refused());
    if let Some((from, _)) = refused {
        return Verdict::OwnEdge { from };
    }
    let [least, .., full] = tallies;
    let small = Small::of(tallies);
    let at_most = interval(small.lost, small.told).1;
    let more = |tally: &Tally| tally.loss().0 > at_most;
    let few = full.told() < ENOUGH || least.told() < ENOUGH;
    // From here on up none came back.
    let edge = tallies
        .iter()
        .rposition(|t| t.answered() > 0)
        .map_or(0, |at| at + 1);
    if let (Some(from), Some(last)) = (FrameSize::ALL.get(edge), edge.checked_sub(1)) {
        if few {
            return Verdict::TooFew;
        }
        // A bad cable lets some pass at every size, and the fewer the larger they are.
        let frays = match last {
            0 => least.loss().0 > CLEAN_EDGE,
            _ => more(&tallies[last]),
        };
        if !frays {
            return Verdict::Edge { from: *from };
        }
    }
    if more(full) {
        return Verdict::Larger { small };
    }
    if few {
        return Verdict::TooFew;
    }
    let lost: u32 = tallies.iter().map(Tally::lost).sum();
    let told: u32 = tallies.iter().map(Tally::told).sum();
    let surely = interval(lost, told).0 > STRAY;
    // What was seen of the full size is within what the small ones may lose.
    let alike = f64::from(full.lost()) <= at_most * f64::from(full.told());
    if lost == 0 {
        let below = tallies.iter().map(|t| t.loss().1).fold(0.0, f64::max);
        Verdict::Clean { below }
    } else if surely && alike && least.lost() > 0 && full.lost() > 0 {
        Verdict::AllSizes { lost, told }
    } else if surely || tallies.iter().any(|t| t.loss().0 > STRAY) {
        Verdict::Unclear { lost, told }
    } else {
        Verdict::Few { lost, told }
    }
}

#[cfg(test)]
#[path = "verdict_tests.rs"]
mod tests;

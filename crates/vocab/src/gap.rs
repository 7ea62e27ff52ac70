//! A stretch of time that the program did not live through.

use core::time::Duration;

/// Why the program knows nothing of a while, and for how long.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Gap {
    /// The computer slept (was suspended). The run's own clock stood still meanwhile.
    Slept(Duration),
    /// The program was not let run: it was stopped, or the computer stood still. The run's own clock went on.
    Stood(Duration),
}

//! The one source of chance of a course.

use std::time::Duration;

/// What a seed leads to.
#[derive(Debug)]
pub struct Dice(fastrand::Rng);

impl Dice {
    /// The same seed throws the same.
    pub fn new(seed: u64) -> Self {
        Self(fastrand::Rng::with_seed(seed))
    }

    /// True so many times in a hundred.
    pub fn in_hundred(&mut self, share: u32) -> bool {
        self.0.u32(..100) < share
    }

    /// From `low` to below `high`, which is more.
    pub fn from(&mut self, low: u32, high: u32) -> u32 {
        self.0.u32(low..high)
    }

    /// The same for small numbers.
    pub fn small(&mut self, low: u8, high: u8) -> u8 {
        self.0.u8(low..high)
    }

    /// A place in something of this length, which is not empty.
    pub fn place(&mut self, many: usize) -> usize {
        self.0.usize(..many)
    }

    /// One of them; there is one at least.
    pub fn one<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.place(of.len())]
    }

    /// So many milliseconds.
    pub fn millis(&mut self, low: u32, high: u32) -> Duration {
        Duration::from_millis(u64::from(self.from(low, high)))
    }

    /// One of those that weigh so much; there is one at least.
    pub fn weighed<T: Copy>(&mut self, of: &[(u32, T)]) -> T {
        let mut left = self.from(0, of.iter().map(|(weight, _)| weight).sum());
        for (weight, what) in of {
            if left < *weight {
                return *what;
            }
            left -= weight;
        }
        of[0].1
    }
}

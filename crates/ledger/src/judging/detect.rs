//! When a silence is more than loss: how much this wire loses, how fast a device answers, and how
//! many unanswered questions in a row that makes enough. docs/detector.md derives it.

use std::time::Duration;

use crate::judging::jitter::Jitter;
use crate::port::OwnPort;

/// A run of silence is taken for an outage when the chance that it is mere loss falls under this.
pub(crate) const CHANCE: f64 = 1e-7;
/// No wire is trusted to lose less than this, whatever it showed so far.
const LEAST: f64 = 0.01;
/// Nor is one thought to lose more: beyond that nothing could be called missing.
const MOST: f64 = 0.9;
/// Questions whose end is remembered.
const WINDOW: usize = 256;
/// What is believed before anything was asked counts like this many questions, of which half of
/// one was lost; it fades as the window fills.
const PRIOR: (f64, f64) = (50.0, 0.5);
/// The 95 % quantile of the normal distribution, one-sided (tables of the normal distribution;
/// Python's `statistics.NormalDist().inv_cdf(0.95)` gives 1.6448536…).
const Z: f64 = 1.644_853_6;

/// What a silence has to pass to be more than chance.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Bar {
    /// So many questions in a row unanswered.
    pub(crate) run: u8,
    /// Our own port, which has to vouch for it.
    pub(crate) port: OwnPort,
}

/// The clock granularity G of RFC 6298, in seconds.
const GRAIN: f64 = 0.001;

/// The ends of the latest questions: answered, or lost on the way there or back.
#[derive(Debug, Clone)]
pub(crate) struct Loss {
    bits: [u64; WINDOW / 64],
    len: usize,
    next: usize,
    lost: usize,
    bound: f64,
}

impl Default for Loss {
    fn default() -> Self {
        Self {
            bits: [0; WINDOW / 64],
            len: 0,
            next: 0,
            lost: 0,
            bound: upper(0, 0),
        }
    }
}

impl Loss {
    /// A question was answered.
    pub(crate) fn answered(&mut self) {
        self.add(false);
    }

    /// A question stayed unanswered, and a later one showed that the device was there.
    pub(crate) fn lost(&mut self) {
        self.add(true);
    }

    fn add(&mut self, lost: bool) {
        let (word, bit) = (self.next / 64, 1_u64 << (self.next % 64));
        let old = self.len == WINDOW && self.bits[word] & bit != 0;
        let before = (self.len, self.lost);
        if lost {
            self.bits[word] |= bit;
        } else {
            self.bits[word] &= !bit;
        }
        self.lost = self.lost + usize::from(lost) - usize::from(old);
        self.len = (self.len + 1).min(WINDOW);
        self.next = (self.next + 1) % WINDOW;
        if before != (self.len, self.lost) {
            self.bound = upper(self.len, self.lost);
        }
    }

    /// Of how many questions the end is remembered, and how many of those were lost.
    pub(crate) const fn counts(&self) -> (usize, usize) {
        (self.len, self.lost)
    }

    /// What share of the questions this wire loses at the most, with 95 % confidence: 0.01 to 0.9.
    pub(crate) const fn bound(&self) -> f64 {
        self.bound
    }
}

/// The upper end of Wilson's score interval for `lost` of `asked`, with what is left of the prior
/// added, between [`LEAST`] and [`MOST`] (E. B. Wilson, Probable Inference, 1927; formula from memory, its values
/// checked against an exact sum in the tests).
fn upper(asked: usize, lost: usize) -> f64 {
    let left = 1.0 - asked as f64 / WINDOW as f64;
    let n = asked as f64 + left * PRIOR.0;
    let p = (lost as f64 + left * PRIOR.1) / n;
    let z2 = Z * Z;
    let spread = (p * (1.0 - p) / n + z2 / (4.0 * n * n)).sqrt();
    let upper = (p + z2 / (2.0 * n) + Z * spread) / (1.0 + z2 / n);
    upper.clamp(LEAST, MOST)
}

/// How many unanswered questions in a row are too many to be mere loss, if `loss` of them are lost
/// independently of each other: the least k with loss^k under [`CHANCE`]. 4 to 153.
pub(crate) fn enough(loss: f64) -> u8 {
    let k = CHANCE.ln() / loss.clamp(LEAST, MOST).ln();
    // loss^k is to fall under it, not to meet it.
    (k.floor() + 1.0) as u8
}

/// How a device answers.
#[derive(Debug, Clone, Default)]
pub(crate) struct Pulse {
    /// What is lost between it and us.
    pub(crate) loss: Loss,
    time: Option<Time>,
}

/// Response time and its variation.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Time {
    /// RFC 6298's SRTT, in seconds.
    smooth: f64,
    /// RFC 6298's RTTVAR, in seconds.
    vary: f64,
    jitter: Jitter,
}

impl Pulse {
    /// It answered after `rtt`.
    pub(crate) fn answered(&mut self, rtt: Duration) {
        self.loss.answered();
        let r = rtt.as_secs_f64();
        let mut jitter = self.time.map(|t| t.jitter).unwrap_or_default();
        jitter.answered(rtt);
        self.time = Some(match self.time {
            // RFC 6298 section 2.2.
            None => Time {
                smooth: r,
                vary: r / 2.0,
                jitter,
            },
            // RFC 6298 section 2.3, with alpha 1/8 and beta 1/4.
            Some(t) => Time {
                vary: 0.75 * t.vary + 0.25 * (t.smooth - r).abs(),
                smooth: 0.875 * t.smooth + 0.125 * r,
                jitter,
            },
        });
    }

    /// Its smoothed response time, the time within which it usually answers, and the jitter.
    pub(crate) fn times(&self) -> Option<(Duration, Duration, Duration)> {
        self.time.map(|t| {
            // RFC 6298 section 2.3: RTO = SRTT + max(G, 4 RTTVAR); its floor of 1 s is TCP's own.
            let usual = t.smooth + (4.0 * t.vary).max(GRAIN);
            let span = Duration::from_secs_f64;
            (span(t.smooth), span(usual), t.jitter.estimate())
        })
    }
}

#[cfg(test)]
mod tests;

//! How much response times differ from one to the next.

use std::time::Duration;

/// The estimator of RFC 3550 (section 6.4.1; its code is in A.8), whose difference of two transit times is
/// here that of two round trips.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Jitter {
    /// J, in seconds.
    estimate: f64,
    /// The latest round trip, in seconds.
    last: Option<f64>,
}

impl Jitter {
    /// One more answer, after `rtt`.
    pub(crate) fn answered(&mut self, rtt: Duration) {
        let r = rtt.as_secs_f64();
        if let Some(last) = self.last.replace(r) {
            self.estimate += ((r - last).abs() - self.estimate) / 16.0;
        }
    }

    /// The estimate; zero before the second answer.
    pub(crate) fn estimate(&self) -> Duration {
        Duration::from_secs_f64(self.estimate)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_follows_the_formula_of_the_rfc() {
        let mut jitter = Jitter::default();
        // By hand from J += (|D| - J) / 16, in milliseconds.
        let course = [
            (10, 0.0),
            (14, 0.25),
            (9, 0.546_875),
            (9, 0.512_695),
            (30, 1.793_152),
        ];
        for (ms, wanted) in course {
            jitter.answered(Duration::from_millis(ms));
            let got = jitter.estimate().as_secs_f64() * 1e3;
            assert!((got - wanted).abs() < 1e-6, "after {ms} ms: {got}");
        }
    }

    #[test]
    fn one_answer_says_nothing() {
        let mut jitter = Jitter::default();
        jitter.answered(Duration::from_millis(7));
        assert_eq!(jitter.estimate(), Duration::ZERO);
    }
}

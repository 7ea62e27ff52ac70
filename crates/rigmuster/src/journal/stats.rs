//! What the journal says of each device: how often it was away, how long, and how it starts.
//!
//! Pure: entries in, figures out.
//!
//! An outage begins when a device that was there in this run becomes `missing`, and ends when it is
//! seen again. Where that was not seen, because the run ended, it lasted at least until then; where
//! nobody could look meanwhile, at least so long. A device that was not there yet when the run began, that may
//! sleep, or whose restart was announced, has no outage; one that is not back from that in time has.
//!
//! A start is timed whole where the device's own first frame was heard. The percentiles are of those;
//! where there is none, of those that were noticed by an answer and had begun before.
//!
//! Percentiles are nearest ranks: of n values in order the one at place ⌈p·n⌉ (Hyndman and Fan,
//! "Sample Quantiles in Statistical Packages", The American Statistician 50, 1996, definition 1;
//! from memory). So the median of two is the smaller one, and every figure is one that was measured.

use std::collections::BTreeMap;
use std::time::Duration;

use ledger::Usual;
use vocab::Moment;

/// The figures of one device.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Figures {
    /// How often it was away.
    pub outages: u64,
    /// How long in all.
    pub lost: Duration,
    /// Whether it was longer, for the end of an outage was not seen.
    pub at_least: bool,
    /// How many complete starts there were.
    pub starts: u64,
    /// Of how many of them the percentiles are made.
    pub timed: u64,
    /// Half of them took no longer.
    pub median: Option<Duration>,
    /// Nine in ten of them took no longer.
    pub p90: Option<Duration>,
}

impl Figures {
    /// How long its starts usually take, where any was timed.
    pub(crate) fn usual(&self) -> Option<Usual> {
        Some(Usual {
            count: u32::try_from(self.timed).unwrap_or(u32::MAX),
            median: self.median?,
            p90: self.p90?,
        })
    }
}

/// What is known of one device so far.
#[derive(Debug, Default)]
struct Tally {
    outages: u64,
    lost: Duration,
    at_least: bool,
    /// Since when it is away.
    away: Option<Moment>,
    /// Starts that were timed whole.
    whole: Vec<Duration>,
    /// Starts whose beginning nobody heard.
    partly: Vec<Duration>,
}

/// Counts entries, in the order of their run's clock, one run after the other.
#[derive(Debug, Default)]
pub struct Count {
    devices: BTreeMap<String, Tally>,
}

impl Count {
    /// A device stands so from `at` on; the word is JSON's. `lost`: whether it was there before in
    /// this run and is lost.
    pub fn standing(&mut self, device: &str, at: Moment, standing: &str, lost: bool) {
        let tally = self.tally(device);
        match (standing, tally.away) {
            ("missing", None) if lost => {
                tally.away = Some(at);
                tally.outages += 1;
            }
            ("missing", _) | (_, None) => {}
            (_, Some(since)) => {
                tally.away = None;
                tally.lost += at.since(since);
            }
        }
    }

    /// Nobody could look, or what was seen is not written: who is away may have been back.
    pub fn blind(&mut self) {
        for tally in self.devices.values_mut() {
            tally.at_least |= tally.away.is_some();
        }
    }

    /// A complete start took so long; `whole`: since the device's own first frame.
    pub fn start(&mut self, device: &str, took: Duration, whole: bool) {
        let tally = self.tally(device);
        if whole {
            tally.whole.push(took);
        } else {
            tally.partly.push(took);
        }
    }

    /// The run is over, or no more of it is looked at, at `end`.
    pub fn run_over(&mut self, end: Moment) {
        for tally in self.devices.values_mut() {
            if let Some(since) = tally.away.take() {
                tally.lost += end.since(since);
                tally.at_least = true;
            }
        }
    }

    /// The figures, by the devices' names.
    pub fn figures(self) -> BTreeMap<String, Figures> {
        let of = |(device, mut tally): (String, Tally)| {
            let timed = if tally.whole.is_empty() {
                &mut tally.partly
            } else {
                &mut tally.whole
            };
            timed.sort_unstable();
            let (many, median, p90) = (timed.len(), nearest_rank(timed, 50), nearest_rank(timed, 90));
            let figures = Figures {
                outages: tally.outages,
                lost: tally.lost,
                at_least: tally.at_least,
                starts: (tally.whole.len() + tally.partly.len()) as u64,
                timed: many as u64,
                median,
                p90,
            };
            (device, figures)
        };
        self.devices.into_iter().map(of).collect()
    }

    fn tally(&mut self, device: &str) -> &mut Tally {
        self.devices.entry(device.to_owned()).or_default()
    }
}

/// The value of `sorted` that `percent` of them do not exceed.
fn nearest_rank(sorted: &[Duration], percent: usize) -> Option<Duration> {
    let place = (sorted.len() * percent).div_ceil(100);
    sorted.get(place.max(1) - 1).copied()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const fn at(secs: u64) -> Moment {
        Moment::from_secs(secs)
    }

    const fn secs(secs: u64) -> Duration {
        Duration::from_secs(secs)
    }

    #[test]
    fn percentiles_are_nearest_ranks() {
        let of = |secs: &[u64], percent| {
            let all: Vec<Duration> = secs.iter().map(|s| Duration::from_secs(*s)).collect();
            nearest_rank(&all, percent).map(|d| d.as_secs())
        };
        // Worked by hand: 5 values, 50 % is place 3 and 90 % place 5; 10 values, places 5 and 9.
        assert_eq!(of(&[15, 20, 35, 40, 50], 50), Some(35));
        assert_eq!(of(&[15, 20, 35, 40, 50], 90), Some(50));
        assert_eq!(of(&[3, 6, 7, 8, 8, 10, 13, 15, 16, 20], 50), Some(8));
        assert_eq!(of(&[3, 6, 7, 8, 8, 10, 13, 15, 16, 20], 90), Some(16));
        assert_eq!(of(&[7], 50), Some(7));
        assert_eq!(of(&[7], 90), Some(7));
        assert_eq!(of(&[4, 9], 50), Some(4));
        assert_eq!(of(&[], 50), None);
    }

    #[test]
    fn an_outage_is_from_missing_to_what_comes_next() {
        let mut count = Count::default();
        count.standing("Ramp", at(10), "missing", true);
        count.standing("Ramp", at(40), "starting", true);
        count.standing("Ramp", at(60), "present", true);
        count.standing("Ramp", at(100), "missing", true);
        count.standing("Ramp", at(107), "present", true);
        count.run_over(at(500));
        let figures = &count.figures()["Ramp"];
        assert_eq!(
            (figures.outages, figures.lost, figures.at_least),
            (2, secs(37), false)
        );
    }

    #[test]
    fn an_end_that_nobody_saw_makes_it_at_least() {
        let mut count = Count::default();
        count.standing("Ramp", at(10), "missing", true);
        count.run_over(at(30));
        // In the next run its clock begins anew.
        count.standing("Ramp", at(2), "present", true);
        count.standing("Quay", at(5), "missing", true);
        count.blind();
        count.standing("Quay", at(9), "present", false);
        count.standing("Mast", at(5), "missing", true);
        count.standing("Mast", at(9), "present", false);
        count.run_over(at(90));
        let figures = count.figures();
        assert_eq!((figures["Ramp"].lost, figures["Ramp"].at_least), (secs(20), true));
        assert_eq!((figures["Quay"].lost, figures["Quay"].at_least), (secs(4), true));
        assert_eq!((figures["Mast"].lost, figures["Mast"].at_least), (secs(4), false));
    }

    #[test]
    fn what_was_not_there_yet_was_not_lost() {
        let mut count = Count::default();
        count.standing("Ramp", at(10), "missing", false);
        count.standing("Ramp", at(900), "present", true);
        count.run_over(at(901));
        assert_eq!(count.figures()["Ramp"], Figures::default());
    }

    #[test]
    fn starts_that_were_timed_whole_go_first() {
        let mut count = Count::default();
        count.start("Ramp", secs(1), false);
        count.start("Quay", secs(2), false);
        for took in [50, 52, 60] {
            count.start("Ramp", secs(took), true);
        }
        let figures = count.figures();
        let ramp = &figures["Ramp"];
        assert_eq!((ramp.starts, ramp.timed), (4, 3));
        assert_eq!((ramp.median, ramp.p90), (Some(secs(52)), Some(secs(60))));
        let quay = &figures["Quay"];
        assert_eq!((quay.starts, quay.timed, quay.median), (1, 1, Some(secs(2))));
    }

    proptest! {
        /// Time is never counted twice, nor outages that cannot be.
        #[test]
        fn no_more_is_lost_than_passed(
            steps in proptest::collection::vec((1_u64..50, 0_usize..4, any::<bool>()), 0..60),
        ) {
            let words = ["missing", "present", "unknown", "starting"];
            let mut count = Count::default();
            let mut now = 0;
            let mut missing = 0;
            for (later, word, lost) in &steps {
                now += later;
                count.standing("Ramp", at(now), words[*word], *lost);
                missing += u64::from(*word == 0);
            }
            count.run_over(at(now + 5));
            let figures = count.figures().remove("Ramp").unwrap_or_default();
            prop_assert!(figures.outages <= missing);
            prop_assert!(figures.lost <= secs(now + 5));
        }

        /// At least so many are no greater, and one fewer would be too few.
        #[test]
        fn a_percentile_leaves_the_right_share_below(mut all in proptest::collection::vec(1_u64..1000, 1..80)) {
            all.sort_unstable();
            let sorted: Vec<Duration> = all.iter().map(|s| secs(*s)).collect();
            for percent in [50, 90] {
                let value = nearest_rank(&sorted, percent).unwrap();
                let upto = sorted.iter().filter(|d| **d <= value).count();
                let below = sorted.iter().filter(|d| **d < value).count();
                prop_assert!(upto * 100 >= percent * all.len());
                prop_assert!(below * 100 < percent * all.len());
            }
        }
    }
}

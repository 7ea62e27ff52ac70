//! How many sightings a second one core folds, with so many hosts, all of them listed.
//!
//! usage: fold HOSTS
//!
//! The stream is that of a board that watches: for each question of the ledger that it left, then the answer, and one
//! host overheard that asks for another. Counted is the time in `Ledger::fold`, and beside it the time of the
//! whole: the ticks and the questions too. Prints one line of JSON.

use std::process::ExitCode;
use std::time::Duration;

use ledger::Standing;
use rigmuster_bench::clock::spent;
use rigmuster_bench::crowd::{self, Watch};
use vocab::{Moment, Sighting};

/// So many sightings for each host before anything is counted, and so many are counted in all.
const SETTLE: u64 = 12;
const COUNTED: u64 = 300_000;
/// Ends a run that gets no questions to carry out.
const MOST_STEPS: u32 = 40_000;
/// From one host that is overheard to the next, so that neighbours in the stream are none in memory.
const STRIDE: u32 = 7_919;

/// A watch, and the time it took.
struct Work {
    watch: Watch,
    hosts: u32,
    overheard: u32,
    folded: u64,
    folding: Duration,
}

impl Work {
    /// Folds all of `batch`, on the clock.
    fn fold(&mut self, batch: &[Sighting]) {
        let before = spent();
        for sighting in batch {
            self.watch.ledger.fold(sighting);
        }
        self.folding += spent().saturating_sub(before);
        self.folded += batch.len() as u64;
    }

    /// Steps until so many more are folded; false if it never gets there.
    fn until(&mut self, folded: u64) -> bool {
        let goal = self.folded + folded;
        for _ in 0..MOST_STEPS {
            if self.folded >= goal {
                return true;
            }
            let mut batch = Vec::new();
            for (n, sighting) in self.watch.step().into_iter().enumerate() {
                batch.push(sighting);
                if n % 2 == 1 {
                    self.overheard = (self.overheard + STRIDE) % self.hosts;
                    let whom = (self.overheard + 1) % self.hosts;
                    batch.push(crowd::heard(self.overheard, whom, self.watch.now));
                }
            }
            self.fold(&batch);
        }
        false
    }
}

fn main() -> ExitCode {
    let Some(hosts) = std::env::args().nth(1).and_then(|a| a.parse::<u32>().ok()) else {
        eprintln!("usage: fold HOSTS");
        return ExitCode::from(2);
    };
    let mut work = Work {
        watch: Watch::over(hosts, 0),
        hosts,
        overheard: 0,
        folded: 0,
        folding: Duration::ZERO,
    };
    // All are heard for the first time, as fast as the whole is to be.
    let first: Vec<Sighting> = (0..hosts)
        .map(|n| crowd::heard(n, (n + 1) % hosts, Moment::from_nanos(u64::from(n) * 3_333)))
        .collect();
    work.watch.now = first.last().map_or(Moment::ZERO, |s| s.at);
    work.fold(&first);
    let first_hearing = work.folding;
    let settled = work.until(SETTLE * u64::from(hosts));
    (work.folded, work.folding) = (0, Duration::ZERO);
    let before = spent();
    let done = settled && work.until(COUNTED);
    let whole = spent().saturating_sub(before);
    let snapshot = work.watch.ledger.snapshot(work.watch.now);
    let present = snapshot.counts.of(Standing::Present);
    if !done || present != hosts as usize {
        eprintln!(
            "fold: {present} of {hosts} present after {} sightings",
            work.folded
        );
        return ExitCode::FAILURE;
    }
    let rate = |count: u64, time: Duration| (count as f64 / time.as_secs_f64()).round();
    let line = serde_json::json!({
        "hosts": hosts,
        "per_second": rate(work.folded, work.folding),
        "whole_per_second": rate(work.folded, whole),
        "first_per_second": rate(u64::from(hosts), first_hearing),
    });
    println!("{line}");
    ExitCode::SUCCESS
}

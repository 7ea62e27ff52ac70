//! `cargo run --release -p play -- --seeds 10000 --jobs 2`; one that fails: `-- --seed S`.
#![allow(missing_docs)]

use std::process::ExitCode;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread;
use std::time::Instant;

use clap::Parser;
use play::draw::draw;
use play::file;
use play::round::{Outcome, play};
use play::shrink::shrink;
use play::tally::Tally;

/// Plays random rigs, faults and storms in virtual time, and holds the verdict to the truth.
#[derive(Debug, Parser)]
struct Args {
    /// How many courses
    #[arg(long, default_value_t = 1_000)]
    seeds: u64,
    /// The first
    #[arg(long, default_value_t = 0)]
    from: u64,
    /// So many side by side
    #[arg(long, default_value_t = 1)]
    jobs: u64,
    /// Plays this one alone, and prints its course, made as short as it goes if it fails
    #[arg(long)]
    seed: Option<u64>,
    /// Leaves the course as long as it is
    #[arg(long)]
    whole: bool,
}

fn main() -> ExitCode {
    let args = Args::parse();
    let good = match args.seed {
        Some(seed) => one(seed, args.whole),
        None => many(&args),
    };
    if good {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

fn one(seed: u64, whole: bool) -> bool {
    let course = draw(seed);
    let outcome = play(&course);
    let good = outcome.wrong.is_empty();
    let (course, outcome) = if good || whole {
        (course, outcome)
    } else {
        shrink(&course)
    };
    println!("{}", file::text(&course));
    println!("# what stands there");
    for unit in &course.units {
        println!("{unit:?}");
    }
    println!(
        "\n# what happens; left alone after {:?}, {}",
        course.calm,
        if course.sweeps { "swept" } else { "announced" }
    );
    for fault in &course.faults {
        println!(
            "{:9.3} s  {:?} for {:?}",
            fault.at.as_secs_f64(),
            fault.what,
            fault.span
        );
    }
    for (at, act) in &course.acts {
        println!("{:9.3} s  {act:?}", at.as_secs_f64());
    }
    println!("\n# what was told");
    for change in &outcome.told {
        println!("{:9.3} s  {}", change.at.as_millis() as f64 / 1e3, change.text);
    }
    wrong(seed, &outcome);
    good
}

fn wrong(seed: u64, outcome: &Outcome) {
    for (at, what) in &outcome.wrong {
        println!("seed {seed}: {:9.3} s  {what}", at.as_millis() as f64 / 1e3);
    }
}

fn many(args: &Args) -> bool {
    let began = Instant::now();
    let next = AtomicU64::new(args.from);
    let end = args.from.saturating_add(args.seeds);
    let mut all = Tally::default();
    thread::scope(|scope| {
        let jobs: Vec<_> = (0..args.jobs.max(1))
            .map(|_| scope.spawn(|| some(&next, end)))
            .collect();
        for job in jobs {
            match job.join() {
                Ok(tally) => all.join(tally),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
    });
    println!("{all}");
    println!(
        "took {:.1} s with {} jobs",
        began.elapsed().as_secs_f64(),
        args.jobs.max(1)
    );
    all.failed.is_empty()
}

fn some(next: &AtomicU64, end: u64) -> Tally {
    let mut tally = Tally::default();
    loop {
        let seed = next.fetch_add(1, Ordering::Relaxed);
        if seed >= end {
            return tally;
        }
        let course = draw(seed);
        let outcome = play(&course);
        wrong(seed, &outcome);
        tally.add(&course, &outcome);
    }
}

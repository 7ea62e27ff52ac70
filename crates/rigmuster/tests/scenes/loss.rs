//! Detection time and false alarms on a wire that loses frames: docs/detector.md says what is
//! expected and why. With `RIGMUSTER_SEEDS` and `--nocapture` it prints the table that stands there.

use std::time::Duration;

use ledger::{Standing, Subject};
use rigmuster::source::Simulation;
use venue::{Deed, Line};
use vocab::Moment;

use crate::common::{play, seeds, until_standing};

/// Outages of one device in each run.
const OUTAGES: u64 = 3;
/// How long the wire is watched before the first.
const LEARN: Duration = Duration::from_secs(90);
/// How long each device may need for its start, and more.
const AGAIN: Duration = Duration::from_secs(150);
/// The devices that are switched off, one in a run.
const HEADS: [&str; 4] = ["Organ loft", "West door", "Stage left", "Foyer"];

/// What one loss rate led to.
struct Outcome {
    /// From switching off to "missing", in seconds, sorted.
    seconds: Vec<f64>,
    false_alarms: usize,
    device_hours: f64,
}

impl Outcome {
    fn at(&self, share: f64) -> f64 {
        let n = (self.seconds.len() as f64 * share).ceil() as usize;
        self.seconds[n.clamp(1, self.seconds.len()) - 1]
    }
}

/// A cable that loses so many per cent of the questions: on the way there, or their answers.
fn losing(percent: u32) -> Line {
    let kept = (1.0 - f64::from(percent) / 100.0).sqrt();
    Line {
        loss_ppm: ((1.0 - kept) * 1e6).round() as u32,
        ..Line::SOUND
    }
}

fn alarms(play: &Simulation, from: usize, but: &str) -> usize {
    let missing =
        |s: &Subject| matches!(s, Subject::Device { name, to: Standing::Missing, .. } if name != but);
    play.changes()[from..]
        .iter()
        .filter(|c| missing(&c.subject))
        .count()
}

fn measure(percent: u32) -> Outcome {
    let mut outcome = Outcome {
        seconds: Vec::new(),
        false_alarms: 0,
        device_hours: 0.0,
    };
    let plan = venue::scene("calm")
        .unwrap_or_else(|| panic!("no calm scene"))
        .plan();
    for seed in seeds() {
        let mut play = play("calm", seed);
        let name = HEADS[seed as usize % HEADS.len()];
        let host = plan.named(name).unwrap_or_else(|| panic!("no {name}"));
        let venue = play.rehearsal().venue_mut();
        venue.plan(Moment::ZERO, Deed::OurLine(losing(percent)));
        play.play(LEARN);
        // Nothing is off yet.
        outcome.false_alarms += alarms(&play, 0, "");
        for n in 0..OUTAGES {
            // Anywhere within the second between two questions, by the seed alone.
            let part = (seed * 7_919 + n * 104_729) % 1_000;
            let off = play.now() + Duration::from_millis(part);
            let venue = play.rehearsal().venue_mut();
            venue.plan(off, Deed::PowerOff(host));
            play.play_until(off, |_| false);
            let before = play.changes().len();
            let seen = until_standing(&mut play, name, Standing::Missing, off + Duration::from_mins(1));
            outcome.seconds.push(seen.since(off).as_secs_f64());
            let on = play.now();
            play.rehearsal().venue_mut().plan(on, Deed::PowerOn(host));
            play.play(AGAIN);
            outcome.false_alarms += alarms(&play, before, name);
        }
        let devices = play.snapshot().devices.len() as f64;
        outcome.device_hours += devices * play.now().since(Moment::ZERO).as_secs_f64() / 3600.0;
    }
    outcome.seconds.sort_by(f64::total_cmp);
    outcome
}

#[test]
fn a_loss_is_told_in_time_and_no_wolf_is_cried() {
    let all = [
        (0, 3.0),
        (1, 3.0),
        (2, 4.0),
        (5, 6.0),
        (10, 8.0),
        (15, 10.0),
        (20, 12.0),
    ];
    // A few of them tell a mistake; all of them, over many seeds, make the table.
    let many = std::env::var_os("RIGMUSTER_SEEDS").is_some();
    println!("loss   outages  median   99 %    most   false alarms in device-hours");
    for (percent, within) in all.into_iter().filter(|(p, _)| many || [1, 5, 20].contains(p)) {
        let outcome = measure(percent);
        println!(
            "{percent:3} %  {:7}  {:5.2} s  {:5.2} s  {:5.2} s  {} in {:.1}",
            outcome.seconds.len(),
            outcome.at(0.5),
            outcome.at(0.99),
            outcome.at(1.0),
            outcome.false_alarms,
            outcome.device_hours
        );
        assert!(outcome.at(0.99) <= within, "{percent} %: {} s", outcome.at(0.99));
        // At 5 % fewer than one in 1,000 device-hours is asked for. A short run of 22 may by chance see one
        // even so (2 in 100, by Poisson's law), hardly two (2 in 10,000); many seeds are held to the rate itself.
        let rate = outcome.device_hours / 1_000.0;
        let allowed = if many { rate } else { rate.max(1.0) };
        assert!(
            (outcome.false_alarms as f64) <= allowed,
            "{percent} %: {} false alarms in {} device-hours",
            outcome.false_alarms,
            outcome.device_hours
        );
    }
}

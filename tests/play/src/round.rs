//! Plays one course to its end and says what was wrong.

use std::collections::BTreeSet;
use std::time::Duration;

use board::{Board, ColourUse, Look};
use ledger::{Change, Purpose, Settings, Severity, Snapshot, Standing, Vendors};
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use rigmuster::source::Simulation;
use rigmuster_tests::contract::{Made, Report};
use vocab::{AddressRange, LinkState, Moment};

use crate::build;
use crate::course::{Act, Address, Course, Listed, Pace, Storm, What};
use crate::file;
use crate::truth::Scene;
use crate::watch::Watch;

/// How often is looked.
const LOOK: Duration = Duration::from_millis(250);
/// So long before something happens is looked once more.
const BEFORE: Duration = Duration::from_nanos(1);
/// After the wire is left alone: when all is asked for again, when the ports are, and when the verdict is due.
const SWEEP: Duration = Duration::from_secs(50);
const PORTS: Duration = Duration::from_secs(75);
const VERDICT: Duration = Duration::from_secs(110);
/// One seed in so many has its board drawn.
const DRAWN: u64 = 50;

/// What is wrong: when, and what.
pub type Wrong = (Moment, String);

/// What came of a course.
#[derive(Debug, Default)]
pub struct Outcome {
    /// What was wrong, and when; empty if nothing was.
    pub wrong: Vec<Wrong>,
    /// How the devices stood in the end.
    pub standings: Vec<Standing>,
    /// Whether the rig was ready in the end.
    pub ready: bool,
    /// Devices said to be missing on a wire that lost frames, and were not.
    pub wolves: u32,
    /// Events played.
    pub steps: u64,
    /// Virtual time.
    pub span: Duration,
    /// Frames sent by us.
    pub frames: u64,
    /// All that was told.
    pub told: Vec<Change>,
}

/// Plays it.
pub fn play(course: &Course) -> Outcome {
    let text = file::text(course);
    let reading = rig::read("course.rig.toml", text.as_bytes());
    let Some(rig) = reading.rig.filter(|_| reading.errors.is_empty()) else {
        return Outcome {
            wrong: vec![(Moment::ZERO, format!("the file: {:?}", reading.errors))],
            ..Outcome::default()
        };
    };
    let pace = rig.network.pace;
    let factory: Vec<AddressRange> = "192.168.0.20-29".parse().into_iter().collect();
    let settings = Settings {
        rig: Some(rig),
        subnet: None,
        gateway: None,
        factory,
        vendors: Vendors::NONE,
        purpose: Purpose::Board,
    };
    let mut sim = Simulation::of_plan(build::plan(course), course.seed, pace, settings);
    let mut watch = Watch::new(course);
    let calm = Moment::ZERO + course.calm;
    let mut acts: Vec<(Moment, Act)> = course
        .acts
        .iter()
        .map(|(at, act)| (Moment::ZERO + *at, *act))
        .collect();
    if course.sweeps {
        acts.push((calm + SWEEP, Act::Sweep));
    }
    acts.push((calm + PORTS + slower(course), Act::AskPorts));
    let mut acts = acts.into_iter().peekable();
    let mut stops = stops(course).into_iter().peekable();
    let end = calm + VERDICT + slower(course);
    while sim.now() < end {
        let due = acts.peek().map_or(end, |(at, _)| *at);
        while stops.next_if(|stop| *stop <= sim.now()).is_some() {}
        let stop = stops.peek().copied().unwrap_or(end);
        let next = (sim.now() + LOOK).min(end).min(stop).min(due.max(sim.now()));
        // How all really stands is noted at the moment when something else is said of a device.
        let mut counts = sim.ledger().counts();
        while sim.play_until(next, |muster| muster.counts() != counts) {
            counts = sim.ledger().counts();
            watch.really(&sim);
        }
        watch.look(&sim);
        if due <= sim.now()
            && let Some((_, act)) = acts.next()
        {
            perform(course, act, &mut sim, &mut watch);
        }
    }
    let snapshot = sim.snapshot();
    let mut wrong = std::mem::take(&mut watch.wrong);
    verdict(course, &sim, &snapshot, &watch, &mut wrong);
    if course.seed.is_multiple_of(DRAWN) {
        shown(course, &snapshot, &mut wrong);
    }
    Outcome {
        wrong,
        standings: snapshot.devices.iter().map(|d| d.standing).collect(),
        ready: snapshot.ready,
        wolves: watch.wolves,
        steps: sim.steps(),
        span: sim.now().since(Moment::ZERO),
        frames: sim.stage().venues().map(|v| v.sent().frames).sum(),
        told: sim.take_changes(),
    }
}

/// Just before something happens: what was so until then may have been so for a moment only.
fn stops(course: &Course) -> BTreeSet<Moment> {
    let all = course.faults.iter().flat_map(|f| f.moments(course.calm));
    all.map(|at| Moment::ZERO + at.saturating_sub(BEFORE)).collect()
}

/// How much longer it takes to go through the subnet at a slow pace.
fn slower(course: &Course) -> Duration {
    match course.pace {
        Pace::Own => Duration::ZERO,
        Pace::House => Duration::from_mins(4),
        Pace::Number(n) => Duration::from_mins(4) * 10 / n,
    }
}

fn perform(course: &Course, act: Act, sim: &mut Simulation, watch: &mut Watch<'_>) {
    let now = sim.now();
    match act {
        Act::Sweep => sim.ledger_mut().sweep_now(now),
        Act::AskPorts => {
            for listed in &course.listed {
                let _ = sim.ledger_mut().ask_control(now, &listed.name);
            }
        }
        Act::Level(level) => {
            sim.rehearsal().set_level(level);
            watch.level(level);
        }
        Act::Sleep(span) => sim.rehearsal().sleep(span),
    }
}

/// The end: all is known as it really is.
fn verdict(course: &Course, sim: &Simulation, s: &Snapshot, watch: &Watch<'_>, wrong: &mut Vec<Wrong>) {
    let mut say = |what: String| wrong.push((s.at, what));
    let scenes: Vec<Scene<'_>> = sim
        .stage()
        .venues()
        .enumerate()
        .map(|(net, venue)| Scene::of(course, net, venue))
        .collect();
    let counted = course.listed.iter().filter(|l| l.address != Address::None);
    let counted: Vec<&Listed> = counted.collect();
    let mut all_there = true;
    for (listed, view) in counted.iter().zip(&s.devices) {
        let truth = scenes[listed.net].standings(listed);
        all_there &= listed.need != "show" || truth == [Standing::Present];
        if !truth.contains(&view.standing) {
            let seen = view.seen.as_ref().map(|s| (s.mac, &s.addresses));
            say(format!(
                "{} is {:?} since {:?}, and should be {truth:?}; seen {seen:?}; {}",
                view.name, view.standing, view.since, view.detail
            ));
        }
        if let (Standing::Present, Some(seen)) = (view.standing, &view.seen) {
            let there = |a| {
                seen.mac
                    .is_some_and(|mac| scenes[listed.net].holders(a).contains(&mac))
            };
            if !seen.address.is_some_and(there) {
                say(format!("{} is seen where it is not: {seen:?}", view.name));
            }
        }
    }
    let faults: Vec<_> = s
        .findings
        .iter()
        .filter(|f| f.severity == Severity::Fault)
        .collect();
    if s.ready != (all_there && faults.is_empty()) {
        say(format!("ready is {}; {}; {faults:?}", s.ready, s.headline));
    }
    // A gap in our own sight is told by its finding alone.
    let down = sim.stage().venues().any(|v| v.station().state != LinkState::Up);
    if let Some(told) = watch.record().ready
        && told != s.ready
        && !down
    {
        say(format!("told to be ready: {told}, and is {}", s.ready));
    }
    // Of random hardware by the hundreds no list is kept.
    let forged = |f: &crate::course::Fault| matches!(f.what, What::Storm(_, Storm::Forged, _));
    if !course.faults.iter().any(forged) {
        for scene in &scenes {
            for mac in scene.strangers() {
                if s.unlisted.iter().all(|h| h.mac != Some(mac)) && !is_device(s, mac) {
                    say(format!("{mac} is not among those who are not listed"));
                }
            }
        }
    }
}

/// Whether this hardware stands for a device that the file knows by its address alone.
fn is_device(s: &Snapshot, mac: vocab::Mac) -> bool {
    s.devices
        .iter()
        .any(|d| d.seen.as_ref().is_some_and(|seen| seen.mac == Some(mac)))
}

/// What is printed and drawn of it is as it should be.
fn shown(course: &Course, s: &Snapshot, wrong: &mut Vec<Wrong>) {
    match rigmuster::checked_json(s, "course.rig.toml", "2026-01-01T00:00:00Z") {
        // Panics with all that is not as the contract says.
        Ok(value) => drop(Report::of(value, Made::Check)),
        Err(e) => wrong.push((s.at, format!("JSON: {e}"))),
    }
    let look = Look {
        colour: ColourUse::Full16,
        unicode: course.seed.is_multiple_of(2 * DRAWN),
    };
    let board = Board::new(look);
    let clock = |at: Moment| format!("{:?}", at.as_millis());
    let drawn = Terminal::new(TestBackend::new(80, 24))
        .and_then(|mut t| t.draw(|frame| board.draw(frame, s, &clock)).map(|_| ()));
    if drawn.is_err() {
        wrong.push((s.at, "the board was not drawn".to_owned()));
    }
}

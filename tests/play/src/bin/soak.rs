//! Eight virtual hours of a busy show in every scene: `cargo run --release -p play --bin soak -- --hours 8`.
//!
//! Each scene runs in a process of its own, so that what it keeps can be told from what others kept. Every change is
//! written in a journal. Nothing of it may grow after the first hour.
#![allow(missing_docs)]

use std::path::Path;
use std::process::{Command, ExitCode};
use std::time::{Duration, Instant};

use clap::Parser;
use ledger::{Change, Purpose, Settings, Snapshot, Vendors};
use play::dice::Dice;
use rigmuster::journal::{Entry, RunHead, Stamp, Writer};
use rigmuster::source::Simulation;
use venue::{Deed, HostId, Line, Scene, SwitchId};

/// Plays busy hours in virtual time and measures what they leave.
#[derive(Debug, Parser)]
struct Args {
    /// How many virtual hours
    #[arg(long, default_value_t = 8)]
    hours: u64,
    /// This scene alone, in this process
    #[arg(long)]
    scene: Option<String>,
}

const HOUR: Duration = Duration::from_hours(1);
/// At most so many entries are on their way to the file: real time gives the writer more of it.
const AHEAD: u64 = 200;
/// What a process may have more in the last hour than after the first, in KiB: SQLite's cache of pages, 2,000 KiB where
/// nobody says otherwise (its documentation of `cache_size`), the list of the last 1,000 changes, and the simulator's deeds.
const SLACK_KIB: u64 = 4_096;

fn main() -> ExitCode {
    let args = Args::parse();
    let good = match &args.scene {
        Some(name) => alone(name, args.hours),
        None => all(args.hours),
    };
    if good {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

fn all(hours: u64) -> bool {
    println!(
        "| scene | faults | changes | kept at most: changes, findings, strangers | journal, KiB at 1 h and the end | lost | RSS, KiB at 1 h and the end | descriptors | real s |"
    );
    println!("|---|---|---|---|---|---|---|---|---|");
    let me = std::env::current_exe();
    let mut good = true;
    for scene in venue::scenes() {
        let words = ["--hours", &hours.to_string(), "--scene", scene.name];
        let run = me.as_ref().map(|me| Command::new(me).args(words).status());
        good &= matches!(run, Ok(Ok(status)) if status.success());
    }
    good
}

/// What is measured at one time.
#[derive(Debug, Clone, Copy, Default)]
struct Sample {
    rss_kib: u64,
    descriptors: usize,
    journal_kib: u64,
    unlisted: usize,
}

impl Sample {
    fn take(journal: &Path, snapshot: &Snapshot) -> Self {
        let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
        let rss = status.lines().find_map(|l| l.strip_prefix("VmRSS:"));
        let rss = rss.and_then(|l| l.split_whitespace().next()?.parse().ok());
        let size = |end: &str| {
            let mut path = journal.as_os_str().to_owned();
            path.push(end);
            std::fs::metadata(path).map_or(0, |m| m.len())
        };
        Self {
            rss_kib: rss.unwrap_or_default(),
            descriptors: std::fs::read_dir("/proc/self/fd").map_or(0, Iterator::count),
            journal_kib: (size("") + size("-wal")) / 1024,
            unlisted: snapshot.unlisted_total,
        }
    }
}

/// Keeps a journal of what the ledger tells.
struct Journal {
    writer: Writer,
    seq: u64,
}

impl Journal {
    fn write(&mut self, change: &Change) {
        self.seq += 1;
        let wall = Stamp {
            ms: 1_795_000_000_000 + change.at.as_millis().cast_signed(),
            offset_s: 0,
        };
        self.writer.write(Entry::of(change, self.seq, wall, |_| true));
        while self.writer.state().committed + AHEAD < self.seq {
            std::thread::yield_now();
        }
    }
}

fn settings(scene: &Scene) -> Option<Settings> {
    Some(Settings {
        rig: Some(rig::read(scene.name, scene.rig.as_bytes()).rig?),
        subnet: None,
        gateway: None,
        factory: Vec::new(),
        vendors: Vendors::NONE,
        purpose: Purpose::Board,
    })
}

fn alone(name: &str, hours: u64) -> bool {
    let began = Instant::now();
    let parts = venue::scene(name).and_then(|s| settings(&s).map(|known| (s, known)));
    let (Some((scene, settings)), Ok(folder)) = (parts, tempfile::tempdir()) else {
        return false;
    };
    let path = folder.path().join("soak.db");
    let head = RunHead {
        began: Stamp {
            ms: 1_795_000_000_000,
            offset_s: 0,
        },
        version: "0.0.0".to_owned(),
        title: scene.title.to_owned(),
        file: format!("{name}.rig.toml"),
        link: "rehearsal".to_owned(),
        rehearsal: true,
    };
    let mut journal = Journal {
        writer: Writer::start(path.clone(), false, head),
        seq: 0,
    };
    let pace = settings.rig.as_ref().map(|r| r.network.pace).unwrap_or_default();
    let mut sim = Simulation::new(&scene, 1, pace, settings);
    let mut show = Show::of(&sim);
    let (mut samples, mut most) = (Vec::new(), (0, 0, 0));
    for _ in 0..hours {
        let end = sim.now() + HOUR;
        while sim.now() < end {
            show.go_on(&mut sim);
            for change in sim.take_changes() {
                journal.write(&change);
            }
            let s = sim.snapshot();
            most = (
                most.0.max(s.changes.len()),
                most.1.max(s.findings.len()),
                most.2.max(s.unlisted_total),
            );
        }
        while journal.writer.state().committed < journal.seq {
            std::thread::yield_now();
        }
        samples.push(Sample::take(&path, &sim.snapshot()));
    }
    let (first, last) = (
        samples.first().copied().unwrap_or_default(),
        samples.last().copied().unwrap_or_default(),
    );
    let lost = journal.writer.state().missing;
    println!(
        "| `{name}` | {} | {} | {}, {}, {} | {}, {} | {lost} | {}, {} | {}, {} | {:.0} |",
        show.faults,
        journal.seq,
        most.0,
        most.1,
        most.2,
        first.journal_kib,
        last.journal_kib,
        first.rss_kib,
        last.rss_kib,
        first.descriptors,
        last.descriptors,
        began.elapsed().as_secs_f64(),
    );
    let grew = last.rss_kib > first.rss_kib + SLACK_KIB
        || last.descriptors > first.descriptors
        || last.unlisted > first.unlisted + 8
        || lost > 0;
    if grew {
        eprintln!("{name}: {samples:?}");
    }
    !grew
}

/// What goes on in a show: something all the time.
struct Show {
    dice: Dice,
    hosts: Vec<Vec<HostId>>,
    switches: Vec<Vec<SwitchId>>,
    faults: u64,
}

impl Show {
    fn of(sim: &Simulation) -> Self {
        let (mut hosts, mut switches) = (Vec::new(), Vec::new());
        for venue in sim.stage().venues() {
            hosts.push(venue.hosts().collect());
            switches.push(venue.switches().collect());
        }
        Self {
            dice: Dice::new(826),
            hosts,
            switches,
            faults: 0,
        }
    }

    /// A fault begins on some network and ends a while later; then all is quiet for a moment.
    fn go_on(&mut self, sim: &mut Simulation) {
        let net = self.dice.place(self.hosts.len());
        let now = sim.now();
        let (at, back) = (
            now + self.dice.millis(0, 2_000),
            now + self.dice.millis(2_500, 25_000),
        );
        let pair = self.pair(net);
        if let (Some((begins, ends)), Some(venue)) = (pair, sim.rehearsal().venues_mut().nth(net)) {
            venue.plan(at, begins);
            venue.plan(back, ends);
            self.faults += 1;
        }
        let next = now + self.dice.millis(5_000, 40_000);
        sim.play_until(next, |_| false);
    }

    fn pair(&mut self, net: usize) -> Option<(Deed, Deed)> {
        let host = (!self.hosts[net].is_empty()).then(|| self.dice.one(&self.hosts[net]));
        let switch = (!self.switches[net].is_empty()).then(|| self.dice.one(&self.switches[net]));
        Some(match self.dice.from(0, 20) {
            0..=7 => (Deed::PowerOff(host?), Deed::PowerOn(host?)),
            8..=12 => (Deed::Unplug(host?), Deed::Plug(host?)),
            13..=14 => (Deed::SwitchOff(switch?), Deed::SwitchOn(switch?)),
            15 => (Deed::UnplugUs, Deed::PlugUs),
            16..=17 => (Deed::OurLine(Line::lossy(5)), Deed::OurLine(Line::SOUND)),
            _ => (Deed::Announce(host?), Deed::Announce(host?)),
        })
    }
}

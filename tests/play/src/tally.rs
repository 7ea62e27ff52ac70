//! Counts what was played.

use std::collections::BTreeMap;
use std::fmt;
use std::time::Duration;

use crate::course::Course;
use crate::round::Outcome;

/// What was played so far.
#[derive(Debug, Default)]
pub struct Tally {
    courses: u64,
    networks: u64,
    devices: u64,
    units: u64,
    ready: u64,
    wolves: u64,
    steps: u64,
    frames: u64,
    span: Duration,
    kinds: BTreeMap<&'static str, u64>,
    standings: BTreeMap<&'static str, u64>,
    /// The seeds that failed.
    pub failed: Vec<u64>,
}

impl Tally {
    /// One more course.
    pub fn add(&mut self, course: &Course, outcome: &Outcome) {
        self.courses += 1;
        self.networks += course.nets.len() as u64;
        self.devices += course.listed.len() as u64;
        self.units += course.units.len() as u64;
        self.ready += u64::from(outcome.ready);
        self.wolves += u64::from(outcome.wolves);
        self.steps += outcome.steps;
        self.frames += outcome.frames;
        self.span += outcome.span;
        for fault in &course.faults {
            *self.kinds.entry(fault.what.kind()).or_default() += 1;
        }
        for (_, act) in &course.acts {
            *self.kinds.entry(act.kind()).or_default() += 1;
        }
        for standing in &outcome.standings {
            *self.standings.entry(standing.as_str()).or_default() += 1;
        }
        if !outcome.wrong.is_empty() {
            self.failed.push(course.seed);
        }
    }

    /// All that another counted.
    pub fn join(&mut self, other: Self) {
        self.courses += other.courses;
        self.networks += other.networks;
        self.devices += other.devices;
        self.units += other.units;
        self.ready += other.ready;
        self.wolves += other.wolves;
        self.steps += other.steps;
        self.frames += other.frames;
        self.span += other.span;
        for (kind, many) in other.kinds {
            *self.kinds.entry(kind).or_default() += many;
        }
        for (standing, many) in other.standings {
            *self.standings.entry(standing).or_default() += many;
        }
        self.failed.extend(other.failed);
        self.failed.sort_unstable();
    }
}

impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "{} courses on {} networks, {} devices listed, {} units on the wire",
            self.courses, self.networks, self.devices, self.units
        )?;
        let hours = self.span.as_secs_f64() / 3_600.0;
        writeln!(
            f,
            "{hours:.1} virtual hours, {} events, {} frames sent; ready in the end: {}; said to be missing by loss alone: {}",
            self.steps, self.frames, self.ready, self.wolves
        )?;
        writeln!(f, "\nwhat happened")?;
        for (kind, many) in &self.kinds {
            writeln!(f, "  {kind:24} {many:7}")?;
        }
        writeln!(f, "\nhow the devices stood in the end")?;
        for (standing, many) in &self.standings {
            writeln!(f, "  {standing:24} {many:7}")?;
        }
        writeln!(
            f,
            "\nother than it really was: {} courses {:?}",
            self.failed.len(),
            self.failed
        )
    }
}

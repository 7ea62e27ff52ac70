//! Reads the journal back. Everything in it counts as text from outside: whoever shows it escapes it.

use std::path::Path;
use std::time::Duration;

use rusqlite::types::{FromSqlError, Type};
use rusqlite::{Error, Row, params};
use serde::de::DeserializeOwned;
use vocab::Moment;

use super::stats::Count;
use super::{Book, RunHead, Stamp, Steps, Trouble};

/// A run, as it stands in the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Run {
    /// Its number.
    pub id: i64,
    /// What was written of it at its start.
    pub head: RunHead,
    /// Its last sign, on its own clock.
    pub last: Moment,
    /// Its last sign, on the wall.
    pub last_wall: Stamp,
    /// Whether it was ended in order.
    pub ended: bool,
}

impl Run {
    /// Whether the computer's clock was set back in it so far that its last sign is, on the wall, earlier than
    /// its first.
    pub(crate) const fn ends_before_it_began(&self) -> bool {
        self.last_wall.ms < self.head.began.ms
    }
}

/// An entry, as it stands in the file. Words may be those of a later version.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// Its run.
    pub run: i64,
    /// Its number there.
    pub seq: i64,
    /// When, on the run's own clock.
    pub mono: Moment,
    /// When, on the wall.
    pub wall: Stamp,
    /// What it is about: `standing`, `finding`, `ready`, `start`, `cable`, `action`, `anew` or `gap`.
    pub kind: String,
    /// The devices concerned.
    pub devices: Vec<String>,
    /// How the device stands from then on.
    pub standing: Option<String>,
    /// What the finding is about.
    pub finding: Option<String>,
    /// How much it matters.
    pub severity: Option<String>,
    /// Whether it began, or the rig became ready.
    pub began: Option<bool>,
    /// Whether the device was there before in this run and is lost.
    pub lost: Option<bool>,
    /// The hardware concerned.
    pub macs: Vec<String>,
    /// The address concerned.
    pub address: Option<String>,
    /// One sentence.
    pub text: String,
    /// What it is based on.
    pub basis: String,
    /// Whether it is one for the worse.
    pub worse: bool,
    /// Whether another entry tells it together with others.
    pub folded: bool,
    /// How long a start took.
    pub took: Option<Duration>,
    /// Its steps.
    pub steps: Option<Steps>,
}

impl Line {
    /// Whether nobody could look for a while, or what was seen then is not written.
    pub(crate) fn hides(&self) -> bool {
        let link = self.finding.as_deref() == Some("link_down");
        link || matches!(self.kind.as_str(), "anew" | "gap")
    }

    /// Counts it, if it is a start.
    pub(crate) fn count_start(&self, count: &mut Count) {
        if let (Some(device), Some(took)) = (self.devices.first(), self.took) {
            count.start(device, took, self.steps.as_ref().is_some_and(|s| s.first_frame));
        }
    }
}

/// A device as it was first found, as it stands in the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FoundLine {
    /// The rig file.
    pub file: String,
    /// The rig's title.
    pub title: String,
    /// Whether it was the simulated venue.
    pub rehearsal: bool,
    /// The device.
    pub device: String,
    /// Its hardware, where known.
    pub mac: Option<String>,
    /// When.
    pub wall: Stamp,
    /// Its address.
    pub address: String,
    /// Its mask, where known.
    pub mask: Option<String>,
    /// Whether it asked a DHCP server, where known.
    pub dhcp: Option<bool>,
}

/// What is wanted of the journal; what is left open is not looked at.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Wanted {
    /// A rig's title, or its file: its name or a whole path.
    pub rig: Option<String>,
    /// A device's name, whatever its case.
    pub device: Option<String>,
    /// Not before, in milliseconds since 1970.
    pub since: Option<i64>,
    /// Not after.
    pub until: Option<i64>,
    /// A kind of entry, a finding's word or a standing's.
    pub kind: Option<String>,
}

impl Wanted {
    /// Whether a rig of that title and file is meant.
    fn takes(&self, title: &str, file: &str) -> bool {
        let Some(rig) = &self.rig else { return true };
        let name = Path::new(file).file_name().and_then(|name| name.to_str());
        title.to_lowercase() == rig.to_lowercase() || file == rig || name == Some(rig)
    }
}

const COLUMNS: &str = "run, seq, mono_ns, wall_ms, offset_s, kind, devices, standing, finding, severity, began, \
                       lost, macs, address, text, basis, worse, folded, took_ns, steps";

impl Book {
    /// The runs of the rig that is wanted, in their order.
    ///
    /// # Errors
    /// The file is damaged or held.
    pub fn runs(&self, wanted: &Wanted) -> Result<Vec<Run>, Trouble> {
        let read = || {
            let sql = "SELECT id, began_ms, offset_s, version, title, file, link, rehearsal, last_ns, last_ms, ended
                       FROM run ORDER BY id";
            let mut all = self.connection.prepare(sql)?;
            all.query_map([], run)?.collect::<rusqlite::Result<Vec<Run>>>()
        };
        let mut runs = read().map_err(|e| self.trouble(&e))?;
        runs.retain(|run| wanted.takes(&run.head.title, &run.head.file));
        Ok(runs)
    }

    /// Hands the entries of a run to `each`, in the order of the run's own clock, until it says
    /// `false`.
    ///
    /// # Errors
    /// The file is damaged or held.
    pub fn lines(
        &self,
        run: i64,
        wanted: &Wanted,
        mut each: impl FnMut(Line) -> bool,
    ) -> Result<(), Trouble> {
        let mut read = || {
            let sql = format!(
                "SELECT {COLUMNS} FROM entry
                 WHERE run = ?1
                   AND (?2 IS NULL OR wall_ms >= ?2) AND (?3 IS NULL OR wall_ms <= ?3)
                   AND (?4 IS NULL OR kind = ?4 OR finding = ?4 OR standing = ?4)
                 ORDER BY mono_ns, seq"
            );
            let mut all = self.connection.prepare(&sql)?;
            let mut rows = all.query(params![run, wanted.since, wanted.until, wanted.kind])?;
            let name = wanted.device.as_ref().map(|d| d.to_lowercase());
            while let Some(row) = rows.next()? {
                let line = line(row)?;
                let mut names = line.devices.iter().map(|d| d.to_lowercase());
                if name.as_ref().is_some_and(|name| !names.any(|d| d == *name)) {
                    continue;
                }
                if !each(line) {
                    break;
                }
            }
            Ok(())
        };
        read().map_err(|e| self.trouble(&e))
    }

    /// The latest `many` entries of a rig file before number `before.1` of run `before.0`, the latest
    /// first, without those that others tell together.
    ///
    /// # Errors
    /// The file is damaged or held.
    pub fn before(
        &self,
        file: &str,
        rehearsal: bool,
        before: (i64, i64),
        many: usize,
    ) -> Result<Vec<Line>, Trouble> {
        let read = || {
            let sql = format!(
                "SELECT {COLUMNS} FROM entry
                 WHERE (run, seq) < (?1, ?2) AND NOT folded
                   AND run IN (SELECT id FROM run WHERE file = ?3 AND rehearsal = ?4)
                 ORDER BY run DESC, seq DESC LIMIT ?5"
            );
            let many = i64::try_from(many).unwrap_or(i64::MAX);
            let mut all = self.connection.prepare(&sql)?;
            all.query_map(params![before.0, before.1, file, rehearsal, many], line)?
                .collect::<rusqlite::Result<Vec<Line>>>()
        };
        read().map_err(|e| self.trouble(&e))
    }

    /// The starts of each device of a rig file, counted.
    ///
    /// # Errors
    /// The file is damaged or held.
    pub fn starts(&self, file: &str, rehearsal: bool) -> Result<Count, Trouble> {
        let read = || {
            let sql = format!(
                "SELECT {COLUMNS} FROM entry WHERE kind = 'start'
                 AND run IN (SELECT id FROM run WHERE file = ?1 AND rehearsal = ?2)"
            );
            let mut all = self.connection.prepare(&sql)?;
            let mut rows = all.query(params![file, rehearsal])?;
            let mut count = Count::default();
            while let Some(row) = rows.next()? {
                line(row)?.count_start(&mut count);
            }
            Ok(count)
        };
        read().map_err(|e| self.trouble(&e))
    }

    /// Devices as they were first found, by rig and name.
    ///
    /// # Errors
    /// The file is damaged or held.
    pub fn found(&self, wanted: &Wanted) -> Result<Vec<FoundLine>, Trouble> {
        let read = || {
            let sql = "SELECT file, title, rehearsal, device, mac, wall_ms, offset_s, address, mask, dhcp FROM found
                       WHERE (?1 IS NULL OR wall_ms >= ?1) AND (?2 IS NULL OR wall_ms <= ?2)
                       ORDER BY file, rehearsal, device, wall_ms, mac";
            let mut all = self.connection.prepare(sql)?;
            all.query_map(params![wanted.since, wanted.until], found)?
                .collect::<rusqlite::Result<Vec<FoundLine>>>()
        };
        let mut all = read().map_err(|e| self.trouble(&e))?;
        let name = wanted.device.as_ref().map(|d| d.to_lowercase());
        all.retain(|line| {
            let named = name
                .as_ref()
                .is_none_or(|name| line.device.to_lowercase() == *name);
            named && wanted.takes(&line.title, &line.file)
        });
        Ok(all)
    }
}

fn run(row: &Row<'_>) -> rusqlite::Result<Run> {
    let began = Stamp {
        ms: row.get(1)?,
        offset_s: row.get(2)?,
    };
    Ok(Run {
        id: row.get(0)?,
        head: RunHead {
            began,
            version: row.get(3)?,
            title: row.get(4)?,
            file: row.get(5)?,
            link: row.get(6)?,
            rehearsal: row.get(7)?,
        },
        last: moment(row, 8)?,
        last_wall: Stamp {
            ms: row.get(9)?,
            ..began
        },
        ended: row.get(10)?,
    })
}

fn line(row: &Row<'_>) -> rusqlite::Result<Line> {
    let took: Option<i64> = row.get(18)?;
    let steps: Option<String> = row.get(19)?;
    Ok(Line {
        run: row.get(0)?,
        seq: row.get(1)?,
        mono: moment(row, 2)?,
        wall: stamp(row, 3)?,
        kind: row.get(5)?,
        devices: words(row, 6)?,
        standing: row.get(7)?,
        finding: row.get(8)?,
        severity: row.get(9)?,
        began: row.get(10)?,
        lost: row.get(11)?,
        macs: words(row, 12)?,
        address: row.get(13)?,
        text: row.get(14)?,
        basis: row.get(15)?,
        worse: row.get(16)?,
        folded: row.get(17)?,
        took: took.map(|ns| Duration::from_nanos(u64::try_from(ns).unwrap_or(0))),
        steps: steps.map(|text| from_json(19, &text)).transpose()?,
    })
}

fn found(row: &Row<'_>) -> rusqlite::Result<FoundLine> {
    let mac: String = row.get(4)?;
    Ok(FoundLine {
        file: row.get(0)?,
        title: row.get(1)?,
        rehearsal: row.get(2)?,
        device: row.get(3)?,
        mac: Some(mac).filter(|mac| !mac.is_empty()),
        wall: stamp(row, 5)?,
        address: row.get(7)?,
        mask: row.get(8)?,
        dhcp: row.get(9)?,
    })
}

/// The wall-clock time in the column at `at` and the one behind it.
fn stamp(row: &Row<'_>, at: usize) -> rusqlite::Result<Stamp> {
    Ok(Stamp {
        ms: row.get(at)?,
        offset_s: row.get(at + 1)?,
    })
}

fn moment(row: &Row<'_>, at: usize) -> rusqlite::Result<Moment> {
    let ns: i64 = row.get(at)?;
    let ns = u64::try_from(ns).map_err(|_| Error::IntegralValueOutOfRange(at, ns))?;
    Ok(Moment::from_nanos(ns))
}

/// A JSON array of strings.
fn words(row: &Row<'_>, at: usize) -> rusqlite::Result<Vec<String>> {
    let text: String = row.get(at)?;
    from_json(at, &text)
}

fn from_json<T: DeserializeOwned>(at: usize, text: &str) -> rusqlite::Result<T> {
    serde_json::from_str(text)
        .map_err(|e| Error::FromSqlConversionFailure(at, Type::Text, Box::new(FromSqlError::other(e))))
}

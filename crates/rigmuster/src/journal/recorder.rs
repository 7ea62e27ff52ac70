//! Keeps the journal of one run: what the ledger tells becomes entries.

use std::collections::{BTreeMap, VecDeque};
use std::path::PathBuf;
use std::time::Duration;

use board::PastLine;
use ledger::{Change, Snapshot, Subject, Usual};
use tokio::task::JoinHandle;
use vocab::{Mac, Moment};

use super::past::{self, Mark, Piece};
use super::stats::{Count, Figures};
use super::{Action, AsFound, Book, Entry, RunHead, Stamp, State, Trouble, Writer, default_place};
use crate::settings::Expected;
use crate::walltime::WallTime;

/// So often a run that has nothing to say says that it is alive.
const SIGN: Duration = Duration::from_secs(30);

/// Where a run is written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Place {
    /// Nowhere.
    Nowhere,
    /// In the user's data folder.
    Usual,
    /// In this file.
    At(PathBuf),
}

/// What a recorder must know of its run.
#[derive(Debug, Clone)]
pub(crate) struct About {
    /// The rig's title.
    title: String,
    /// The rig file.
    file: String,
    /// The interfaces that it goes by.
    pub link: String,
    /// Whether it is the simulated venue.
    pub rehearsal: bool,
}

impl About {
    /// A run on this rig.
    pub(crate) fn of(expected: &Expected, link: String, rehearsal: bool) -> Self {
        let whole = |path: &PathBuf| {
            let path = std::fs::canonicalize(path).unwrap_or_else(|_| path.clone());
            path.display().to_string()
        };
        let named = || expected.file.clone().unwrap_or_default();
        Self {
            title: expected
                .rig
                .as_ref()
                .map(|rig| rig.title.clone())
                .unwrap_or_default(),
            file: expected.path.as_ref().map_or_else(named, whole),
            link,
            rehearsal,
        }
    }
}

/// Keeps the journal of a run, or none.
#[derive(Debug)]
pub(crate) struct Recorder(Kind);

#[derive(Debug)]
enum Kind {
    /// Nobody wants one.
    None,
    /// There is no place for one.
    NoPlace(Trouble),
    /// It is kept.
    Kept(Box<Kept>),
}

/// Something that comes from the journal.
#[derive(Debug)]
pub(crate) enum News {
    /// The writing goes on, or does not: see [`Recorder::warning`].
    Writing,
    /// How long devices usually take to start.
    Usual(Vec<(String, Usual)>),
    /// Earlier entries, for the board; whether there are more.
    Past(Vec<PastLine>, bool),
}

#[derive(Debug)]
struct Kept {
    writer: Writer,
    wall: WallTime,
    about: About,
    path: PathBuf,
    /// The number of the last entry.
    seq: u64,
    /// The number of the last entry that tells of a start.
    started: u64,
    /// The starts up to this entry were counted; `None` before the first time.
    counted: Option<u64>,
    /// The counting that is under way.
    counting: Option<JoinHandle<Vec<(String, Usual)>>>,
    /// The numbers of the latest entries that the board lists.
    listed: VecDeque<u64>,
    /// The number of the oldest that is on the board; earlier ones are in the file only.
    oldest: u64,
    /// Where to read on, backwards.
    mark: Option<Mark>,
    /// The reading that is under way.
    reading: Option<JoinHandle<Piece>>,
    /// What the writer was told of devices as they were found.
    found: BTreeMap<(String, Option<Mac>), AsFound>,
    next_sign: Moment,
}

impl Recorder {
    /// Begins to keep the journal of a run.
    pub(crate) fn start(place: Place, about: About, wall: &WallTime, now: Moment) -> Self {
        let (path, make_folder) = match place {
            Place::Nowhere => return Self(Kind::None),
            Place::At(path) => (path, false),
            Place::Usual => match default_place() {
                Ok(path) => (path, true),
                Err(trouble) => return Self(Kind::NoPlace(trouble)),
            },
        };
        let head = RunHead {
            began: wall.played(Moment::ZERO),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            title: about.title.clone(),
            file: about.file.clone(),
            link: about.link.clone(),
            rehearsal: about.rehearsal,
        };
        Self(Kind::Kept(Box::new(Kept {
            writer: Writer::start(path.clone(), make_folder, head),
            wall: wall.clone(),
            about,
            path,
            seq: 0,
            started: 0,
            counted: None,
            counting: None,
            listed: VecDeque::new(),
            oldest: 1,
            mark: None,
            reading: None,
            found: BTreeMap::new(),
            next_sign: now + SIGN,
        })))
    }

    /// Writes down a change. `before` is what was shown last.
    pub(crate) fn record(&mut self, change: &Change, before: &Snapshot, now: Moment) {
        let Kind::Kept(kept) = &mut self.0 else { return };
        kept.seq += 1;
        if !change.folded {
            kept.listed.push_back(kept.seq);
        }
        if matches!(change.subject, Subject::Start(_)) {
            kept.started = kept.seq;
        }
        let heard = |name: &str| {
            let device = before.devices.iter().find(|d| d.name == name);
            device.is_some_and(|d| d.last_heard.is_some())
        };
        let entry = Entry::of(change, kept.seq, kept.stamp(change.at, now), heard);
        kept.writer.write(entry);
        kept.next_sign = now + SIGN;
    }

    /// Writes down what the user had done.
    pub(crate) fn act(&mut self, action: Action, now: Moment) {
        let Kind::Kept(kept) = &mut self.0 else { return };
        kept.seq += 1;
        let entry = Entry::action(action, kept.seq, now, kept.stamp(now, now));
        kept.writer.write(entry);
        kept.next_sign = now + SIGN;
    }

    /// Says from time to time that the run goes on.
    pub(crate) fn go_on(&mut self, now: Moment) {
        let Kind::Kept(kept) = &mut self.0 else { return };
        if now >= kept.next_sign {
            kept.next_sign = now + SIGN;
            let wall = kept.stamp(now, now);
            kept.writer.sign(now, wall);
        }
    }

    /// Takes a look at what is seen: devices that were found first are written down, and from time
    /// to time that the run goes on.
    pub(crate) fn look(&mut self, snapshot: &Snapshot, now: Moment) {
        let Kind::Kept(kept) = &mut self.0 else { return };
        let beyond = kept.listed.len().saturating_sub(snapshot.changes.len());
        kept.listed.drain(..beyond);
        kept.oldest = kept.listed.front().copied().unwrap_or(kept.seq + 1);
        let wall = kept.stamp(now, now);
        for found in snapshot.devices.iter().filter_map(|d| AsFound::of(d, wall)) {
            let key = (found.device.clone(), found.mac);
            let news = match kept.found.get(&key) {
                None => true,
                Some(old) => old.address == found.address && (old.mask, old.dhcp) != (found.mask, found.dhcp),
            };
            if news && kept.writer.found(found.clone()) {
                kept.found.insert(key, found);
            }
        }
        self.go_on(now);
    }

    /// Whether a journal is kept.
    pub(crate) const fn is_kept(&self) -> bool {
        matches!(self.0, Kind::Kept(_))
    }

    /// Begins to read earlier entries, on a thread of its own: `anew` those before the changes that
    /// were on the board when it was last looked at, else those before what was read last.
    pub(crate) fn read_back(&mut self, anew: bool) {
        let Kind::Kept(kept) = &mut self.0 else { return };
        let own = || Mark {
            // A run that is not in the file has no entries there, and all others are earlier.
            before: (
                kept.writer.state().run.unwrap_or(i64::MAX),
                kept.oldest.cast_signed(),
            ),
            under: None,
        };
        let mark = kept.mark.take().filter(|_| !anew).unwrap_or_else(own);
        let (path, file, rehearsal) = (kept.path.clone(), kept.about.file.clone(), kept.about.rehearsal);
        kept.reading = Some(tokio::task::spawn_blocking(move || {
            past::read(&path, &file, rehearsal, mark)
        }));
    }

    /// What the board says while nothing is written.
    pub(crate) fn warning(&self) -> Option<String> {
        let trouble = match &self.0 {
            Kind::None => None,
            Kind::NoPlace(trouble) => Some(trouble.clone()),
            Kind::Kept(kept) => kept.writer.state().trouble,
        };
        trouble.map(|trouble| format!("The journal is not written: {trouble} -> {}", trouble.step()))
    }

    /// Waits for something new. Dropping the future loses nothing.
    pub(crate) async fn news(&mut self) -> News {
        let Kind::Kept(kept) = &mut self.0 else {
            return std::future::pending().await;
        };
        tokio::select! {
            state = kept.writer.changed() => {
                kept.count_starts(&state);
                News::Writing
            }
            usual = task(&mut kept.counting) => {
                // There may be newer ones by now.
                kept.count_starts(&kept.writer.state());
                News::Usual(usual)
            }
            piece = task(&mut kept.reading) => {
                kept.mark = piece.next;
                News::Past(piece.lines, kept.mark.is_some())
            }
        }
    }

    /// Ends the run. Waits a bounded time until all is written; what to tell if it is not.
    pub(crate) fn finish(self, now: Moment) -> Option<String> {
        let kept = match self.0 {
            Kind::None => return None,
            Kind::NoPlace(trouble) => return Some(not_written(&trouble)),
            Kind::Kept(kept) => kept,
        };
        let wall = kept.stamp(now, now);
        let (state, missing) = kept.writer.finish(now, wall);
        match (state.trouble, missing) {
            (Some(trouble), 0) if state.run.is_none() => Some(not_written(&trouble)),
            (Some(trouble), _) => Some(format!(
                "{missing} changes are not in the journal: {trouble}\nnext step: {}",
                trouble.step()
            )),
            (None, 0) => None,
            (None, missing) => Some(format!(
                "{missing} changes are not in the journal: {} could not be written in time\n\
                 next step: close what else holds it, or keep the journal on another disk: --journal FILE",
                super::shown(&kept.path)
            )),
        }
    }
}

fn not_written(trouble: &Trouble) -> String {
    format!("no journal was written: {trouble}\nnext step: {}", trouble.step())
}

/// What the task finds out, once; for ever where there is none.
async fn task<T>(running: &mut Option<JoinHandle<T>>) -> T {
    if let Some(task) = running {
        let done = task.await;
        *running = None;
        if let Ok(found) = done {
            return found;
        }
    }
    std::future::pending().await
}

impl Kept {
    /// Begins to count the starts that are in the file, when there are new ones, on a thread of its
    /// own.
    fn count_starts(&mut self, state: &State) {
        let there = state.run.is_some() && state.committed >= self.started;
        if !there || self.counted == Some(self.started) || self.counting.is_some() {
            return;
        }
        self.counted = Some(self.started);
        let (path, file, rehearsal) = (self.path.clone(), self.about.file.clone(), self.about.rehearsal);
        self.counting = Some(tokio::task::spawn_blocking(move || {
            let count = Book::open_to_read(&path).and_then(|book| book.starts(&file, rehearsal));
            // What cannot be read tells nothing; the writing says what is wrong.
            let figures = count.map(Count::figures).unwrap_or_default();
            let usual = |(device, figures): (String, Figures)| Some((device, figures.usual()?));
            figures.into_iter().filter_map(usual).collect()
        }));
    }

    /// What the wall clock showed at `at`.
    fn stamp(&self, at: Moment, now: Moment) -> Stamp {
        if self.about.rehearsal {
            self.wall.played(at)
        } else {
            self.wall.stamp(at, now)
        }
    }
}

#[cfg(test)]
#[path = "recorder_tests.rs"]
mod tests;

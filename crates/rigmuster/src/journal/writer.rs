//! Writes the journal on a thread of its own, so that a slow disk holds up nobody.
//!
//! What comes in meanwhile waits in bounded room. When the file cannot be written, entries wait
//! and the thread tries again; what finds no room any more is lost, and the journal itself says
//! how many are missing as soon as it is written again.

use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::time::Duration;

use tokio::sync::watch;
use vocab::Moment;

use super::page::{Page, RunHead};
use super::{AsFound, Entry, Stamp, Trouble};

/// Words that may wait to be taken by the thread.
const WAITING: usize = 1_024;
/// Entries that may wait while the file cannot be written: hours of a lively rig.
const KEPT: usize = 8_192;
/// Entries in one commit, at most.
const BATCH: usize = 256;
/// After this long a file that could not be written is tried again.
const AGAIN: Duration = Duration::from_secs(5);
/// So long the end of the program waits for what is still to be written.
const LAST: Duration = Duration::from_secs(3);

/// How the writing goes.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct State {
    /// Why nothing is written at the moment.
    pub trouble: Option<Trouble>,
    /// Entries with numbers up to this one are in the file, or known to be missing there.
    pub committed: u64,
    /// How many are missing.
    pub missing: u64,
    /// The run's number in the file, once it has one.
    pub run: Option<i64>,
}

/// What the thread is told.
#[derive(Debug)]
enum Word {
    Entry(Box<Entry>),
    Found(Box<AsFound>),
    /// The run is alive.
    Sign(Moment, Stamp),
}

/// The writing end. Dropping it ends the thread once all is written.
#[derive(Debug)]
pub struct Writer {
    words: SyncSender<Word>,
    /// The number of the last entry that was handed over.
    last: Arc<AtomicU64>,
    state: watch::Receiver<State>,
    ended: Receiver<()>,
}

impl Writer {
    /// Begins to write a run in the journal at `path`. `make_folder`: the folder is made as well.
    pub fn start(path: PathBuf, make_folder: bool, head: RunHead) -> Self {
        let (words, told) = sync_channel(WAITING);
        let (tell, state) = watch::channel(State::default());
        let (end, ended) = sync_channel(0);
        let last = Arc::new(AtomicU64::new(0));
        let desk = Desk {
            sign: (Moment::ZERO, head.began),
            page: Page::new(path, make_folder, head),
            tell,
            last: Arc::clone(&last),
            entries: VecDeque::new(),
            found: Vec::new(),
            news: true,
            next: 1,
        };
        std::thread::spawn(move || {
            desk.work(&told);
            drop(end);
        });
        Self {
            words,
            last,
            state,
            ended,
        }
    }

    /// Hands over the next entry. Never waits: where there is no room it is lost, which shows in
    /// the numbers of the entries.
    pub fn write(&self, entry: Entry) {
        self.last.store(entry.seq, Ordering::Release);
        self.say(Word::Entry(Box::new(entry)));
    }

    /// Hands over in which state a device was first found. Never waits; `false` where there was no
    /// room.
    pub fn found(&self, found: AsFound) -> bool {
        self.say(Word::Found(Box::new(found)))
    }

    /// Says that the run is alive.
    pub fn sign(&self, now: Moment, wall: Stamp) {
        self.say(Word::Sign(now, wall));
    }

    fn say(&self, word: Word) -> bool {
        self.words.try_send(word).is_ok()
    }

    /// How the writing goes.
    pub fn state(&self) -> State {
        self.state.borrow().clone()
    }

    /// Waits until that changes; for ever once the thread is gone. Dropping the future loses
    /// nothing.
    pub async fn changed(&mut self) -> State {
        if self.state.changed().await.is_err() {
            std::future::pending::<()>().await;
        }
        self.state.borrow_and_update().clone()
    }

    /// Ends the run and waits a bounded time until all is written. Returns how it went, and how
    /// many entries are not in the file.
    pub fn finish(self, now: Moment, wall: Stamp) -> (State, u64) {
        self.sign(now, wall);
        drop(self.words);
        // The thread says nothing; it lets go of its end. What comes later than that is left to it
        // until the process is gone.
        let _ = self.ended.recv_timeout(LAST);
        let state = self.state.borrow().clone();
        let unwritten = self.last.load(Ordering::Acquire).saturating_sub(state.committed);
        let missing = state.missing + unwritten;
        (state, missing)
    }
}

/// What the thread works with.
struct Desk {
    page: Page,
    tell: watch::Sender<State>,
    last: Arc<AtomicU64>,
    /// What is to be written, in order.
    entries: VecDeque<Entry>,
    found: Vec<AsFound>,
    /// The last sign of the run.
    sign: (Moment, Stamp),
    /// Something came in since the last commit.
    news: bool,
    /// The number of the entry that should come next.
    next: u64,
}

impl Desk {
    fn work(mut self, told: &Receiver<Word>) {
        loop {
            let word = if self.write() {
                told.recv().map_err(|_| RecvTimeoutError::Disconnected)
            } else {
                told.recv_timeout(AGAIN)
            };
            match word {
                Ok(word) => {
                    self.take(word);
                    for word in told.try_iter().take(BATCH) {
                        self.take(word);
                    }
                }
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => break,
            }
        }
        self.mark_gap(self.last.load(Ordering::Acquire) + 1);
        if self.write() {
            // What fails here leaves a run that seems to have been cut short.
            let _ = self.page.end();
        }
    }

    fn take(&mut self, word: Word) {
        self.news = true;
        match word {
            Word::Sign(now, wall) => self.sign = (now, wall),
            Word::Found(found) if self.found.len() < KEPT => self.found.push(*found),
            Word::Entry(entry) if self.entries.len() < KEPT => {
                self.sign = (entry.mono, entry.wall);
                self.mark_gap(entry.seq);
                self.next = entry.seq + 1;
                self.entries.push_back(*entry);
            }
            Word::Found(_) | Word::Entry(_) => {}
        }
    }

    /// Says that the entries before number `seq` that never came are missing.
    fn mark_gap(&mut self, seq: u64) {
        if seq > self.next {
            let (now, wall) = self.sign;
            let gap = Entry::gap(self.next, seq - self.next, now, wall);
            self.next = seq;
            self.news = true;
            self.entries.push_back(gap);
        }
    }

    /// Writes what waits. Whether all of it is in the file now.
    fn write(&mut self) -> bool {
        while self.news || !self.entries.is_empty() {
            let batch = self.entries.len().min(BATCH);
            let entries = &self.entries.make_contiguous()[..batch];
            let run = match self.page.write(entries, &self.found, self.sign) {
                Ok(run) => run,
                Err(trouble) => {
                    self.tell.send_if_modified(|state| {
                        let news = state.trouble.as_ref() != Some(&trouble);
                        state.trouble = Some(trouble);
                        news
                    });
                    return false;
                }
            };
            self.news = false;
            self.found.clear();
            let written: Vec<Entry> = self.entries.drain(..batch).collect();
            self.tell.send_modify(|state| {
                state.trouble = None;
                state.run = Some(run);
                for entry in &written {
                    state.committed = entry.last();
                    state.missing += entry.lost();
                }
            });
        }
        true
    }
}

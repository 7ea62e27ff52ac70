//! One run's part of the journal, as it is written.

use std::path::PathBuf;

use rusqlite::{Transaction, TransactionBehavior, params};
use vocab::{Mac, Moment};

use super::book::Book;
use super::{AsFound, Entry, Stamp, Trouble, What, place};

/// What is written of a run at its start.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RunHead {
    /// When it began.
    pub began: Stamp,
    /// The program's version.
    pub version: String,
    /// The rig's title.
    pub title: String,
    /// The rig file, as a whole path; a scene's name in a rehearsal.
    pub file: String,
    /// The interfaces that it goes by.
    pub link: String,
    /// Whether it is the simulated venue.
    pub rehearsal: bool,
}

/// Where a run is written.
#[derive(Debug)]
pub(super) struct Page {
    path: PathBuf,
    make_folder: bool,
    head: RunHead,
    /// The open file; `None` while there is none.
    book: Option<Book>,
    /// The run's number in it.
    run: Option<i64>,
    /// Nothing will ever be written there.
    hopeless: Option<Trouble>,
}

impl Page {
    pub(super) const fn new(path: PathBuf, make_folder: bool, head: RunHead) -> Self {
        Self {
            path,
            make_folder,
            head,
            book: None,
            run: None,
            hopeless: None,
        }
    }

    /// Writes all of it, or nothing, and brings it to the disk. Returns the run's number.
    ///
    /// # Errors
    /// What is in the way. Nothing that was written before is lost.
    pub(super) fn write(
        &mut self,
        entries: &[Entry],
        found: &[AsFound],
        sign: (Moment, Stamp),
    ) -> Result<i64, Trouble> {
        if let Some(trouble) = &self.hopeless {
            return Err(trouble.clone());
        }
        let result = self.commit(entries, found, sign);
        match &result {
            Ok(run) => self.run = Some(*run),
            Err(trouble) => {
                // The next try opens it anew.
                self.book = None;
                self.hopeless = Some(trouble).filter(|t| !t.may_pass()).cloned();
            }
        }
        result
    }

    /// Says that the run ended in order.
    pub(super) fn end(&mut self) -> Result<(), Trouble> {
        if let (Some(book), Some(run)) = (&self.book, self.run) {
            let sql = "UPDATE run SET ended = 1 WHERE id = ?1";
            book.connection
                .execute(sql, [run])
                .map_err(|e| book.trouble(&e))?;
        }
        // The last one out folds the log into the file.
        self.book = None;
        Ok(())
    }

    fn commit(
        &mut self,
        entries: &[Entry],
        found: &[AsFound],
        sign: (Moment, Stamp),
    ) -> Result<i64, Trouble> {
        if !self.path.exists() {
            // Somebody took it away: what is open would be written to nowhere.
            self.book = None;
        }
        if self.book.is_none() {
            if self.make_folder {
                place::make_folder(&self.path)?;
            }
            self.book = Some(Book::open(&self.path)?);
        }
        let Some(book) = &mut self.book else {
            return Err(Trouble::missing(&self.path));
        };
        let (head, run) = (&self.head, self.run);
        let work = |book: &mut Book| {
            let begun = book
                .connection
                .transaction_with_behavior(TransactionBehavior::Immediate)?;
            let run = match run {
                Some(run) if is_ours(&begun, head, run)? => run,
                _ => begin(&begun, head)?,
            };
            for entry in entries {
                put(&begun, run, entry)?;
            }
            for found in found {
                found.put(&begun, head)?;
            }
            let (now, wall) = sign;
            let sql = "UPDATE run SET last_ns = ?2, last_ms = ?3 WHERE id = ?1";
            begun.execute(sql, params![run, nanos(now), wall.ms])?;
            begun.commit()?;
            Ok(run)
        };
        work(book).map_err(|e| book.trouble(&e))
    }
}

fn begin(begun: &Transaction<'_>, head: &RunHead) -> rusqlite::Result<i64> {
    begun.execute(
        "INSERT INTO run (began_ms, offset_s, version, title, file, link, rehearsal, last_ns, last_ms)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, 0, ?1)",
        params![
            head.began.ms,
            head.began.offset_s,
            head.version,
            head.title,
            head.file,
            head.link,
            head.rehearsal
        ],
    )?;
    Ok(begun.last_insert_rowid())
}

/// Whether that run stands in this file: somebody may have put another one in its place.
fn is_ours(begun: &Transaction<'_>, head: &RunHead, run: i64) -> rusqlite::Result<bool> {
    let sql = "SELECT count(*) FROM run WHERE id = ?1 AND began_ms = ?2 AND file = ?3";
    let found: i64 = begun.query_row(sql, params![run, head.began.ms, head.file], |row| row.get(0))?;
    Ok(found > 0)
}

/// Writes an entry; once, however often it is tried.
fn put(begun: &Transaction<'_>, run: i64, entry: &Entry) -> rusqlite::Result<()> {
    let (standing, lost) = match &entry.what {
        What::Standing { to, lost } => (Some(to.as_str()), Some(*lost)),
        _ => (None, None),
    };
    let (finding, severity, began) = match &entry.what {
        What::Finding {
            kind,
            severity,
            began,
        } => (Some(*kind), Some(*severity), Some(*began)),
        What::Ready(ready) => (None, None, Some(*ready)),
        What::Action { began } => (None, None, Some(*began)),
        _ => (None, None, None),
    };
    let (took, steps) = match &entry.what {
        What::Start { took, steps } => (*took, serde_json::to_string(steps).ok()),
        _ => (None, None),
    };
    let macs = entry.macs.iter().map(Mac::to_string);
    begun.execute(
        "INSERT OR IGNORE INTO entry (run, seq, mono_ns, wall_ms, offset_s, kind, devices, standing, finding,
            severity, began, lost, macs, address, text, basis, worse, folded, took_ns, steps)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20)",
        params![
            run,
            i64::try_from(entry.seq).unwrap_or(i64::MAX),
            nanos(entry.mono),
            entry.wall.ms,
            entry.wall.offset_s,
            entry.what.kind(),
            list(entry.devices.iter().cloned()),
            standing,
            finding,
            severity,
            began,
            lost,
            list(macs),
            entry.address.map(|a| a.to_string()),
            entry.text,
            entry.basis,
            entry.worse,
            entry.folded,
            took.map(|took| i64::try_from(took.as_nanos()).unwrap_or(i64::MAX)),
            steps,
        ],
    )?;
    Ok(())
}

fn nanos(moment: Moment) -> i64 {
    i64::try_from(moment.as_nanos()).unwrap_or(i64::MAX)
}

/// A JSON array of strings.
fn list(words: impl Iterator<Item = String>) -> String {
    words.collect::<serde_json::Value>().to_string()
}

//! Takes what is old out of the journal.

use rusqlite::{Connection, TransactionBehavior};

use super::{Book, Trouble};

/// How much is older than a moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Old {
    /// Entries.
    pub entries: u64,
    /// Runs that ended before.
    pub runs: u64,
    /// Devices as they were first found.
    pub found: u64,
}

impl Old {
    /// Whether there is nothing.
    pub const fn is_empty(&self) -> bool {
        self.entries == 0 && self.runs == 0 && self.found == 0
    }
}

const ENTRIES: &str = "entry WHERE wall_ms < ?1";
/// A run that goes on, or of which something is kept, stays.
const RUNS: &str = "run WHERE last_ms < ?1 AND NOT EXISTS
    (SELECT 1 FROM entry WHERE entry.run = run.id AND entry.wall_ms >= ?1)";
const FOUND: &str = "found WHERE wall_ms < ?1";

impl Book {
    /// What is older than `before`, in milliseconds since 1970.
    ///
    /// # Errors
    /// The file is damaged or held.
    pub fn older(&self, before: i64) -> Result<Old, Trouble> {
        count(&self.connection, before).map_err(|e| self.trouble(&e))
    }

    /// Deletes it, and gives the room back to the disk. Returns how much it was.
    ///
    /// # Errors
    /// The file is damaged or held; nothing is deleted then.
    pub fn prune(&mut self, before: i64) -> Result<Old, Trouble> {
        let work = |connection: &mut Connection| {
            let begun = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
            let old = count(&begun, before)?;
            for what in [ENTRIES, RUNS, FOUND] {
                begun.execute(&format!("DELETE FROM {what}"), [before])?;
            }
            begun.commit()?;
            // Pages without content go back to the disk; who reads meanwhile may put that off.
            let mut freed = connection.prepare("PRAGMA incremental_vacuum")?;
            let mut rows = freed.query([])?;
            while rows.next()?.is_some() {}
            Ok(old)
        };
        let done = work(&mut self.connection);
        done.map_err(|e| self.trouble(&e))
    }
}

fn count(connection: &Connection, before: i64) -> rusqlite::Result<Old> {
    let of = |what: &str| {
        let sql = format!("SELECT count(*) FROM {what}");
        let n: i64 = connection.query_row(&sql, [before], |row| row.get(0))?;
        Ok::<u64, rusqlite::Error>(u64::try_from(n).unwrap_or(0))
    };
    Ok(Old {
        entries: of(ENTRIES)?,
        runs: of(RUNS)?,
        found: of(FOUND)?,
    })
}

//! The journal's file: opened, checked, and its tables made.
//!
//! SQLite with a write-ahead log: what was committed survives the end of the program at any
//! moment, and readers do not wait for writers. Every commit is brought to the disk
//! (`synchronous = FULL`), so that it survives a power cut as well: changes are few, and it is a
//! thread of its own that waits.

use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::config::DbConfig;
use rusqlite::{Connection, ErrorCode, OpenFlags, TransactionBehavior};

use super::Trouble;

/// Marks the file as ours (SQLite's `application_id`): "RGMJ".
const OURS: i32 = 0x5247_4d4a;
/// The version of the tables (SQLite's `user_version`).
const VERSION: i32 = 1;
/// How long somebody else may hold the file before we give up for now.
const PATIENCE: Duration = Duration::from_secs(5);

/// Times are UTC in milliseconds since 1970 (`_ms`), with the local offset in seconds (`offset_s`),
/// and nanoseconds since the run began (`_ns`). `devices` and `macs` are JSON arrays of strings.
const TABLES: &str = "
CREATE TABLE run (
    id        INTEGER PRIMARY KEY AUTOINCREMENT,
    began_ms  INTEGER NOT NULL,
    offset_s  INTEGER NOT NULL,
    version   TEXT NOT NULL,
    title     TEXT NOT NULL,
    file      TEXT NOT NULL,
    link      TEXT NOT NULL,
    rehearsal INTEGER NOT NULL,
    last_ns   INTEGER NOT NULL,
    last_ms   INTEGER NOT NULL,
    ended     INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE TABLE entry (
    run       INTEGER NOT NULL REFERENCES run (id) ON DELETE CASCADE,
    seq       INTEGER NOT NULL,
    mono_ns   INTEGER NOT NULL,
    wall_ms   INTEGER NOT NULL,
    offset_s  INTEGER NOT NULL,
    kind      TEXT NOT NULL,
    devices   TEXT NOT NULL,
    standing  TEXT,
    finding   TEXT,
    severity  TEXT,
    began     INTEGER,
    lost      INTEGER,
    macs      TEXT NOT NULL,
    address   TEXT,
    text      TEXT NOT NULL,
    basis     TEXT NOT NULL,
    worse     INTEGER NOT NULL,
    folded    INTEGER NOT NULL,
    took_ns   INTEGER,
    steps     TEXT,
    PRIMARY KEY (run, seq)
) STRICT, WITHOUT ROWID;
CREATE INDEX entry_wall ON entry (wall_ms);
CREATE TABLE found (
    file      TEXT NOT NULL,
    rehearsal INTEGER NOT NULL,
    device    TEXT NOT NULL,
    mac       TEXT NOT NULL,
    title     TEXT NOT NULL,
    wall_ms   INTEGER NOT NULL,
    offset_s  INTEGER NOT NULL,
    address   TEXT NOT NULL,
    mask      TEXT,
    dhcp      INTEGER,
    PRIMARY KEY (file, rehearsal, device, mac)
) STRICT, WITHOUT ROWID;
";

/// An open journal.
#[derive(Debug)]
pub struct Book {
    pub(super) connection: Connection,
    path: PathBuf,
}

impl Book {
    /// Opens the journal at `path` to write, and makes it where there is none.
    ///
    /// # Errors
    /// The file is another program's, of a later version, held, damaged, or the system refuses.
    pub fn open(path: &Path) -> Result<Self, Trouble> {
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
            | OpenFlags::SQLITE_OPEN_CREATE
            | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let mut book = Self::connect(path, flags)?;
        book.prepare().map_err(|e| book.trouble(&e))??;
        Ok(book)
    }

    /// Opens the journal at `path` to read.
    ///
    /// # Errors
    /// The same, and where there is none.
    pub fn open_to_read(path: &Path) -> Result<Self, Trouble> {
        if !path.exists() {
            return Err(Trouble::missing(path));
        }
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let mut book = Self::connect(path, flags)?;
        let mut made = made(&book.connection);
        // What somebody holds he may be changing.
        if made.as_ref().is_err_and(|e| !is_held(e))
            && !log_of(&book.path).exists()
            && let Some(uri) = unchanging(&book.path)
        {
            // Beside a file that nobody may write no log can be kept, and none is there.
            book = Self::connect_by(&uri, &book.path, flags | OpenFlags::SQLITE_OPEN_URI)?;
            made = self::made(&book.connection);
        }
        match made.map_err(|e| book.trouble(&e))? {
            Made::Ours(VERSION) => Ok(book),
            Made::Ours(_) => Err(Trouble::newer(path)),
            Made::Empty => Err(Trouble::missing(path)),
            Made::Other => Err(Trouble::foreign(path)),
        }
    }

    /// What went wrong with this file, in words.
    pub(super) fn trouble(&self, error: &rusqlite::Error) -> Trouble {
        Trouble::of(&self.path, error)
    }

    fn connect(path: &Path, flags: OpenFlags) -> Result<Self, Trouble> {
        // An absolute path is never taken for one of SQLite's special names.
        let path = std::path::absolute(path).map_err(|e| Trouble::folder(path, &e))?;
        Self::connect_by(&path, &path, flags)
    }

    fn connect_by(name: &Path, path: &Path, flags: OpenFlags) -> Result<Self, Trouble> {
        let connection = Connection::open_with_flags(name, flags).map_err(|e| Trouble::of(path, &e))?;
        let path = path.to_owned();
        let book = Self { connection, path };
        let set = || {
            let connection = &book.connection;
            connection.busy_timeout(PATIENCE)?;
            // A file from elsewhere may be made to do harm (SQLite's own advice on untrusted files).
            connection.set_db_config(DbConfig::SQLITE_DBCONFIG_DEFENSIVE, true)?;
            connection.set_db_config(DbConfig::SQLITE_DBCONFIG_TRUSTED_SCHEMA, false)?;
            connection.pragma_update(None, "cell_size_check", true)
        };
        set().map_err(|e| book.trouble(&e))?;
        Ok(book)
    }

    /// Makes what is missing, once, whoever else is about to do the same.
    fn prepare(&mut self) -> rusqlite::Result<Result<(), Trouble>> {
        if made(&self.connection)? == Made::Empty {
            // It holds only if it comes before the first table.
            self.connection
                .pragma_update(None, "auto_vacuum", "INCREMENTAL")?;
        }
        let begun = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        match made(&begun)? {
            Made::Ours(VERSION) => {}
            Made::Ours(_) => return Ok(Err(Trouble::newer(&self.path))),
            Made::Other => return Ok(Err(Trouble::foreign(&self.path))),
            Made::Empty => {
                begun.execute_batch(TABLES)?;
                begun.pragma_update(None, "application_id", OURS)?;
                begun.pragma_update(None, "user_version", VERSION)?;
            }
        }
        begun.commit()?;
        // Only now: another program's database is left as it is.
        let mode: String = self
            .connection
            .pragma_query_value(None, "journal_mode", |row| row.get(0))?;
        if mode != "wal" {
            self.connection.pragma_update(None, "journal_mode", "WAL")?;
        }
        self.connection.pragma_update(None, "synchronous", "FULL")?;
        Ok(Ok(()))
    }
}

/// Who made a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Made {
    /// We, with tables of this version.
    Ours(i32),
    /// Nobody yet.
    Empty,
    /// Somebody else.
    Other,
}

fn made(connection: &Connection) -> rusqlite::Result<Made> {
    let number = |name: &str| connection.pragma_query_value(None, name, |row| row.get(0));
    let (application, version): (i32, i32) = (number("application_id")?, number("user_version")?);
    let tables: i64 = connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
    Ok(match (application, version, tables) {
        (OURS, version, _) => Made::Ours(version),
        (0, 0, 0) => Made::Empty,
        _ => Made::Other,
    })
}

/// Whether somebody else holds the file.
fn is_held(error: &rusqlite::Error) -> bool {
    let code = error.sqlite_error_code();
    matches!(code, Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked))
}

/// The write-ahead log beside a journal.
fn log_of(path: &Path) -> PathBuf {
    let mut log = path.as_os_str().to_owned();
    log.push("-wal");
    log.into()
}

/// The name that tells SQLite that nobody changes the file (its "URI Filenames").
fn unchanging(path: &Path) -> Option<PathBuf> {
    let mut path = path
        .to_str()?
        .replace('%', "%25")
        .replace('?', "%3f")
        .replace('#', "%23");
    if cfg!(windows) {
        path = format!("/{}", path.replace('\\', "/"));
    }
    Some(format!("file:{path}?immutable=1").into())
}

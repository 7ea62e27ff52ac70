//! Why a journal cannot be written or read, and what to do about it.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

use rusqlite::{Error, ErrorCode};

/// What is in the way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trouble {
    /// Where the journal is, or was to be; `None` where not even that is known.
    path: Option<PathBuf>,
    why: Why,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Why {
    /// The system names no folder for the user's data.
    NoFolder,
    /// There is none.
    Missing,
    /// It is no database.
    NoDatabase,
    /// It is another program's database.
    Foreign,
    /// A later version of this program made it.
    Newer,
    /// Somebody else holds it.
    Locked,
    /// It, or its folder, cannot be written or opened.
    Refused(String),
    /// The disk is full.
    Full,
    /// It is damaged.
    Damaged(String),
    /// Anything else.
    Failed(String),
}

impl Trouble {
    pub(crate) const fn no_folder() -> Self {
        Self {
            path: None,
            why: Why::NoFolder,
        }
    }

    pub(crate) fn missing(path: &Path) -> Self {
        Self::at(path, Why::Missing)
    }

    pub(crate) fn foreign(path: &Path) -> Self {
        Self::at(path, Why::Foreign)
    }

    pub(crate) fn newer(path: &Path) -> Self {
        Self::at(path, Why::Newer)
    }

    pub(crate) fn folder(path: &Path, error: &io::Error) -> Self {
        let why = match error.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => Why::Full,
            _ => Why::Refused(error.to_string()),
        };
        Self::at(path, why)
    }

    pub(crate) fn of(path: &Path, error: &Error) -> Self {
        // It may repeat what stands in the file.
        let said = || vocab::Text::clean(&error.to_string()).to_string();
        let why = match error.sqlite_error_code() {
            Some(ErrorCode::NotADatabase) => Why::NoDatabase,
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Why::Locked,
            Some(ErrorCode::DiskFull) => Why::Full,
            Some(ErrorCode::ReadOnly | ErrorCode::CannotOpen | ErrorCode::PermissionDenied) => {
                Why::Refused(said())
            }
            Some(ErrorCode::DatabaseCorrupt) => Why::Damaged(said()),
            Some(_) => Why::Failed(said()),
            // What is read is not what we write.
            None => Why::Damaged(said()),
        };
        Self::at(path, why)
    }

    fn at(path: &Path, why: Why) -> Self {
        Self {
            path: Some(path.to_owned()),
            why,
        }
    }

    /// Whether it may pass by itself or by somebody's doing, so that another try is worth it.
    pub(crate) const fn may_pass(&self) -> bool {
        matches!(
            self.why,
            Why::Locked | Why::Refused(_) | Why::Full | Why::Failed(_)
        )
    }

    /// The one next step.
    pub fn step(&self) -> String {
        let place = self.place();
        match &self.why {
            Why::NoFolder => "Name a file: --journal FILE.".to_owned(),
            Why::Missing => "Name the file with --journal FILE, or let the board write one.".to_owned(),
            Why::NoDatabase | Why::Foreign => "Name another file with --journal FILE.".to_owned(),
            Why::Newer => "Use the newer rigmuster, or name another file with --journal FILE.".to_owned(),
            Why::Locked => format!("Close whatever else holds {place} open."),
            Why::Refused(_) => format!("Look at the permissions of {place} and of its folder."),
            Why::Full => format!("Make room on the disk that holds {place}."),
            Why::Damaged(_) => format!("Move {place} away and keep it: a new one is begun in its place."),
            Why::Failed(_) => format!("Look at the disk that holds {place}."),
        }
    }

    fn place(&self) -> String {
        let shown = |path: &PathBuf| super::shown(path);
        self.path.as_ref().map_or_else(String::new, shown)
    }
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let place = self.place();
        match &self.why {
            Why::NoFolder => f.write_str("the system names no folder for the user's data"),
            Why::Missing => write!(f, "there is no journal at {place}"),
            Why::NoDatabase => write!(f, "{place} is no journal but some other file"),
            Why::Foreign => write!(f, "{place} is the database of another program"),
            Why::Newer => write!(f, "{place} was made by a newer rigmuster"),
            Why::Locked => write!(f, "another program holds {place}"),
            Why::Refused(said) => write!(f, "the system refuses {place} ({said})"),
            Why::Full => write!(f, "the disk that holds {place} is full"),
            Why::Damaged(said) => write!(f, "{place} is damaged ({said})"),
            Why::Failed(said) => write!(f, "{place} failed ({said})"),
        }
    }
}

impl std::error::Error for Trouble {}

//! Reads a venue file.

use std::fmt;
use std::path::{Path, PathBuf};

use rig::{LARGEST_FILE, Problem, Venue, read_venue};

use super::find::shown;
use super::read::{Kind, ReadError, read_bounded};

/// A venue file as a file.
const VENUE: Kind = Kind {
    name: "venue file",
    example: "quay-chapel.venue.toml",
    largest: LARGEST_FILE / (1024 * 1024),
};

/// Why a venue file cannot be used. Each message ends in the next step.
#[derive(Debug)]
pub(crate) enum VenueError {
    /// Its bytes cannot be had.
    Unread(ReadError),
    /// It was read, and has errors.
    Faulty(PathBuf, Vec<Problem>),
}

impl fmt::Display for VenueError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unread(why) => why.fmt(f),
            Self::Faulty(path, errors) => {
                for error in errors {
                    writeln!(f, "{error}\n")?;
                }
                let (mistakes, them) = match errors.len() {
                    1 => ("one mistake".to_owned(), "it"),
                    n => (format!("{n} mistakes"), "them"),
                };
                write!(f, "{} has {mistakes}. Mend {them} and plan again.", shown(path))
            }
        }
    }
}

/// Reads a venue file.
pub(crate) fn load_venue(path: &Path) -> Result<Venue, VenueError> {
    let bytes = read_bounded(path, VENUE).map_err(VenueError::Unread)?;
    let reading = read_venue(&path.display().to_string(), &bytes);
    reading
        .venue
        .ok_or_else(|| VenueError::Faulty(path.to_owned(), reading.errors))
}

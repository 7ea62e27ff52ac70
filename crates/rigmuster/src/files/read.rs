//! The bytes of a file that somebody named, within bounds.

use std::fmt;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use super::find::shown;

/// A kind of file that is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Kind {
    /// What it is called, without an article.
    pub name: &'static str,
    /// What one may be called.
    pub example: &'static str,
    /// The largest that is read, in MiB.
    pub largest: usize,
}

impl Kind {
    const fn bytes(self) -> usize {
        self.largest * 1024 * 1024
    }
}

/// Why a file's bytes cannot be had. Each message ends in the next step.
#[derive(Debug)]
pub struct ReadError {
    /// Where it is.
    pub path: PathBuf,
    /// What it should be.
    pub kind: Kind,
    /// Why not.
    pub why: Why,
}

/// What is in the way.
#[derive(Debug)]
pub enum Why {
    /// There is nothing of that name.
    Missing,
    /// It is a folder.
    Folder,
    /// It is neither a file nor a folder, but a pipe or a device, for instance.
    NotAFile,
    /// The system does not let us read it.
    Unreadable(io::Error),
    /// It is larger than its kind allows; so many bytes.
    TooLarge(u64),
}

impl fmt::Display for ReadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (path, kind) = (shown(&self.path), self.kind);
        match &self.why {
            Why::Missing => {
                write!(
                    f,
                    "there is no file {path}. Check its name and the folder you are in."
                )
            }
            Why::Folder => write!(
                f,
                "{path} is a folder. Name the {} in it, such as {}.",
                kind.name, kind.example
            ),
            Why::NotAFile => write!(
                f,
                "{path} is no regular file. Name a {}, such as {}.",
                kind.name, kind.example
            ),
            Why::Unreadable(reason) if reason.kind() == io::ErrorKind::PermissionDenied => write!(
                f,
                "you may not read {path}. Ask its owner, or make it readable for yourself. (This program gives up \
                 what root may beyond other users; run it as yourself.)"
            ),
            Why::Unreadable(reason) => {
                write!(
                    f,
                    "{path} cannot be read ({reason}). Check the disk or stick it is on."
                )
            }
            Why::TooLarge(bytes) => write!(
                f,
                "{path} has {bytes} bytes, and a {} at most {} ({} MiB). Check that it is the {0}.",
                kind.name,
                kind.bytes(),
                kind.largest
            ),
        }
    }
}

impl std::error::Error for ReadError {}

/// Reads a file that may not be larger than its kind allows. What is no regular file is not opened.
pub fn read_bounded(path: &Path, kind: Kind) -> Result<Vec<u8>, ReadError> {
    let refused = |why| ReadError {
        path: path.to_owned(),
        kind,
        why,
    };
    let failed = |error: io::Error| {
        refused(match error.kind() {
            io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => Why::Missing,
            _ => Why::Unreadable(error),
        })
    };
    // Before it is opened: opening a pipe would wait for a writer.
    let found = std::fs::metadata(path).map_err(failed)?;
    if found.is_dir() {
        return Err(refused(Why::Folder));
    }
    if !found.is_file() {
        return Err(refused(Why::NotAFile));
    }
    let largest = kind.bytes() as u64;
    if found.len() > largest {
        return Err(refused(Why::TooLarge(found.len())));
    }
    let mut bytes = Vec::new();
    // It may have grown since: one byte more than allowed shows it.
    File::open(path)
        .and_then(|file| file.take(largest + 1).read_to_end(&mut bytes))
        .map_err(failed)?;
    if bytes.len() as u64 > largest {
        return Err(refused(Why::TooLarge(bytes.len() as u64)));
    }
    Ok(bytes)
}

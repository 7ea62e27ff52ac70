//! Saves a file all or nothing.
//!
//! The new text is written beside the old file under a name of its own, brought to the disk
//! (fsync), and only then renamed over the old file; then the folder is brought to the disk too.
//! Whenever the power fails, the file is the old or the new one, whole. A save that is killed may
//! leave its `.NAME.PID-N.saving` beside the file: it is never read and may be deleted.

use std::ffi::{OsStr, OsString};
use std::fmt;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};

use super::find::shown;

/// How many names are tried for the file beside.
const NAMES: u32 = 64;

/// Why a file was not saved. The old file is as it was.
#[derive(Debug)]
pub enum SaveError {
    /// There is something of that name that is not a regular file.
    NotAFile(PathBuf),
    /// It is a link that points nowhere.
    Dangling(PathBuf),
    /// It is marked as not to be written.
    Protected(PathBuf),
    /// The system refused.
    Failed {
        /// What was to be saved.
        path: PathBuf,
        /// What was being done.
        step: &'static str,
        /// The system's word.
        reason: io::Error,
    },
    /// The new file is in place and whole, but the system could not promise that a power failure
    /// leaves it there.
    Unsettled {
        /// What was saved.
        path: PathBuf,
        /// The system's word.
        reason: io::Error,
    },
}

impl fmt::Display for SaveError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotAFile(path) => {
                write!(
                    f,
                    "{} is no regular file, so nothing was saved there. Choose another name.",
                    shown(path)
                )
            }
            Self::Dangling(path) => write!(
                f,
                "{} is a link to a file that is gone, so nothing was saved. Mend or remove the link.",
                shown(path)
            ),
            Self::Protected(path) => write!(
                f,
                "{} is write-protected, so nothing was saved. Take the protection off, then save again.",
                shown(path)
            ),
            Self::Failed { path, step, reason } => write!(
                f,
                "{} was not saved, and the old file is untouched: {step} failed ({reason}). Check space and permission in its folder, then save again.",
                shown(path)
            ),
            Self::Unsettled { path, reason } => write!(
                f,
                "{} is saved, but the disk did not confirm it ({reason}). Save again before you cut the power.",
                shown(path)
            ),
        }
    }
}

impl std::error::Error for SaveError {}

/// Puts `text` in place of the file at `path`, or makes it. A link is followed to its file; owner
/// (where the system allows) and permissions stay. Any failure but the last kind leaves the old
/// file as it was and removes the new one.
pub fn save_atomic(path: &Path, text: &str) -> Result<(), SaveError> {
    let failed = |step, reason| SaveError::Failed {
        path: path.to_owned(),
        step,
        reason,
    };
    let target = target(path)?;
    let old = match fs::metadata(&target) {
        Ok(old) if !old.is_file() => return Err(SaveError::NotAFile(path.to_owned())),
        Ok(old) if old.permissions().readonly() => return Err(SaveError::Protected(path.to_owned())),
        Ok(old) => Some(old),
        Err(error) if error.kind() == io::ErrorKind::NotFound => None,
        Err(error) => return Err(failed("looking at it", error)),
    };
    let name = target
        .file_name()
        .ok_or_else(|| SaveError::NotAFile(path.to_owned()))?;
    let folder = match target.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let (mut file, beside) = create_beside(folder, name, old.is_some())
        .map_err(|reason| failed("making the new file beside it", reason))?;
    // From here on the file beside goes away, whatever fails.
    let guard = Guard(Some(beside.clone()));
    file.write_all(text.as_bytes())
        .map_err(|reason| failed("writing", reason))?;
    if let Some(old) = &old {
        keep_rights(&file, old).map_err(|reason| failed("keeping its permissions", reason))?;
    }
    file.sync_all()
        .map_err(|reason| failed("bringing it to the disk", reason))?;
    drop(file);
    fs::rename(&beside, &target).map_err(|reason| failed("putting it in place", reason))?;
    guard.done();
    sync_folder(folder).map_err(|reason| SaveError::Unsettled {
        path: path.to_owned(),
        reason,
    })
}

/// The file that a link points at, or the path itself.
fn target(path: &Path) -> Result<PathBuf, SaveError> {
    match fs::symlink_metadata(path) {
        Ok(kind) if kind.file_type().is_symlink() => fs::canonicalize(path).map_err(|reason| {
            if reason.kind() == io::ErrorKind::NotFound {
                SaveError::Dangling(path.to_owned())
            } else {
                SaveError::Failed {
                    path: path.to_owned(),
                    step: "following the link",
                    reason,
                }
            }
        }),
        _ => Ok(path.to_owned()),
    }
}

/// Makes a new file in the folder; one that is there already, whoever left it, is not touched.
fn create_beside(folder: &Path, name: &OsStr, private: bool) -> io::Result<(File, PathBuf)> {
    static NEXT: AtomicU32 = AtomicU32::new(0);
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    if private {
        // Nobody reads along until it has the permissions of the old file.
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    }
    #[cfg(not(unix))]
    let _ = private;
    let mut last = io::Error::from(io::ErrorKind::AlreadyExists);
    for _ in 0..NAMES {
        let mut beside = OsString::from(".");
        beside.push(name);
        beside.push(format!(
            ".{}-{}.saving",
            std::process::id(),
            NEXT.fetch_add(1, Ordering::Relaxed)
        ));
        let beside = folder.join(beside);
        match options.open(&beside) {
            Ok(file) => return Ok((file, beside)),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => last = error,
            Err(error) => return Err(error),
        }
    }
    Err(last)
}

/// Gives the new file the permissions of the old one, and its owner where the system allows it
/// (only the superuser may give a file to another).
fn keep_rights(file: &File, old: &fs::Metadata) -> io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt;
        // Owner first: changing it takes special bits away. A refusal leaves us as the owner.
        let _ = std::os::unix::fs::fchown(file, Some(old.uid()), Some(old.gid()));
    }
    file.set_permissions(old.permissions())
}

#[cfg(unix)]
fn sync_folder(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

/// Elsewhere folders cannot be opened for this; the rename itself is the promise.
#[cfg(not(unix))]
#[expect(clippy::unnecessary_wraps, reason = "the same shape on all systems")]
fn sync_folder(_folder: &Path) -> io::Result<()> {
    Ok(())
}

/// Removes the file beside unless it found its place.
struct Guard(Option<PathBuf>);

impl Guard {
    fn done(mut self) {
        self.0 = None;
    }
}

impl Drop for Guard {
    fn drop(&mut self) {
        if let Some(beside) = &self.0 {
            // There is nothing better to do with a refusal; the file is never read.
            let _ = fs::remove_file(beside);
        }
    }
}

#[cfg(test)]
mod tests;

//! Where the user's journal lies.
//!
//! Three paths and no more, so the standard library does: on Linux `$XDG_DATA_HOME`, else
//! `~/.local/share` (XDG Base Directory Specification: a relative value is ignored), on macOS
//! `~/Library/Application Support` (Apple's File System Programming Guide), on Windows
//! `%LOCALAPPDATA%`, the data of this user on this machine. The latter two from memory.

use std::env;
use std::path::{Path, PathBuf};

use super::Trouble;

/// The journal in the user's data folder.
///
/// # Errors
/// Where the system names no such folder.
pub fn default_place() -> Result<PathBuf, Trouble> {
    let absolute = |name: &str| env::var_os(name).map(PathBuf::from).filter(|p| p.is_absolute());
    let home = || env::home_dir().filter(|p| p.is_absolute());
    let data = if cfg!(windows) {
        absolute("LOCALAPPDATA").or_else(|| Some(home()?.join("AppData").join("Local")))
    } else if cfg!(target_os = "macos") {
        home().map(|home| home.join("Library").join("Application Support"))
    } else {
        absolute("XDG_DATA_HOME").or_else(|| Some(home()?.join(".local").join("share")))
    };
    let data = data.ok_or_else(Trouble::no_folder)?;
    Ok(data.join("rigmuster").join("journal.db"))
}

/// Makes the folder that the journal lies in. Nobody else reads along (XDG Base Directory
/// Specification: 0700).
///
/// # Errors
/// Where the system refuses.
pub(crate) fn make_folder(journal: &Path) -> Result<(), Trouble> {
    let Some(folder) = journal.parent() else {
        return Ok(());
    };
    let mut maker = std::fs::DirBuilder::new();
    maker.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut maker, 0o700);
    maker.create(folder).map_err(|e| Trouble::folder(folder, &e))
}

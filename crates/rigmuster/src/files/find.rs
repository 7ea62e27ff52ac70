//! The rig file of a folder, where the command line names none.

use std::fmt;
use std::path::{Path, PathBuf};

use vocab::Text;

/// What the name of a rig file ends in.
const ENDING: &str = ".rig.toml";
/// How many entries of a folder are looked at.
const LOOKED_AT: usize = 10_000;
/// How many files an error lists.
const LISTED: usize = 20;

/// Why a folder has no default rig file.
#[derive(Debug)]
pub enum FindError {
    /// There is none.
    None {
        /// Where it was looked for.
        folder: PathBuf,
    },
    /// There are several, sorted by name.
    Several {
        /// All of them.
        files: Vec<PathBuf>,
    },
    /// The folder has too many entries to look through.
    Crowded {
        /// Where it was looked for.
        folder: PathBuf,
    },
    /// The folder cannot be read.
    Unreadable {
        /// Where it was looked for.
        folder: PathBuf,
        /// The system's word.
        reason: std::io::Error,
    },
}

/// A path for a message, cleaned.
pub(super) fn shown(path: &Path) -> Text {
    Text::clean(&path.display().to_string())
}

fn folder_name(folder: &Path) -> Text {
    if folder.as_os_str().is_empty() || folder == Path::new(".") {
        return Text::clean("this folder");
    }
    shown(folder)
}

impl fmt::Display for FindError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::None { folder } => write!(
                f,
                "there is no rig file in {}. Name one, such as harbour-hall{ENDING}, or go to the folder that holds it.",
                folder_name(folder)
            ),
            Self::Several { files } => {
                write!(
                    f,
                    "there are {} rig files here. Name the one you mean:",
                    files.len()
                )?;
                for file in files.iter().take(LISTED) {
                    write!(f, "\n    {}", shown(file))?;
                }
                if files.len() > LISTED {
                    write!(f, "\n    and {} more", files.len() - LISTED)?;
                }
                Ok(())
            }
            Self::Crowded { folder } => write!(
                f,
                "{} holds too many files to look for the rig file. Name it.",
                folder_name(folder)
            ),
            Self::Unreadable { folder, reason } => write!(
                f,
                "the files of {} cannot be listed ({reason}). Name the rig file.",
                folder_name(folder)
            ),
        }
    }
}

impl std::error::Error for FindError {}

/// The one `*.rig.toml` of a folder. None or several are an error that says so and lists them.
pub fn find_default(folder: &Path) -> Result<PathBuf, FindError> {
    let unreadable = |reason| FindError::Unreadable {
        folder: folder.to_owned(),
        reason,
    };
    let place = if folder.as_os_str().is_empty() {
        Path::new(".")
    } else {
        folder
    };
    let mut files = Vec::new();
    for (looked_at, entry) in std::fs::read_dir(place).map_err(unreadable)?.enumerate() {
        if looked_at == LOOKED_AT {
            return Err(FindError::Crowded {
                folder: folder.to_owned(),
            });
        }
        let name = entry.map_err(unreadable)?.file_name();
        let is_named_so = name
            .to_str()
            .is_some_and(|name| name.strip_suffix(ENDING).is_some_and(|stem| !stem.is_empty()));
        let path = folder.join(&name);
        // A link counts as what it points at.
        if is_named_so && path.is_file() {
            files.push(path);
        }
    }
    files.sort();
    match files.as_slice() {
        [] => Err(FindError::None {
            folder: folder.to_owned(),
        }),
        [only] => Ok(only.clone()),
        _ => Err(FindError::Several { files }),
    }
}

#[cfg(test)]
mod tests {
    use super::super::scratch::Scratch;
    use super::*;

    #[test]
    fn exactly_one_is_the_default() {
        let scratch = Scratch::new();
        assert!(matches!(
            find_default(scratch.path()),
            Err(FindError::None { .. })
        ));
        scratch.file("notes.toml", "");
        scratch.file(".rig.toml", "");
        std::fs::create_dir(scratch.path().join("folder.rig.toml")).unwrap();
        assert!(matches!(
            find_default(scratch.path()),
            Err(FindError::None { .. })
        ));
        let hall = scratch.file("hall.rig.toml", "");
        assert_eq!(find_default(scratch.path()).unwrap(), hall);
        scratch.file("annex.rig.toml", "");
        let error = find_default(scratch.path()).unwrap_err().to_string();
        assert!(error.starts_with("there are 2 rig files here"), "{error}");
        assert!(
            error.find("annex.rig.toml").unwrap() < error.find("hall.rig.toml").unwrap(),
            "{error}"
        );
    }

    #[test]
    fn a_missing_folder_is_said_to_be_unreadable() {
        let scratch = Scratch::new();
        let gone = scratch.path().join("gone");
        assert!(matches!(find_default(&gone), Err(FindError::Unreadable { .. })));
    }
}

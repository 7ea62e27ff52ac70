//! Reads a rig file.

use std::fmt;
use std::path::{Path, PathBuf};

use rig::{LARGEST_FILE, Problem, Rig, RigDocument};

use super::find::shown;
use super::read::{Kind, ReadError, read_bounded};

/// A rig file as a file.
const RIG_FILE: Kind = Kind {
    name: "rig file",
    example: "harbour-hall.rig.toml",
    largest: LARGEST_FILE / (1024 * 1024),
};

/// A rig file without errors.
#[derive(Debug, Clone)]
pub struct Loaded {
    /// Where it is.
    pub path: PathBuf,
    /// What it says.
    pub rig: Rig,
    /// Its text, for editing.
    pub document: RigDocument,
    /// What is risky in it.
    pub warnings: Vec<Problem>,
}

/// Why a rig file cannot be used. Each message ends in the next step.
#[derive(Debug)]
pub enum LoadError {
    /// Its bytes cannot be had.
    Unread(ReadError),
    /// It has no content.
    Empty(PathBuf),
    /// It was read, and has errors.
    Faulty {
        /// Where it is.
        path: PathBuf,
        /// Its errors, at least one.
        errors: Vec<Problem>,
        /// What is risky besides.
        warnings: Vec<Problem>,
    },
}

impl fmt::Display for LoadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unread(why) => why.fmt(f),
            Self::Empty(path) => write!(
                f,
                "{} is empty. Take it from a backup, or begin with format = 1, [network] and subnet = \"10.40.8.0/24\".",
                shown(path)
            ),
            Self::Faulty { path, errors, .. } => {
                for error in errors {
                    writeln!(f, "{error}\n")?;
                }
                let (mistakes, them) = if errors.len() == 1 {
                    ("one mistake", "it")
                } else {
                    ("mistakes", "them")
                };
                let count = if errors.len() == 1 {
                    String::new()
                } else {
                    format!("{} ", errors.len())
                };
                write!(
                    f,
                    "{} has {count}{mistakes}. Mend {them} and start again.",
                    shown(path)
                )
            }
        }
    }
}

impl std::error::Error for LoadError {}

/// Reads a rig file, at most [`LARGEST_FILE`] bytes of it.
pub fn load(path: &Path) -> Result<Loaded, LoadError> {
    let owned = || path.to_owned();
    let bytes = read_bounded(path, RIG_FILE).map_err(LoadError::Unread)?;
    if bytes.is_empty() {
        return Err(LoadError::Empty(owned()));
    }
    let reading = rig::read(&path.display().to_string(), &bytes);
    match (reading.rig, reading.document) {
        (Some(rig), Some(document)) => Ok(Loaded {
            path: owned(),
            rig,
            document,
            warnings: reading.warnings,
        }),
        _ => Err(LoadError::Faulty {
            path: owned(),
            errors: reading.errors,
            warnings: reading.warnings,
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::super::read::Why;
    use super::super::scratch::Scratch;
    use super::*;

    const SMALL: &str = "format = 1\n[network]\nsubnet = \"10.40.8.0/24\"\n";

    fn refused(path: &Path) -> (LoadError, String) {
        let error = load(path).unwrap_err();
        let said = error.to_string();
        assert!(said.ends_with('.') || said.ends_with('"'), "{said}");
        (error, said)
    }

    #[test]
    fn a_good_file_comes_whole() {
        let scratch = Scratch::new();
        let text = format!("{SMALL}[[device]]\nname = \"A\"\nrole = \"other\"\naddress = \"dhcp\"\n");
        let loaded = load(&scratch.file("hall.rig.toml", &text)).unwrap();
        assert_eq!(
            (
                loaded.document.text(),
                loaded.rig.devices.len(),
                loaded.warnings.len()
            ),
            (text.as_str(), 1, 1)
        );
    }

    #[test]
    fn what_is_no_rig_file_is_refused_with_its_reason() {
        let scratch = Scratch::new();
        assert!(matches!(
            refused(&scratch.path().join("gone.rig.toml")).0,
            LoadError::Unread(ReadError {
                why: Why::Missing,
                ..
            })
        ));
        let file = scratch.file("hall.rig.toml", SMALL);
        assert!(matches!(
            refused(&file.join("below")).0,
            LoadError::Unread(ReadError {
                why: Why::Missing,
                ..
            })
        ));
        assert!(matches!(
            refused(scratch.path()).0,
            LoadError::Unread(ReadError { why: Why::Folder, .. })
        ));
        assert!(matches!(
            refused(&scratch.file("empty.rig.toml", "")).0,
            LoadError::Empty(_)
        ));
        let large = refused(&scratch.file("large.rig.toml", vec![b'#'; LARGEST_FILE + 1]));
        assert!(
            matches!(large.0, LoadError::Unread(ReadError { why: Why::TooLarge(n), .. }) if n == LARGEST_FILE as u64 + 1)
        );
        let (error, said) =
            refused(&scratch.file("bad.rig.toml", format!("{SMALL}pace = \"fast\"\nx = 1\n")));
        assert!(matches!(error, LoadError::Faulty { errors, .. } if errors.len() == 2));
        assert!(
            said.contains("bad.rig.toml:4:8: ") && said.contains("bad.rig.toml:5:1: "),
            "{said}"
        );
        assert!(
            said.ends_with("has 2 mistakes. Mend them and start again."),
            "{said}"
        );
    }

    #[cfg(unix)]
    #[test]
    fn a_device_file_is_not_opened() {
        assert!(matches!(
            refused(Path::new("/dev/zero")).0,
            LoadError::Unread(ReadError {
                why: Why::NotAFile,
                ..
            })
        ));
    }

    #[cfg(unix)]
    #[test]
    fn a_link_is_followed_and_a_dangling_one_is_missing() {
        let scratch = Scratch::new();
        let file = scratch.file("hall.rig.toml", SMALL);
        let link = scratch.path().join("link.rig.toml");
        std::os::unix::fs::symlink(&file, &link).unwrap();
        assert!(load(&link).is_ok());
        std::fs::remove_file(&file).unwrap();
        assert!(matches!(
            refused(&link).0,
            LoadError::Unread(ReadError {
                why: Why::Missing,
                ..
            })
        ));
    }

    #[test]
    fn names_cannot_write_to_the_terminal() {
        let said = refused(Path::new("a\u{1b}[2Jb\u{202e}c.rig.toml")).1;
        assert!(!said.contains(['\u{1b}', '\u{202e}']), "{said:?}");
    }
}

//! The file that is made or added to.

use std::io;
use std::path::{Path, PathBuf};

use rig::enroll::Draft;
use rig::{Rig, RigDocument};
use vocab::Text;

use crate::Failure;
use crate::args::RigArg;
use crate::files::{self, FindError, LoadError, Loaded, SaveError, Why};

/// What the file would be.
#[derive(Debug)]
pub(super) struct Prepared {
    /// What it is now; empty where it is made.
    pub(super) old: String,
    /// With what the draft takes.
    pub(super) document: RigDocument,
}

/// The file that is made or added to, as it was at the start.
#[derive(Debug)]
pub(super) struct Target {
    path: PathBuf,
    /// What it said; `None` where it is made.
    pub(super) rig: Option<Rig>,
    /// What its reader should know, ready to print.
    pub(super) warnings: Vec<String>,
}

impl Target {
    /// The file that the arguments name, or the folder's only one.
    pub(super) fn find(arg: &RigArg) -> Result<Self, Failure> {
        let path = match &arg.rig {
            Some(path) => path.clone(),
            None => files::find_default(Path::new(".")).map_err(|e| match e {
                FindError::None { .. } => Failure::usage(
                    "there is no rig file here yet, and the new one needs a name\n\
                     next step: name it, such as rigmuster enroll harbour-hall.rig.toml",
                ),
                other => Failure::usage(other),
            })?,
        };
        match files::load(&path) {
            Ok(loaded) => Ok(Self::of(path, Some(loaded))),
            Err(e) if is_missing(&e) => {
                has_folder(&path)?;
                Ok(Self::of(path, None))
            }
            Err(e) => Err(Failure::usage(e)),
        }
    }

    fn of(path: PathBuf, loaded: Option<Loaded>) -> Self {
        let (rig, warnings) = loaded.map_or((None, Vec::new()), |l| {
            (Some(l.rig), l.warnings.iter().map(ToString::to_string).collect())
        });
        Self { path, rig, warnings }
    }

    /// Where it is.
    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    /// The file's name for messages.
    pub(super) fn name(&self) -> String {
        Text::clean(&self.path.display().to_string()).as_str().to_owned()
    }

    /// Reads the file once more, since somebody may have edited or made it meanwhile, and puts what the
    /// draft takes into it.
    ///
    /// # Errors
    /// What stands in the way, one or several lines. Nothing is written then.
    pub(super) fn prepare(&self, draft: &mut Draft) -> Result<Prepared, String> {
        let loaded = match files::load(&self.path) {
            Ok(loaded) => Some(loaded),
            Err(e) if self.rig.is_none() && is_missing(&e) => None,
            Err(e) => return Err(e.to_string()),
        };
        let (rig, old, mut document) = if let Some(loaded) = loaded {
            (
                Some(loaded.rig),
                loaded.document.text().to_owned(),
                loaded.document,
            )
        } else {
            let begun = RigDocument::fresh(&draft.empty(&self.title()));
            (None, String::new(), begun.map_err(|e| e.to_string())?)
        };
        if rig.as_ref() != draft.rig() {
            draft.relist(rig);
        }
        if let Some(fault) = draft.fault() {
            return Err(fault.to_string());
        }
        document.apply(&draft.edits()).map_err(|e| e.to_string())?;
        Ok(Prepared { old, document })
    }

    /// The title of a new file: its name without its ending.
    pub(super) fn title(&self) -> String {
        let name = self.path.file_name().unwrap_or_default().to_string_lossy();
        let stem = name.strip_suffix(".rig.toml").or(name.strip_suffix(".toml"));
        Text::clean(stem.unwrap_or(&name)).as_str().to_owned()
    }

    /// Puts the text in the file's place.
    ///
    /// # Errors
    /// Why it was not saved; the file then is as it was.
    pub(super) fn save(&self, document: &RigDocument) -> Result<(), SaveError> {
        match files::save_atomic(&self.path, document.text()) {
            // The new file is in its place.
            Ok(()) | Err(SaveError::Unsettled { .. }) => Ok(()),
            Err(e) => Err(e),
        }
    }
}

/// Whether there is no file of that name.
const fn is_missing(error: &LoadError) -> bool {
    matches!(error, LoadError::Unread(unread) if matches!(unread.why, Why::Missing))
}

/// A new file's folder must be there before anybody works at what to write.
fn has_folder(path: &Path) -> Result<(), Failure> {
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let refused = |why: &dyn std::fmt::Display| {
        Failure::usage(format_args!(
            "{} cannot be made: {why}\nnext step: name a file in a folder that is there",
            Text::clean(&path.display().to_string())
        ))
    };
    if path.file_name().is_none() {
        return Err(refused(&"that is no file's name"));
    }
    match std::fs::metadata(folder) {
        Ok(found) if found.is_dir() => Ok(()),
        Ok(_) => Err(refused(&"its folder is none")),
        Err(e) if e.kind() == io::ErrorKind::NotFound => Err(refused(&"its folder is not there")),
        Err(e) => Err(refused(&e)),
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;
    use std::net::Ipv4Addr;

    use rig::enroll::{Found, Wire};
    use vocab::{ControlState, Mac};

    use super::*;
    use crate::files::scratch::Scratch;

    const FILE: &str = "# the loft\nformat = 1\n\n[network]\nsubnet = \"10.40.8.0/24\" # ours\n\n\
                        [[device]] # over the door\nname = \"Quay\"\nrole = \"camera\"\naddress = \"10.40.8.21\"\n";

    fn draft(rig: Option<Rig>) -> Draft {
        let wire = Wire {
            subnet: "10.40.8.0/24".parse().unwrap(),
            gateway: Some(Ipv4Addr::new(10, 40, 8, 1)),
            own_macs: BTreeSet::new(),
            own_addresses: BTreeSet::new(),
            servers: BTreeSet::new(),
        };
        let mut draft = Draft::new(rig, wire);
        draft.take_in([22, 23].map(|last| Found {
            mac: Some(Mac::new([2, 0x52, 0x43, 0, 7, last])),
            addresses: vec![Ipv4Addr::new(10, 40, 8, last)],
            control: vec![("visca-udp".parse().unwrap(), ControlState::Answered)],
            ..Found::default()
        }));
        draft
    }

    fn target(path: PathBuf) -> Target {
        let arg = RigArg { rig: Some(path) };
        Target::find(&arg).unwrap()
    }

    #[test]
    fn a_new_file_is_called_after_itself_and_reads_without_a_fault() {
        let scratch = Scratch::new();
        let path = scratch.path().join("sail loft \u{1b}x.rig.toml");
        let target = target(path.clone());
        let document = target.prepare(&mut draft(None)).unwrap().document;
        target.save(&document).unwrap();
        let loaded = files::load(&path).unwrap();
        assert_eq!(loaded.rig.title, "sail loft x");
        assert_eq!(loaded.rig.network.gateway, Some(Ipv4Addr::new(10, 40, 8, 1)));
        assert_eq!(loaded.rig.devices.len(), 2);
        assert!(loaded.warnings.is_empty());
    }

    #[test]
    fn what_somebody_wrote_meanwhile_stays() {
        let scratch = Scratch::new();
        let path = scratch.path().join("loft.rig.toml");
        let new = target(path.clone());
        // Made by somebody else while this one looked.
        scratch.file("loft.rig.toml", FILE);
        let mut rows = draft(None);
        let document = new.prepare(&mut rows).unwrap().document;
        assert!(document.text().starts_with(FILE), "{}", document.text());
        new.save(&document).unwrap();
        // And edited: one of the two is listed by now.
        let old = target(path.clone());
        let rig = old.rig.clone();
        let edited = format!(
            "{FILE}\n[[device]]\nname = \"Ramp\"\nrole = \"camera\"\nmac = \"02:52:43:00:07:16\"\naddress = \"dhcp\"\n"
        );
        scratch.file("loft.rig.toml", &edited);
        let document = old.prepare(&mut draft(rig)).unwrap().document;
        assert!(document.text().starts_with(&edited), "{}", document.text());
        assert_eq!(document.text().matches("02:52:43:00:07:16").count(), 1);
        assert!(document.text().contains("02:52:43:00:07:17"));
    }

    #[test]
    fn a_file_that_is_gone_or_broken_by_then_is_not_made_anew() {
        let scratch = Scratch::new();
        let path = scratch.file("loft.rig.toml", FILE);
        let target = target(path.clone());
        let rig = target.rig.clone();
        scratch.file("loft.rig.toml", "format = ");
        assert!(
            target
                .prepare(&mut draft(rig.clone()))
                .unwrap_err()
                .contains("mistake")
        );
        std::fs::remove_file(&path).unwrap();
        assert!(target.prepare(&mut draft(rig)).unwrap_err().contains("no file"));
    }

    #[test]
    fn a_new_file_needs_a_folder() {
        let scratch = Scratch::new();
        let file = scratch.file("file", "");
        for path in [
            scratch.path().join("gone/loft.rig.toml"),
            file.join("loft.rig.toml"),
            "..".into(),
        ] {
            let refused = Target::find(&RigArg {
                rig: Some(path.clone()),
            })
            .unwrap_err();
            assert_eq!(refused.exit, crate::Exit::Usage, "{}", path.display());
        }
    }
}

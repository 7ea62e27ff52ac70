//! What all commands settle first: the rig, its file, and the ledger's settings.

use std::path::{Path, PathBuf};

use ledger::{Purpose, Settings};
use rig::{Rig, RigDocument};
use vocab::{AddressRange, Pace};

use crate::Failure;
use crate::args::{LinkArgs, RigArg};
use crate::files;

/// The addresses at which devices of the trade leave the factory.
const FACTORY: &str = include_str!("../../../assets/factory-addresses.txt");

/// The rig that a command works on.
#[derive(Debug, Clone)]
pub(crate) struct Expected {
    /// The rig, if there is a file.
    pub rig: Option<Rig>,
    /// Its text, for editing; there exactly if there is a rig.
    pub document: Option<RigDocument>,
    /// Where it was read from, as the user named it.
    pub file: Option<String>,
    /// Where it is; `None` without a file, and for a scene's own.
    pub path: Option<PathBuf>,
    /// What the reader of the file should know, ready to print.
    pub warnings: Vec<String>,
}

impl Expected {
    /// Reads the rig file that the arguments name, or the folder's only one, or the scene's own.
    pub(crate) fn find(arg: &RigArg, link: &LinkArgs, required: bool) -> Result<Self, Failure> {
        if let Some(path) = &arg.rig {
            return Self::read(path);
        }
        if let Some(name) = &link.rehearse {
            let scene = scene(name)?;
            return Self::of_scene(&scene);
        }
        match files::find_default(Path::new(".")) {
            Ok(path) => Self::read(&path),
            Err(files::FindError::None { .. }) if !required => Ok(Self {
                rig: None,
                document: None,
                file: None,
                path: None,
                warnings: Vec::new(),
            }),
            Err(e) => Err(Failure::usage(e)),
        }
    }

    /// Reads the rig file that the argument names, or the folder's only one, for a command on paper.
    pub(crate) fn on_paper(arg: &RigArg) -> Result<(Rig, Self), Failure> {
        let path = match &arg.rig {
            Some(path) => path.clone(),
            None => files::find_default(Path::new(".")).map_err(Failure::usage)?,
        };
        let loaded = files::load(&path).map_err(Failure::usage)?;
        let rig = loaded.rig.clone();
        Ok((rig, Self::of(loaded, &path)))
    }

    /// Reads the rig file at `path`.
    pub(crate) fn read(path: &Path) -> Result<Self, Failure> {
        let loaded = files::load(path).map_err(Failure::usage)?;
        Ok(Self::of(loaded, path))
    }

    fn of(loaded: files::Loaded, path: &Path) -> Self {
        Self {
            rig: Some(loaded.rig),
            document: Some(loaded.document),
            file: Some(shown(path)),
            path: Some(path.to_owned()),
            warnings: loaded.warnings.iter().map(ToString::to_string).collect(),
        }
    }

    /// The rig of a scene.
    pub(crate) fn of_scene(scene: &venue::Scene) -> Result<Self, Failure> {
        let name = format!("{}.rig.toml", scene.name);
        let reading = rig::read(&name, scene.rig.as_bytes());
        let Some(rig) = reading.rig else {
            let errors: Vec<String> = reading.errors.iter().map(ToString::to_string).collect();
            return Err(Failure::fault(format_args!(
                "the scene's own rig file is wrong:\n{}",
                errors.join("\n")
            )));
        };
        let warnings = reading.warnings.iter().map(ToString::to_string).collect();
        Ok(Self {
            rig: Some(rig),
            document: reading.document,
            file: Some(name),
            path: None,
            warnings,
        })
    }

    /// The rig with the paces that hold: the argument's, else each network's own.
    pub(crate) fn paced(&self, link: &LinkArgs) -> Option<Rig> {
        let mut rig = self.rig.clone()?;
        if let Some(pace) = link.pace {
            rig.network.pace = pace;
            for other in &mut rig.others {
                other.pace = pace;
            }
        }
        Some(rig)
    }

    /// The pace that holds on the main network: the argument, else the file's, else the usual one.
    pub(crate) fn pace(&self, link: &LinkArgs) -> Pace {
        link.pace
            .or_else(|| self.rig.as_ref().map(|r| r.network.pace))
            .unwrap_or_default()
    }

    /// The ledgers' settings for this rig. They plan their watching by the paces that really hold.
    pub(crate) fn ledger(&self, purpose: Purpose, link: &LinkArgs) -> Settings {
        Settings {
            rig: self.paced(link),
            subnet: None,
            gateway: None,
            factory: factory_addresses(),
            vendors: crate::vendors::shipped(),
            purpose,
        }
    }
}

/// The scene of that name, or a message that lists them.
pub(crate) fn scene(name: &str) -> Result<venue::Scene, Failure> {
    venue::scene(name).ok_or_else(|| {
        let names: Vec<String> = venue::scenes().iter().map(|s| s.name.to_string()).collect();
        Failure::usage(format_args!(
            "there is no scene {name:?}\nnext step: take one of {}; rigmuster rehearse --list tells what they play",
            names.join(", ")
        ))
    })
}

/// The factory addresses that are shipped with the program.
pub(crate) fn factory_addresses() -> Vec<AddressRange> {
    FACTORY
        .lines()
        .map(str::trim)
        .filter(|line| !line.is_empty() && !line.starts_with('#'))
        .filter_map(|line| line.parse().ok())
        .collect()
}

fn shown(path: &Path) -> String {
    let path: PathBuf = path
        .components()
        .filter(|c| !matches!(c, std::path::Component::CurDir))
        .collect();
    vocab::Text::clean(&path.display().to_string())
        .as_str()
        .to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_line_of_the_factory_list_is_read() {
        let lines = FACTORY
            .lines()
            .filter(|l| !l.trim().is_empty() && !l.starts_with('#'))
            .count();
        assert_eq!(factory_addresses().len(), lines);
        assert!(factory_addresses().iter().map(|r| r.count()).sum::<u64>() >= 19);
    }
}

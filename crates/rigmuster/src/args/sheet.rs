//! The arguments of `sheet`.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use rig::sheet::Kind;

use super::RigArg;

/// Which sheets, and how they are written.
#[derive(Debug, Args)]
pub struct SheetArgs {
    /// The rig file.
    #[command(flatten)]
    pub rig: RigArg,
    /// How it is written
    #[arg(long = "as", value_name = "FORM", default_value = "md")]
    pub form: SheetForm,
    /// Only these parts; default: patch, channels and handover, or with --from the sign-off
    #[arg(long, value_name = "PART", value_delimiter = ',')]
    pub only: Vec<SheetPart>,
    /// The sign-off of this check, saved from check --json
    #[arg(long, value_name = "CHECK.json")]
    pub from: Option<PathBuf>,
    /// The journal that tells how each device was first found; default: the one in the user's data folder
    #[arg(long, value_name = "FILE")]
    pub journal: Option<PathBuf>,
    /// Write it in this file instead of on the screen; asks before it overwrites one
    #[arg(long, value_name = "FILE")]
    pub to: Option<PathBuf>,
    /// Overwrite the file without asking
    #[arg(long, requires = "to")]
    pub yes: bool,
}

/// A form of a sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum SheetForm {
    /// Markdown, readable as it is
    Md,
    /// One HTML file, to be printed on A4 or Letter
    Html,
    /// One JSON object
    Json,
    /// The whole rig as a spreadsheet, from which the same rig can be read back
    Csv,
}

/// A part of a sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum SheetPart {
    /// What is plugged in where, with which address
    Patch,
    /// What each channel of each panel drives
    Channels,
    /// The head count, and how borrowed units were found
    Handover,
    /// A check, to be signed (needs --from)
    Signoff,
}

impl SheetPart {
    /// The same for the sheet.
    pub const fn kind(self) -> Kind {
        match self {
            Self::Patch => Kind::Patch,
            Self::Channels => Kind::Channels,
            Self::Handover => Kind::HandOver,
            Self::Signoff => Kind::SignOff,
        }
    }
}

//! The arguments about the journal.

use std::path::PathBuf;

use clap::Args;
use jiff::SignedDuration;

use crate::journal::when::{End, parse_age, parse_when};
use crate::walltime::WallTime;

/// Where the board keeps its journal.
#[derive(Debug, Args)]
pub struct KeepArgs {
    /// Keep the journal in this file instead of the user's data folder
    #[arg(long, value_name = "FILE")]
    pub journal: Option<PathBuf>,
    /// Keep no journal
    #[arg(long, conflicts_with = "journal")]
    pub no_journal: bool,
}

/// A file to write the journal in.
#[derive(Debug, Args)]
pub struct RecordArgs {
    /// Write what happens in this journal (FILE); without it nothing is written
    #[arg(long, value_name = "FILE")]
    pub journal: Option<PathBuf>,
}

/// What to do with the journal.
#[expect(clippy::struct_excessive_bools, reason = "each is an option of its own")]
#[derive(Debug, Args)]
pub struct JournalArgs {
    /// The journal; default: the one in the user's data folder
    #[arg(long, value_name = "FILE")]
    pub journal: Option<PathBuf>,
    /// Only this rig: its title, or its file
    #[arg(long, value_name = "RIG")]
    pub rig: Option<String>,
    /// Only this device, by its name
    #[arg(long, value_name = "DEVICE")]
    pub device: Option<String>,
    /// Not before: 2h or 3d (so long ago), today, yesterday, 18:30, 2026-11-26, "2026-11-26 18:30",
    /// or a time as RFC 3339 writes it
    #[arg(long, value_name = "TIME", value_parser = since)]
    pub since: Option<Millis>,
    /// Not after; written the same way
    #[arg(long, value_name = "TIME", value_parser = until)]
    pub until: Option<Millis>,
    /// Only this kind: standing, finding, ready, start, cable, action, anew or gap; or one standing or finding by
    /// its word in JSON, such as missing
    #[arg(long, value_name = "KIND")]
    pub kind: Option<String>,
    /// Figures of each device instead of the entries: outages, time lost, how long it takes to start
    #[arg(long, conflicts_with = "kind")]
    pub stats: bool,
    /// The address, mask and DHCP state in which each device was first found
    #[arg(long, conflicts_with_all = ["kind", "stats"])]
    pub as_found: bool,
    /// Print JSON, one object a line
    #[arg(long)]
    pub json: bool,
    /// Print CSV
    #[arg(long, conflicts_with = "json")]
    pub csv: bool,
    /// Delete all that is older than this, such as 90d; asks first
    #[arg(long, value_name = "AGE", value_parser = parse_age,
        conflicts_with_all = ["rig", "device", "since", "until", "kind", "stats", "as_found", "json", "csv"])]
    pub prune: Option<SignedDuration>,
    /// Delete without asking
    #[arg(long, requires = "prune")]
    pub yes: bool,
}

/// A moment on the wall, in milliseconds since 1970.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Millis(pub i64);

fn since(text: &str) -> Result<Millis, String> {
    parse_when(text, &WallTime::now(), End::Since).map(Millis)
}

fn until(text: &str) -> Result<Millis, String> {
    parse_when(text, &WallTime::now(), End::Until).map(Millis)
}

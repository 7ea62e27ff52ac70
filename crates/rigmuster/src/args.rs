//! The command line.

mod budget;
mod compare;
mod deed;
mod enroll;
mod journal;
mod plan;
mod reach;
mod readdress;
mod schema;
mod sheet;
mod walk;
mod wink;

use std::num::NonZeroU32;
use std::path::PathBuf;
use std::str::FromStr;
use std::time::Duration;

use clap::{Args, Parser, Subcommand};
use vocab::{Ipv4Net, Pace};

pub(crate) use self::budget::BudgetArgs;
pub(crate) use self::compare::CompareArgs;
pub(crate) use self::deed::DeedArgs;
pub(crate) use self::enroll::EnrollArgs;
pub(crate) use self::journal::{JournalArgs, KeepArgs, RecordArgs};
pub(crate) use self::plan::{MovesArgs, PlanArgs, Server};
pub(crate) use self::reach::{ControlChoice, ReachArgs};
pub(crate) use self::readdress::ReaddressArgs;
pub(crate) use self::schema::SchemaArgs;
pub(crate) use self::sheet::{SheetArgs, SheetForm, SheetPart};
pub(crate) use self::walk::WalkArgs;
pub(crate) use self::wink::WinkArgs;
use crate::places::parse_place;

/// Takes the head count of a live-video rig: reads a rig file (what should be on the network),
/// looks at the wire (what is), and says for each device whether it is present, missing, on the
/// wrong subnet or in some other trouble, and what to do next.
#[derive(Debug, Parser)]
#[command(
    name = "rigmuster",
    version,
    about = "Takes the head count of a live-video rig on the network",
    long_about = None,
    after_help = "Exit codes: 0 ready or done, 1 not ready (check), 2 wrong usage or a bad file, \
                  3 the link cannot be used, 4 a fault inside, 130 interrupted.\n\
                  rigmuster only asks questions, but for wink and readdress, which ask you first. Ask whoever \
                  runs the venue's network before you use it there."
)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

impl Command {
    /// Whether it may ask a real wire, and not only files and the simulated venue.
    pub(crate) const fn may_ask_a_wire(&self) -> bool {
        !matches!(
            self,
            Self::Rehearse { .. }
                | Self::Compare(_)
                | Self::Journal(_)
                | Self::Budget(_)
                | Self::Sheet(_)
                | Self::Schema(_)
                | Self::Completions { .. }
                | Self::Manual
        )
    }
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Watch the rig on a full screen
    Board {
        #[command(flatten)]
        rig: RigArg,
        #[command(flatten)]
        link: LinkArgs,
        #[command(flatten)]
        look: LookArgs,
        #[command(flatten)]
        keep: KeepArgs,
        #[command(flatten)]
        level: LevelArgs,
        #[command(flatten)]
        moves: MovesArgs,
    },
    /// Take the head count once: ready (exit 0) or not (exit 1), and why
    Check {
        #[command(flatten)]
        rig: RigArg,
        #[command(flatten)]
        link: LinkArgs,
        /// Wait at most this long for the rig to be ready, such as 30s or 2m
        #[arg(long, value_name = "TIME", value_parser = parse_span, default_value = "30s")]
        within: Duration,
        /// Print one JSON object instead of the table
        #[arg(long)]
        json: bool,
        #[command(flatten)]
        record: RecordArgs,
    },
    /// Look once at everything on the wire, with or without a rig file
    Survey {
        #[command(flatten)]
        rig: RigArg,
        #[command(flatten)]
        link: LinkArgs,
        #[command(flatten)]
        far: FarArgs,
        /// End after this long at the latest; without it, when the pass and 3 s of listening are over
        #[arg(long, value_name = "TIME", value_parser = parse_span)]
        within: Option<Duration>,
        /// Print one JSON object instead of the table
        #[arg(long)]
        json: bool,
    },
    /// Make a rig file from what is on the wire, or add to one: each proposal is confirmed on a full screen
    Enroll(EnrollArgs),
    /// Open the board on a simulated venue: no network, no permission, no device needed
    Rehearse {
        /// The scene to play; see --list
        #[arg(value_name = "SCENE", default_value = "calm")]
        scene: String,
        /// List the scenes and end
        #[arg(long)]
        list: bool,
        /// The seed of everything that is left to chance in the scene
        #[arg(long, value_name = "NUMBER", default_value_t = 1)]
        seed: u64,
        #[command(flatten)]
        look: LookArgs,
        #[command(flatten)]
        record: RecordArgs,
    },
    /// Tell what is different between two rig files, or a rig file and a saved check
    Compare(CompareArgs),
    /// Plan addresses: who gets which, in what order the devices move, and what the crew has to do
    ///
    /// The wire is asked which addresses are in use only with --link, --rehearse, --from-offer or --free.
    /// Nothing is written without --write or --moves-to.
    Plan(Box<PlanArgs>),
    /// Read what happened: every change that the board has seen, with figures of each device
    Journal(JournalArgs),
    /// Sum up power, ports, cables and streams of the rig's switches, from the rig file alone
    Budget(BudgetArgs),
    /// Write the sheets that the crew needs: patch, channels, hand-over, and the sign-off of a check
    Sheet(SheetArgs),
    /// Open one device in your own browser or control software, also on a foreign subnet
    Reach(ReachArgs),
    /// Have a camera show itself: its tally lamp goes on and off, or its head moves a little and back; asks first
    Wink(WinkArgs),
    /// Give one device its address by ONVIF, or the devices of a work list one after the other; asks first
    Readdress(Box<ReaddressArgs>),
    /// Prove which head each channel of a panel drives: push its stick, and the heads are asked where they point
    Walk(WalkArgs),
    /// Print the JSON Schema of the rig file or of what a command prints as JSON
    Schema(SchemaArgs),
    /// Print a completion script for a shell
    Completions {
        /// Which shell
        shell: clap_complete::Shell,
    },
    /// Print the manual page (roff)
    Manual,
}

/// The rig file.
#[derive(Debug, Args)]
pub struct RigArg {
    /// The rig file (NAME.rig.toml); where this folder holds exactly one, it is the default
    #[arg(value_name = "RIG")]
    pub rig: Option<PathBuf>,
}

/// How to reach the wire.
#[derive(Debug, Args)]
pub struct LinkArgs {
    /// The network interface; default: the one whose address lies in the rig's subnet, else the
    /// wired one with the default route. For another network of the rig: NAME=INTERFACE; may be
    /// repeated
    #[arg(long, value_name = "[NAME=]INTERFACE")]
    pub link: Vec<LinkChoice>,
    /// Play a scene of the simulated venue instead of using a link
    #[arg(long, value_name = "SCENE", conflicts_with_all = ["link", "unprivileged"])]
    pub rehearse: Option<String>,
    /// The seed of what is left to chance in that scene
    #[arg(long, value_name = "NUMBER", default_value_t = 1, requires = "rehearse")]
    pub seed: u64,
    /// Send nothing at all, only listen
    #[arg(long)]
    pub listen_only: bool,
    /// How fast to ask: own, house, max, or a number of frames per second; default: as the rig file says
    #[arg(long, value_name = "PACE", value_parser = parse_pace)]
    pub pace: Option<Pace>,
    /// Go without permission for whole frames: own subnet only, clashes and other hardware unseen
    #[arg(long)]
    pub unprivileged: bool,
}

/// How much the board sends at first; `l` changes it.
#[derive(Debug, Args)]
pub struct LevelArgs {
    /// Only watch: one question a second to each device of the rig; no control ports, no sweep, no DHCP
    #[arg(long, conflicts_with = "listen_only")]
    pub watch_only: bool,
}

/// An interface for a network of the rig.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LinkChoice {
    /// The network's name, if one was given.
    network: Option<String>,
    /// The interface's name in the operating system.
    pub interface: String,
}

impl LinkChoice {
    /// The network that it is for; the main one where none was named.
    pub fn network(&self) -> &str {
        self.network.as_deref().unwrap_or(rig::Network::MAIN)
    }
}

impl FromStr for LinkChoice {
    type Err = &'static str;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let (network, interface) = match text.split_once('=') {
            Some((network, interface)) => (Some(network.to_owned()), interface),
            None => (None, text),
        };
        if interface.is_empty() || network.as_ref().is_some_and(String::is_empty) {
            return Err("write an interface such as eth0, or NAME=INTERFACE for another network of the rig");
        }
        Ok(Self {
            network,
            interface: interface.to_owned(),
        })
    }
}

/// How far to look.
#[derive(Debug, Args)]
pub struct FarArgs {
    /// Then search other networks on this wire too: those around addresses that were heard, around
    /// factory addresses, all of 192.168.0.0/16 and 169.254.0.0/16; an interrupt keeps the finds
    #[arg(long)]
    pub far: bool,
    /// Then search this range instead of the usual ones, such as 172.16.0.0/12; may be repeated
    #[arg(long = "in", value_name = "CIDR", value_parser = parse_place)]
    pub places: Vec<Ipv4Net>,
}

/// How the screen looks.
#[derive(Debug, Args)]
pub struct LookArgs {
    /// Draw with plain ASCII characters only
    #[arg(long)]
    pub ascii: bool,
    /// Ring the terminal's bell when something changes for the worse (off: the laptop may be on
    /// the loudspeakers)
    #[arg(long)]
    pub bell: bool,
}

/// Reads a time such as `30s`, `2m`, `1m30s`, `500ms` or `1h`.
fn parse_span(text: &str) -> Result<Duration, String> {
    const HELP: &str = "a time is written 30s, 2m, 1m30s or 500ms";
    const LONGEST: Duration = Duration::from_hours(24);
    let mut total = Duration::ZERO;
    let mut rest = text.trim();
    if rest.is_empty() {
        return Err(HELP.into());
    }
    while !rest.is_empty() {
        let digits = rest.bytes().take_while(u8::is_ascii_digit).count();
        let (number, tail) = rest.split_at(digits);
        let letters = tail.bytes().take_while(u8::is_ascii_alphabetic).count();
        let (unit, tail) = tail.split_at(letters);
        let number: u64 = number.parse().map_err(|_| HELP)?;
        let millis = match unit {
            "ms" => 1,
            "s" => 1_000,
            "m" => 60_000,
            "h" => 3_600_000,
            _ => return Err(HELP.into()),
        };
        let part = number
            .checked_mul(millis)
            .map(Duration::from_millis)
            .ok_or(HELP)?;
        total = total.checked_add(part).ok_or(HELP)?;
        rest = tail;
    }
    if total.is_zero() || total > LONGEST {
        return Err("the time must be above zero and at most 24h".into());
    }
    Ok(total)
}

/// Reads a pace word or number.
fn parse_pace(text: &str) -> Result<Pace, String> {
    match text {
        "own" => Ok(Pace::Own),
        "house" => Ok(Pace::House),
        "max" => Ok(Pace::Max),
        _ => text
            .parse::<NonZeroU32>()
            .map(Pace::PerSecond)
            .map_err(|_| "a pace is own, house, max, or a number of frames per second from 1 up".into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_command_line_is_well_formed() {
        Cli::command().debug_assert();
    }

    #[test]
    fn times_are_read_in_all_their_forms() {
        assert_eq!(parse_span("30s"), Ok(Duration::from_secs(30)));
        assert_eq!(parse_span("1m30s"), Ok(Duration::from_secs(90)));
        assert_eq!(parse_span("500ms"), Ok(Duration::from_millis(500)));
        for bad in [
            "",
            "0s",
            "30",
            "s",
            "-1s",
            "1d",
            "99999999999999999999s",
            "25h",
            "1.5s",
        ] {
            assert!(parse_span(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn paces_are_words_or_numbers() {
        assert_eq!(parse_pace("own"), Ok(Pace::Own));
        assert_eq!(
            parse_pace("25"),
            Ok(Pace::PerSecond(NonZeroU32::new(25).unwrap()))
        );
        for bad in ["0", "fast", "-1", ""] {
            assert!(parse_pace(bad).is_err(), "{bad}");
        }
    }
}

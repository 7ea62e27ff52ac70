//! The gate that every deed passes: whether anything may be done at all, and to whom.

use vocab::{Level, Mac, Mode};

use super::whom::{Place, Sight};
use crate::Failure;

/// A deed, as the user calls it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Deed {
    /// Opens a device in the user's own programs.
    Reach,
    /// Switches a lamp on and off.
    Wink,
    /// Proves the channel map of a panel.
    Walk,
    /// Gives a device its address.
    Readdress,
}

impl Deed {
    /// The word of the command line.
    pub(crate) const fn verb(self) -> &'static str {
        match self {
            Self::Reach => "reach",
            Self::Wink => "wink",
            Self::Walk => "walk",
            Self::Readdress => "readdress",
        }
    }
}

/// Why nothing may be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Forbidden {
    /// The show lock is on, at this level.
    Locked(Level),
    /// The link gives no whole frames.
    NoFrames,
}

/// Whether anything may be done to a device while so much is sent, by this means.
///
/// # Errors
/// Why not.
pub(crate) fn may(level: Level, mode: Mode) -> Result<(), Forbidden> {
    match level {
        Level::All if mode.sees_frames() => Ok(()),
        Level::All => Err(Forbidden::NoFrames),
        Level::Watch | Level::Silent => Err(Forbidden::Locked(level)),
    }
}

impl Forbidden {
    /// What the command line says of it.
    pub(crate) fn at_a_command(self, deed: Deed) -> Failure {
        let verb = deed.verb();
        match self {
            Self::Locked(_) => Failure::usage(format_args!(
                "{verb} speaks with a device, and --listen-only forbids to send anything: nothing was done\n\
                 next step: leave --listen-only out, once the show allows it"
            )),
            Self::NoFrames => Failure::link(format_args!(
                "{verb} needs whole frames, and this link gives none\n\
                 next step: leave --unprivileged out; what permission that needs is told then"
            )),
        }
    }

    /// What the board says of it, in one line.
    pub(crate) fn on_the_board(self, deed: Deed) -> String {
        let verb = deed.verb();
        match self {
            Self::Locked(_) => {
                format!("The show lock is on: no {verb} now -> key l, once the show allows it.")
            }
            Self::NoFrames => {
                format!("No {verb}: this link sees no whole frames -> begin without --unprivileged.")
            }
        }
    }
}

/// Where whoever is meant is; `None` while that is not known.
///
/// # Errors
/// It must be said more clearly who is meant: several hold the address, or other hardware does.
pub(crate) fn admit(deed: Deed, sight: Sight) -> Result<Option<Place>, Failure> {
    let verb = deed.verb();
    match sight {
        Sight::Nothing => Ok(None),
        Sight::There(place) => Ok(Some(place)),
        Sight::Several(address, macs) => {
            let all: Vec<String> = macs.iter().map(Mac::to_string).collect();
            let first = all.first().map_or("", String::as_str);
            Err(Failure::usage(format_args!(
                "{address} is held by {} at once: {}\n\
                 next step: choose one by its MAC, such as rigmuster {verb} {first}",
                all.len(),
                all.join(" and "),
            )))
        }
        Sight::Other(name, mac) => {
            let instead = match deed {
                Deed::Reach => "open",
                Deed::Wink | Deed::Walk | Deed::Readdress => "take",
            };
            Err(Failure::usage(format_args!(
                "the address of {name} is held by {mac}, which is not its hardware, and its own is not seen\n\
                 next step: to {instead} that unit instead, name it by its MAC: rigmuster {verb} {mac}"
            )))
        }
    }
}

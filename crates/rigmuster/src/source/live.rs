//! Opening a real link.

use std::fmt::Write as _;

use link::{Clock, Live, OpenError, OpenHow};
use rig::Rig;
use sweep::{Config, Dialing, Driver, Scanner};
use vocab::{Pace, Station};

use crate::Failure;
use crate::args::LinkArgs;

/// Why the link cannot be used, and the one step that mends it.
fn refused(error: &OpenError) -> Failure {
    let program = std::env::current_exe().unwrap_or_else(|_| "rigmuster".into());
    let mut message = error.to_string();
    if let Some(advice) = error.advice(&program) {
        let _ = write!(message, "\nnext step: {advice}");
    }
    if matches!(error, OpenError::NoPermission { .. }) {
        message.push_str(
            "\nor go on with less: add --unprivileged (own subnet only; clashes and foreign addresses stay unseen)",
        );
    }
    Failure::link(message)
}

/// Chooses and opens the interface and puts the scanner on it. Must be called inside the runtime.
/// Nothing is sent, nor any group joined, before `fits` has agreed to what the interface is.
pub fn open_live(
    rig: Option<&Rig>,
    args: &LinkArgs,
    pace: Pace,
    clock: Clock,
    fits: impl FnOnce(&Station) -> Result<(), Failure>,
) -> Result<Driver, Failure> {
    let interfaces = link::interfaces().map_err(|e| {
        Failure::link(format_args!(
            "this computer's network interfaces cannot be listed: {e}"
        ))
    })?;
    let subnet = rig.map(|r| r.network.subnet);
    let name = link::choose(&interfaces, subnet, args.link.as_deref()).map_err(Failure::link)?;
    let how = if args.unprivileged {
        OpenHow::Unprivileged
    } else {
        OpenHow::Raw
    };
    let live = Live::open(&name, how).map_err(|e| refused(&e))?;
    fits(live.station())?;
    let seed = u64::from(std::process::id());
    let mode = live.mode();
    let scanner = Scanner::new(Config {
        pace,
        listen_only: args.listen_only,
        mode,
        dialing: Dialing::Os,
        seed,
    });
    Ok(Driver::new(live, scanner, clock))
}

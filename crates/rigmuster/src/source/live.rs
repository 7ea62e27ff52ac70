//! Opening a real link.

use link::{Clock, Live, OpenHow};
use rig::Rig;
use sweep::{Config, Dialing, Driver, Scanner};
use vocab::Pace;

use crate::Failure;
use crate::args::LinkArgs;

/// Chooses and opens the interface and puts the scanner on it. Must be called inside the runtime.
pub fn open_live(rig: Option<&Rig>, args: &LinkArgs, pace: Pace, clock: Clock) -> Result<Driver, Failure> {
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
    let live = Live::open(&name, how).map_err(Failure::link)?;
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

//! Opening real links.

use std::fmt::Write as _;

use link::{Clock, Live, OpenError, OpenHow};
use rig::{Reach, Rig};
use sweep::{Config, Dialing, Driver, Scanner};
use vocab::Station;

use super::{Drivers, Net, links};
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

/// Chooses and opens an interface for each network and puts a scanner on it, the main one first.
/// Must be called inside the runtime. Nothing is sent, nor any group joined, before `fits` has
/// agreed to what the main interface is and all are open.
pub(crate) fn open_live(
    rig: Option<&Rig>,
    args: &LinkArgs,
    nets: &[Net],
    clock: Clock,
    fits: impl FnOnce(&Station) -> Result<(), Failure>,
) -> Result<Drivers, Failure> {
    let interfaces = link::interfaces().map_err(|e| {
        Failure::link(format_args!(
            "this computer's network interfaces cannot be listed: {e}"
        ))
    })?;
    let links = links::assign(rig, &args.link, &interfaces)?;
    let how = if args.unprivileged {
        OpenHow::Unprivileged
    } else {
        OpenHow::Raw
    };
    if nets.len() > link::MOST_NETWORKS {
        return Err(Failure::usage(format_args!(
            "the rig has {} networks, and at most {} can be asked at once\n\
             next step: write several rig files, and check one after the other",
            nets.len(),
            link::MOST_NETWORKS
        )));
    }
    let main = links.first().map_or("", |(_, interface)| interface.as_str());
    let mut opened = Vec::new();
    for net in nets {
        let link = links.iter().find(|(name, _)| *name == net.name);
        let live = match (net.reach, net.subnet, link) {
            (Reach::Routed, Some(subnet), _) => Live::open_routed(subnet, main),
            (_, _, Some((_, interface))) => Live::open(interface, how),
            // `assign` gives an interface to every network on a wire.
            (_, _, None) => return Err(Failure::fault(format_args!("{} has no link", net.name))),
        };
        opened.push((net, live.map_err(|e| refused(&e))?));
    }
    link::close_spare();
    if let Some((_, main)) = opened.first() {
        fits(main.station())?;
    }
    let drivers = opened.into_iter().map(|(net, live)| {
        let scanner = Scanner::new(Config {
            pace: net.pace,
            listen_only: args.listen_only,
            mode: live.mode(),
            dialing: Dialing::Os,
            seed: u64::from(std::process::id()),
        });
        Driver::new(live, scanner, clock)
    });
    Drivers::new(drivers).ok_or_else(|| Failure::fault("there is no network to ask"))
}

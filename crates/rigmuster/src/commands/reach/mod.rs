//! `reach`: one device in the user's own browser or control software, wherever its address is.

mod find;
mod plan;
mod say;
mod stand;
mod whom;

use std::time::Duration;

use ledger::Purpose;
use rig::Rig;
use vocab::{ControlPort, ControlWord, Mode};

use self::find::{Found, find};
use self::whom::{Place, Whom};
use super::interrupt::Interrupt;
use super::open::{Run, Tempo, open_without};
use crate::args::{LinkArgs, ReachArgs, RigArg};
use crate::journal;
use crate::settings::Expected;
use crate::tunnel::Wanted;
use crate::{Exit, Failure};

/// What a device is asked for beside what the rig file lists: its page.
const PAGES: [ControlWord; 2] = [ControlWord::Http, ControlWord::Https];
/// What a stranger is asked for besides.
const USUAL: [ControlWord; 3] = [ControlWord::ViscaUdp, ControlWord::ViscaTcp, ControlWord::Rtsp];

/// Finds the device, and carries its control ports until it is interrupted.
pub(super) async fn reach(args: ReachArgs) -> Result<Exit, Failure> {
    may(&args.link)?;
    let rig = RigArg {
        rig: args.rig.clone(),
    };
    let expected = Expected::find(&rig, &args.link, false)?;
    super::print_warnings(&expected.warnings);
    let whom = Whom::read(&args.host, expected.rig.as_ref())?;
    if args.dry_run {
        let ports = ports(&args, expected.rig.as_ref(), known_name(&whom));
        super::print(&plan::text(&args, &expected, &whom, &ports))?;
        return Ok(Exit::Done);
    }
    // Without a subnet of its own the device may be where its address says.
    let mut run = open_without(&expected, &args.link, Purpose::Check, Tempo::Real, true)?;
    needs_frames(run.source.mode())?;
    let mut interrupt =
        Interrupt::listen().map_err(|e| Failure::fault(format_args!("signals cannot be caught: {e}")))?;
    let place = match find(&mut run, &whom, args.within, &mut interrupt).await? {
        Found::There(place) => place,
        Found::Interrupted => return Ok(Exit::Interrupted),
        Found::Nowhere => {
            say::nowhere(&whom, args.within);
            return Ok(Exit::NotReady);
        }
    };
    let ports = ports(&args, expected.rig.as_ref(), place.name.as_deref());
    let leg = leg(&run, &place);
    if is_near(&run, leg, &place) && !place.shared && !run.simulated {
        say::near(&place, &ports, args.open)?;
        return Ok(Exit::Done);
    }
    let at = match &args.keep.journal {
        Some(file) => journal::Place::At(file.clone()),
        // What is only played does not belong among what happened.
        None if args.keep.no_journal || run.simulated => journal::Place::Nowhere,
        None => journal::Place::Usual,
    };
    let journal = run.record(at, &expected);
    stand::stand(&mut run, &args, (leg, place), ports, journal, interrupt).await
}

/// Whether it may be done at all.
fn may(link: &LinkArgs) -> Result<(), Failure> {
    if link.listen_only {
        return Err(Failure::usage(
            "reach speaks with a device, and --listen-only forbids to send anything: nothing was done\n\
             next step: leave --listen-only out, once the show allows it",
        ));
    }
    if link.unprivileged {
        return needs_frames(Mode::Unprivileged);
    }
    Ok(())
}

fn needs_frames(mode: Mode) -> Result<(), Failure> {
    if mode.sees_frames() {
        return Ok(());
    }
    Err(Failure::link(
        "reach needs whole frames, and this link gives none\n\
         next step: leave --unprivileged out; what permission that needs is told then",
    ))
}

fn known_name(whom: &Whom) -> Option<&str> {
    match whom {
        Whom::Device(name) => Some(name),
        Whom::Address(_) | Whom::Mac(_) => None,
    }
}

/// The control ports to carry, each transport's port once.
fn ports(args: &ReachArgs, rig: Option<&Rig>, name: Option<&str>) -> Vec<Wanted> {
    let usual = |word: ControlWord| {
        let port = word.usual_port()?;
        Some(ControlPort { word, port })
    };
    let listed = rig
        .zip(name)
        .and_then(|(rig, name)| rig.devices.iter().find(|d| d.name == name));
    let wanted: Vec<Wanted> = if args.control.is_empty() {
        let of_file = listed.into_iter().flat_map(|d| d.control.iter().copied());
        let others = USUAL.into_iter().filter(|_| listed.is_none());
        // A page comes first, since that is what most want.
        let all = PAGES.into_iter().filter_map(usual).chain(of_file);
        all.chain(others.filter_map(usual))
            .map(|port| Wanted { port, local: None })
            .collect()
    } else {
        let wanted = |c: &crate::args::ControlChoice| Wanted {
            port: c.port,
            local: c.local,
        };
        args.control.iter().map(wanted).collect()
    };
    let mut once: Vec<Wanted> = Vec::new();
    for one in wanted {
        let same =
            |o: &Wanted| (o.port.word.is_udp(), o.port.port) == (one.port.word.is_udp(), one.port.port);
        if !once.iter().any(same) {
            once.push(one);
        }
    }
    once
}

/// The place of its network among the run's.
fn leg(run: &Run, place: &Place) -> usize {
    let mut networks = run.ledger.networks();
    let named = place.network.as_deref();
    networks
        .position(|name| named.is_some() && name == named)
        .unwrap_or(0)
}

/// Whether this computer has an address in its subnet.
fn is_near(run: &Run, leg: usize, place: &Place) -> bool {
    let station = run.source.station(leg);
    station.is_some_and(|s| s.addresses.iter().any(|net| net.contains(&place.address)))
}

/// So often the line of figures is written anew.
const FIGURES_EVERY: Duration = Duration::from_millis(500);

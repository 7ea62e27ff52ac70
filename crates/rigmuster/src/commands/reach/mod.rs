//! `reach`: one device in the user's own browser or control software, wherever its address is.

mod doors;
mod plan;
mod say;
mod stand;

use std::time::Duration;

pub(super) use doors::{Show, doors, near};

use rig::Rig;
use vocab::{ControlPort, ControlWord};

use self::stand::How;
use super::deed::{self, Found, find};
use super::interrupt::Interrupt;
use super::open::Run;
use crate::args::{ControlChoice, DeedArgs, ReachArgs};
use crate::hands::{Deed, Place, Whom};
use crate::settings::Expected;
use crate::tunnel::Wanted;
use crate::{Exit, Failure};

/// What a device is asked for beside what the rig file lists: its page.
const PAGES: [ControlWord; 2] = [ControlWord::Http, ControlWord::Https];
/// What a stranger is asked for besides.
const USUAL: [ControlWord; 3] = [ControlWord::ViscaUdp, ControlWord::ViscaTcp, ControlWord::Rtsp];

/// Finds the device, and carries its control ports until it is interrupted.
pub(super) async fn reach(args: ReachArgs) -> Result<Exit, Failure> {
    let expected = deed::prepare(Deed::Reach, &args.deed)?;
    let whom = Whom::read(&args.host, expected.rig.as_ref())?;
    if args.deed.dry_run {
        let ports = ports(&args.control, expected.rig.as_ref(), whom.name());
        super::print(&plan::text(&args, &expected, &whom, &ports))?;
        return Ok(Exit::Done);
    }
    let mut run = deed::open(Deed::Reach, &args.deed, &expected)?;
    let mut interrupt = deed::signals()?;
    let place = match find(Deed::Reach, &mut run, &whom, args.deed.within, &mut interrupt).await? {
        Found::There(place) => place,
        Found::Interrupted => return Ok(Exit::Interrupted),
        Found::Nowhere => {
            deed::nowhere(&whom, args.deed.within, "nothing was opened");
            return Ok(Exit::NotReady);
        }
    };
    let how = How {
        open: args.open,
        span: args.span,
    };
    let (run, args, expected) = (&mut run, (&args.deed, args.control.as_slice()), &expected);
    carry(run, args, expected, place, how, interrupt).await
}

/// The same for a device that another command has found, until somebody ends it; its page opens in the browser.
pub(super) async fn open_page(
    run: &mut Run,
    args: &DeedArgs,
    expected: &Expected,
    place: Place,
) -> Result<Exit, Failure> {
    let how = How {
        open: true,
        span: None,
    };
    carry(run, (args, &[]), expected, place, how, deed::signals()?).await
}

async fn carry(
    run: &mut Run,
    (args, control): (&DeedArgs, &[ControlChoice]),
    expected: &Expected,
    place: Place,
    how: How,
    interrupt: Interrupt,
) -> Result<Exit, Failure> {
    let ports = ports(control, expected.rig.as_ref(), place.name.as_deref());
    if is_near(run, &place) && !place.shared && !run.simulated {
        say::near(&place, &ports, how.open)?;
        return Ok(Exit::Done);
    }
    let journal = deed::record(args, run, expected);
    stand::stand(run, how, place, ports, journal, interrupt).await
}

/// The control ports to carry, each transport's port once.
fn ports(control: &[ControlChoice], rig: Option<&Rig>, name: Option<&str>) -> Vec<Wanted> {
    if control.is_empty() {
        return usual(rig, name);
    }
    let wanted = |c: &ControlChoice| Wanted {
        port: c.port,
        local: c.local,
    };
    once(control.iter().map(wanted))
}

/// Those of the device of that name in the rig file, or the usual ones, each at any free loopback port.
pub(super) fn usual(rig: Option<&Rig>, name: Option<&str>) -> Vec<Wanted> {
    let at_its_port = |word: ControlWord| {
        let port = word.usual_port()?;
        Some(ControlPort { word, port })
    };
    let listed = rig
        .zip(name)
        .and_then(|(rig, name)| rig.devices.iter().find(|d| d.name == name));
    let of_file = listed.into_iter().flat_map(|d| d.control.iter().copied());
    let others = USUAL.into_iter().filter(|_| listed.is_none());
    // A page comes first, since that is what most want.
    let all = PAGES.into_iter().filter_map(at_its_port).chain(of_file);
    let all = all.chain(others.filter_map(at_its_port));
    once(all.map(|port| Wanted { port, local: None }))
}

/// Each transport's port once.
fn once(wanted: impl Iterator<Item = Wanted>) -> Vec<Wanted> {
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

/// Whether this computer has an address in its subnet.
fn is_near(run: &Run, place: &Place) -> bool {
    let station = run.source.station(place.leg);
    station.is_some_and(|s| s.addresses.iter().any(|net| net.contains(&place.address)))
}

/// So often the line of figures is written anew.
const FIGURES_EVERY: Duration = Duration::from_millis(500);

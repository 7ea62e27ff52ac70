//! `wink`: which camera is it?

use super::deed::{self, Found, find};
use crate::args::WinkArgs;
use crate::hands::wink::{self, By};
use crate::hands::{Deed, Whom};
use crate::settings::Expected;
use crate::{Exit, Failure};

/// Finds the camera, asks, and has it show itself.
pub(super) async fn wink(args: WinkArgs) -> Result<Exit, Failure> {
    let expected = deed::prepare(Deed::Wink, &args.deed)?;
    let whom = Whom::read(&args.host, expected.rig.as_ref())?;
    let by = if args.nudge { By::Head } else { By::Lamp(args.span) };
    if args.deed.dry_run {
        let ports = ports(&args, &expected, whom.name());
        super::print(&wink::plan(&whom.to_string(), &ports, by))?;
        return Ok(Exit::Done);
    }
    let mut run = deed::open(Deed::Wink, &args.deed, &expected)?;
    let mut interrupt = deed::signals()?;
    let place = match find(Deed::Wink, &mut run, &whom, args.deed.within, &mut interrupt).await? {
        Found::There(place) => place,
        Found::Interrupted => return Ok(Exit::Interrupted),
        Found::Nowhere => {
            deed::nowhere(&whom, args.deed.within, "nothing was sent to it");
            return Ok(Exit::NotReady);
        }
    };
    let ports = ports(&args, &expected, place.name.as_deref());
    deed::warn_of_forwarding(&run, place.leg);
    let journal = deed::record(&args.deed, &run, &expected);
    deed::carry_out(Deed::Wink, &mut run, journal, interrupt, |desk, talk| {
        wink::wink(desk, talk, place, ports, by)
    })
    .await
}

fn ports(args: &WinkArgs, expected: &Expected, name: Option<&str>) -> Vec<vocab::ControlPort> {
    if let Some(port) = args.control {
        return vec![port];
    }
    let listed = expected
        .rig
        .as_ref()
        .zip(name)
        .and_then(|(rig, name)| rig.devices.iter().find(|d| d.name == name));
    wink::ports(listed.map(|d| d.control.as_slice()))
}

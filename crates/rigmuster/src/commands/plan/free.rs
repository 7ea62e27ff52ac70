//! `plan --free`: an address that nobody has.

use std::collections::BTreeMap;
use std::net::Ipv4Addr;

use rig::plan::{Dhcp, free as candidates};
use rig::{AddressSpec, AskWhen, Device, How, Need, Network, Rig, Role};

use super::look::Look;
use super::no_text;
use super::target::Target;
use crate::args::PlanArgs;
use crate::report::plan::Free;
use crate::settings::Expected;
use crate::{Exit, Failure};

/// How many addresses are asked side by side: one may be somebody's who was silent in the first pass.
const SIDE_BY_SIDE: usize = 4;

/// Looks who is there, asks addresses that seem free until it is certain, and prints one of them.
pub(super) async fn free(
    args: &PlanArgs,
    expected: &Expected,
    rig: &Rig,
    target: &mut Target,
) -> Result<Exit, Failure> {
    // In the hall that is meant, the rig is where the plan would have it.
    let first = target.plan(rig, &[], Dhcp::Keep)?;
    let (there, _) = super::edited(expected.document.as_ref().ok_or_else(no_text)?, &first)?;
    let Some(mut look) = Look::around(&args.link, expected, there.clone()).await? else {
        return Ok(Exit::Interrupted);
    };
    let addresses = candidates(&there, &target.hall, &look.held(), SIDE_BY_SIDE).map_err(Failure::usage)?;
    let main = target.hall.main().ok_or_else(no_text)?;
    let mut asked = there;
    let names: Vec<String> = addresses.iter().map(|a| nobody(*a, &mut asked)).collect();
    let Some(found) = look.first_missing(&asked, &names).await? else {
        return Ok(Exit::Interrupted);
    };
    let Some(address) = found.and_then(|n| addresses.get(n)) else {
        return Err(Failure::link(format_args!(
            "no address of {} could be shown to be free: somebody answers at {}, or the link does not carry\n\
             next step: look who answers for so many (rigmuster survey), or ask the network's keeper",
            main.subnet,
            list(&addresses)
        )));
    };
    let by = look.run.source.names().join(" ");
    let at = look.run.wall.rfc3339(look.run.source.now());
    let free = Free::new(*address, main, by, at);
    if args.json {
        let text = serde_json::to_string_pretty(&free)
            .map_err(|e| Failure::fault(format_args!("the result could not be written as JSON: {e}")))?;
        super::super::print(&(text + "\n"))?;
    } else {
        super::super::print(&free.text())?;
    }
    Ok(Exit::Done)
}

fn list(addresses: &[Ipv4Addr]) -> String {
    let all: Vec<String> = addresses.iter().map(ToString::to_string).collect();
    all.join(", ")
}

/// Puts nobody at the address, so that it is asked as often as a device of the rig. Returns the name.
fn nobody(address: Ipv4Addr, rig: &mut Rig) -> String {
    // No file can have it: names begin with no blank.
    let name = format!(" nobody at {address}");
    rig.devices.push(Device {
        name: name.clone(),
        role: Role::Other,
        macs: Vec::new(),
        address: AddressSpec::Fixed(address),
        network: Network::MAIN.to_owned(),
        how: How::Static,
        control: Vec::new(),
        ask: AskWhen::Never,
        need: Need::Later,
        sleeps: false,
        port: None,
        cable_m: None,
        power: None,
        stream_mbps: None,
        boot: Device::usual_boot(Role::Other),
        login: None,
        position: None,
        note: None,
        used_by: Vec::new(),
        channels: BTreeMap::new(),
    });
    name
}

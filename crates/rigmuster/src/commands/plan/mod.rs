//! `plan`: who gets which address, and what the crew has to do for it.

mod free;
mod look;
mod seen;
mod target;
mod write;

use rig::plan::{Dhcp, Held, Planned, Stay, Why, dnsmasq, reservations};
use rig::{Rig, RigDocument};

use crate::args::{PlanArgs, Server};
use crate::moves::MovesFile;
use crate::report::Paint;
use crate::report::plan::{Outcome, PlanReport, diff, kea, text};
use crate::settings::Expected;
use crate::{Exit, Failure, files};
use look::Look;
use target::Target;

/// Plans, prints the plan, and writes what was asked for.
pub(super) async fn plan(args: PlanArgs) -> Result<Exit, Failure> {
    let expected = Expected::find(&args.rig, &args.link, true)?;
    super::print_warnings(&expected.warnings);
    let (Some(rig), Some(document)) = (&expected.rig, &expected.document) else {
        return Err(Failure::fault("there is no rig to plan"));
    };
    let Some(mut target) = Target::find(&args, &expected, rig).await? else {
        return Ok(Exit::Interrupted);
    };
    if args.free {
        return free::free(&args, &expected, rig, &mut target).await;
    }
    let dhcp = if args.keep_dhcp { Dhcp::Keep } else { Dhcp::Fix };
    let mut notes = Vec::new();
    let Some(held) = taken(&args, &expected, rig, &mut target, dhcp, &mut notes).await? else {
        return Ok(Exit::Interrupted);
    };
    let planned = target.plan(rig, &held, dhcp)?;
    notes.splice(0..0, target.notes.iter().cloned());
    notes.extend(swapped(rig, &planned));
    let (new_rig, new) = edited(document, &planned)?;
    let file = expected.file.as_deref().unwrap_or_default();
    let change = diff(file, document.text(), new.text());
    let touring = args.touring || args.venue.is_some();
    let outcome = Outcome {
        rig,
        file,
        hall: &target.hall,
        planned: &planned,
        stay: if touring { Stay::Touring } else { Stay::Fixed },
        notes: &notes,
        diff: &change,
    };
    if args.reservations.is_some() {
        super::print_warnings(&unreserved(&new_rig));
    }
    match args.reservations {
        Some(Server::Dnsmasq) => super::print(&dnsmasq(&new_rig))?,
        Some(Server::Kea) => super::print(&kea(&target.hall, &reservations(&new_rig)))?,
        None if args.json => {
            let text = serde_json::to_string_pretty(&PlanReport::new(&outcome))
                .map_err(|e| Failure::fault(format_args!("the plan could not be written as JSON: {e}")))?;
            super::print(&(text + "\n"))?;
        }
        None => super::print(&text(&outcome, Paint::of_stdout()))?,
    }
    if let Some(path) = &args.moves_to {
        let text = MovesFile::new(&planned.work).text()?;
        files::save_atomic(path, &text).map_err(Failure::usage)?;
    }
    if args.write {
        write::write(&expected, document, &new, args.yes)?;
    }
    Ok(Exit::Done)
}

/// The addresses that are in use, by whatever the user names: the wire, a saved survey, or nothing.
async fn taken(
    args: &PlanArgs,
    expected: &Expected,
    rig: &Rig,
    target: &mut Target,
    dhcp: Dhcp,
    notes: &mut Vec<String>,
) -> Result<Option<Vec<Held>>, Failure> {
    if let Some(path) = &args.seen {
        return seen::read(path, notes).map(Some);
    }
    if !args.asks_wire() {
        notes.push(
            "the wire was not asked, so nobody knows which addresses others have; --link, --rehearse or --seen tells."
                .to_owned(),
        );
        return Ok(Some(Vec::new()));
    }
    // Whoever has an address in the new subnet is asked there: by the plan as it would be on an empty wire.
    let first = target.plan(rig, &[], dhcp)?;
    let (there, _) = edited(expected.document.as_ref().ok_or_else(no_text)?, &first)?;
    let Some(look) = Look::around(&args.link, expected, there).await? else {
        return Ok(None);
    };
    notes.extend(look.notes());
    Ok(Some(look.held()))
}

/// Devices that no DHCP server can know.
fn unreserved(rig: &Rig) -> Vec<String> {
    let devices = rig.devices.iter();
    let nameless = devices.filter(|d| d.macs.is_empty() && d.fixed_address().is_some());
    let names: Vec<&str> = nameless.map(|device| device.name.as_str()).collect();
    if names.is_empty() {
        return Vec::new();
    }
    vec![format!(
        "rigmuster: not reserved, because the rig file gives no mac: {}",
        names.join(", ")
    )]
}

/// Devices that move because other hardware has their address: it may be theirs.
fn swapped(rig: &Rig, planned: &Planned) -> Vec<String> {
    let taken = planned.placed.iter().filter_map(|one| match one.why {
        Why::Taken(Some(mac)) => Some((&rig.devices[one.device], mac)),
        _ => None,
    });
    taken
        .map(|(device, mac)| {
            format!(
                "{mac} is at the address of {}. If the unit was swapped, put {mac} in the rig file as its mac and \
                 plan again.",
                device.name
            )
        })
        .collect()
}

/// The rig file as the plan has it.
fn edited(document: &RigDocument, planned: &Planned) -> Result<(Rig, RigDocument), Failure> {
    let mut new = document.clone();
    let rig = new.apply(&planned.edits).map_err(|e| {
        Failure::usage(format_args!(
            "the plan does not go into the rig file: {e}\nnext step: mend what it names, then plan again"
        ))
    })?;
    Ok((rig, new))
}

fn no_text() -> Failure {
    Failure::fault("the rig has no text to edit")
}

/// All that stands in the way of a plan.
fn refused(troubles: &[rig::plan::Trouble]) -> Failure {
    let all: Vec<String> = troubles.iter().map(ToString::to_string).collect();
    Failure::usage(all.join("\n"))
}

impl PlanArgs {
    /// Whether the wire, or a simulated one, is to be asked which addresses are in use.
    fn asks_wire(&self) -> bool {
        let link = &self.link;
        let how = link.unprivileged || link.listen_only || link.pace.is_some();
        !link.link.is_empty() || link.rehearse.is_some() || how || self.from_offer || self.free
    }
}

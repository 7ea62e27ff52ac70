//! `survey`: one look at the whole wire.

use std::time::Duration;

use ledger::Purpose;
use vocab::Moment;

use super::check::{count, result};
use super::open::{Tempo, open};
use crate::args::{LinkArgs, RigArg};
use crate::settings::Expected;
use crate::{Exit, Failure};

/// How long it listens on after its pass is over.
const LISTEN: Duration = Duration::from_secs(3);

/// Goes through the subnet once, listens a little longer and to the end of the time for DHCP offers,
/// and prints what is there.
pub(super) async fn survey(
    rig: RigArg,
    link: LinkArgs,
    within: Option<Duration>,
    json: bool,
) -> Result<Exit, Failure> {
    let expected = Expected::find(&rig, &link, false)?;
    super::print_warnings(&expected.warnings);
    let mut run = open(&expected, &link, Purpose::Survey, Tempo::Jump)?;
    let vendors = run.look_for_vendors();
    let deadline = within.map(|span| run.source.now() + span);
    // With nothing to send there is no pass: listening is all.
    let mut end: Option<Moment> = link.listen_only.then(|| run.source.now() + LISTEN);
    let whole = count(&mut run, deadline, |ledger, now| {
        if end.is_none() && ledger.pass_complete() {
            end = Some(now + LISTEN);
        }
        end.filter(|_| !ledger.awaits_offers(now))
    })
    .await?;
    if !whole {
        return Ok(Exit::Interrupted);
    }
    if let Some(vendors) = vendors.end().await {
        run.ledger.set_vendors(vendors);
    }
    let snapshot = run.ledger.snapshot(run.source.now());
    result(&run, &snapshot, &expected, json, None)?;
    Ok(Exit::Done)
}

//! `--yes`: takes every host that proved a control service, without a screen.

use std::fmt::Display;
use std::io::{self, Write};

use rig::enroll::Draft;

use super::target::Target;
use super::{look, seen};
use crate::args::EnrollArgs;
use crate::commands::check::{count, interrupted};
use crate::commands::open::Tempo;
use crate::commands::{print, print_warnings};
use crate::report::enrolled;
use crate::{Exit, Failure};

/// Looks, takes, writes, and tells what it took and what not.
pub(super) async fn take(args: &EnrollArgs, target: Target) -> Result<Exit, Failure> {
    print_warnings(&target.warnings);
    let draft = match &args.seen {
        Some(file) => Some(seen::draft(file, &target)?),
        None => look(args, &target).await?,
    };
    let Some(mut draft) = draft else {
        return Ok(Exit::Interrupted);
    };
    let prepared = target.prepare(&mut draft).map_err(not_written)?;
    let edits = draft.edits();
    let text = enrolled(&draft, &target.name());
    if !edits.is_empty() {
        target.save(&prepared.document).map_err(not_written)?;
    }
    print(&text)?;
    let file = target.name();
    let played = args.link.rehearse.as_ref();
    let played = played.map_or_else(String::new, |scene| format!(" --rehearse {scene}"));
    let told = if edits.is_empty() {
        "nothing is new, so nothing was written".to_owned()
    } else {
        format!("written: {file}\nnext step: read it through, then rigmuster check {file}{played}")
    };
    let _ = writeln!(io::stderr(), "rigmuster: {told}");
    Ok(Exit::Done)
}

/// Looks at the wire until enough was seen. `None` if it was interrupted.
async fn look(args: &EnrollArgs, target: &Target) -> Result<Option<Draft>, Failure> {
    let mut run = look::begin(args, target, Tempo::Jump)?;
    let vendors = run.look_for_vendors();
    let deadline = args.within.map(|span| run.source.now() + span);
    let mut enough = look::Enough::new(args, run.source.now());
    if !count(&mut run, deadline, |ledger, now| enough.at(ledger, now)).await? {
        interrupted(&run, "nothing was written");
        return Ok(None);
    }
    if let Some(vendors) = vendors.end().await {
        run.ledger.set_vendors(&vendors);
    }
    Ok(Some(look::draft(&run, target)))
}

fn not_written(why: impl Display) -> Failure {
    Failure::usage(format_args!("nothing was written: {why}"))
}

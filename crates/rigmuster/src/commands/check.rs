//! `check`: the head count once.

use std::io::{self, Write};
use std::time::Duration;

use ledger::{Muster, Purpose};
use vocab::Moment;

use super::interrupt::Interrupt;
use super::open::{Run, Tempo, open};
use crate::args::{LinkArgs, RecordArgs, RigArg};
use crate::journal::Place;
use crate::report::{Paint, Progress, Report, dated, table};
use crate::settings::Expected;
use crate::source::exchange;
use crate::{Exit, Failure};

/// Waits until the rig is ready or the time is over, and prints the verdict.
pub(super) async fn check(
    rig: RigArg,
    link: LinkArgs,
    within: Duration,
    json: bool,
    record: RecordArgs,
) -> Result<Exit, Failure> {
    let expected = Expected::find(&rig, &link, true)?;
    super::print_warnings(&expected.warnings);
    let mut run = open(&expected, &link, Purpose::Check, Tempo::Jump)?;
    let place = record.journal.map_or(Place::Nowhere, Place::At);
    let journal = run.record(place, &expected);
    let vendors = run.look_for_vendors();
    let deadline = run.source.now() + within;
    let ready = |ledger: &mut Muster, now| ledger.ready().then_some(now);
    let whole = count(&mut run, Some(deadline), ready).await?;
    run.close(journal);
    if !whole {
        interrupted(&run, "nothing was decided");
        return Ok(Exit::Interrupted);
    }
    if let Some(vendors) = vendors.end().await {
        run.ledger.set_vendors(&vendors);
    }
    let snapshot = run.ledger.snapshot(run.source.now());
    result(&run, &snapshot, &expected, json, Some(snapshot.ready))?;
    Ok(if snapshot.ready {
        Exit::Done
    } else {
        Exit::NotReady
    })
}

/// Goes on until the moment that `enough` names, or the deadline. False when it was interrupted.
pub(super) async fn count(
    run: &mut Run,
    deadline: Option<Moment>,
    mut enough: impl FnMut(&mut Muster, Moment) -> Option<Moment>,
) -> Result<bool, Failure> {
    let mut interrupt =
        Interrupt::listen().map_err(|e| Failure::fault(format_args!("signals cannot be caught: {e}")))?;
    let mut progress = Progress::new(run.source.now());
    loop {
        exchange(&mut run.source, &mut run.ledger);
        let now = run.source.now();
        let end = [deadline, enough(&mut run.ledger, now)]
            .into_iter()
            .flatten()
            .min();
        if end.is_some_and(|at| now >= at) {
            progress.clear();
            return Ok(true);
        }
        progress.show(now, deadline.map(|at| at.since(now)), || run.ledger.snapshot(now));
        let until = [end, run.ledger.next_wake(), progress.next_wake()]
            .into_iter()
            .flatten()
            .min();
        tokio::select! {
            biased;
            () = interrupt.wait() => {
                progress.clear();
                return Ok(false);
            }
            () = run.source.turn(until) => {}
        }
    }
}

/// Says that it was interrupted, when, and what that means.
pub(super) fn interrupted(run: &Run, so: &str) {
    let passed = run.source.now().as_millis() as f64 / 1000.0;
    let _ = writeln!(io::stderr(), "rigmuster: interrupted after {passed:.1} s; {so}");
}

/// Prints a snapshot as the table or as JSON.
pub(super) fn result(
    run: &Run,
    snapshot: &ledger::Snapshot,
    expected: &Expected,
    json: bool,
    ready: Option<bool>,
) -> Result<(), Failure> {
    let taken_at = run.wall.rfc3339(snapshot.at);
    let snapshot = &dated(snapshot.clone(), |moment| run.wall.time_of_day(moment));
    if json {
        let report = Report::new(snapshot, expected.file.as_deref(), taken_at, ready);
        return super::print_json(&report);
    }
    super::print(&table(snapshot, &taken_at, Paint::of_stdout()))
}

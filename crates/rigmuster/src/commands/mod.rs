//! One file a command.

mod accept;
mod agree;
mod board;
mod budget;
mod check;
mod compare;
mod deed;
mod enroll;
mod generate;
mod interrupt;
mod journal;
mod open;
mod plan;
mod reach;
mod readdress;
mod rehearse;
mod schema;
mod sheet;
mod survey;
mod walk;
mod wink;

use std::future::Future;
use std::io::{self, Write};
use std::panic::{AssertUnwindSafe, catch_unwind};

use crate::args::{Cli, Command};
use crate::report::escape;
use crate::{Exit, Failure};

/// Runs what the command line asks for.
///
/// # Errors
/// A [`Failure`] carries the exit code and the message for the person.
pub(crate) fn run(cli: Cli) -> Result<Exit, Failure> {
    // A panic has printed where it happened; the exit code then says that the fault is ours.
    catch_unwind(AssertUnwindSafe(|| dispatch(cli))).unwrap_or_else(|_| {
        Err(Failure::fault(
            "a fault inside ended the program; the lines above say where. Nothing was changed",
        ))
    })
}

fn dispatch(cli: Cli) -> Result<Exit, Failure> {
    // Before anything is read, and before there is another thread or a runtime.
    link::give_up_rights(cli.command.may_ask_a_wire()).map_err(|e| {
        Failure::fault(format_args!(
            "the rights of this program could not be given up: {e}"
        ))
    })?;
    match cli.command {
        Command::Board {
            rig,
            link,
            look,
            keep,
            level,
            moves,
        } => block_on(board::board(rig, link, look, keep, level, moves)),
        Command::Check {
            rig,
            link,
            within,
            json,
            record,
        } => block_on(check::check(rig, link, within, json, record)),
        Command::Survey {
            rig,
            link,
            far,
            within,
            json,
        } => block_on(survey::survey(rig, link, far, within, json)),
        Command::Enroll(args) => block_on(enroll::enroll(args)),
        Command::Rehearse { list: true, .. } => rehearse::list(),
        Command::Rehearse {
            scene,
            seed,
            look,
            record,
            ..
        } => block_on(rehearse::rehearse(scene, seed, look, record)),
        Command::Compare(args) => compare::compare(&args),
        Command::Plan(args) => block_on(plan::plan(*args)),
        Command::Journal(args) => journal::journal(&args),
        Command::Budget(args) => budget::budget(&args),
        Command::Sheet(args) => sheet::sheet(&args),
        Command::Reach(args) => block_on(reach::reach(args)),
        Command::Wink(args) => block_on(wink::wink(args)),
        Command::Readdress(args) => block_on(readdress::readdress(*args)),
        Command::Walk(args) => block_on(walk::walk(args)),
        Command::Schema(args) => schema::schema(&args),
        Command::Completions { shell } => generate::completions(shell),
        Command::Manual => generate::manual(),
    }
}

/// One thread is enough: the work is waiting.
fn block_on(work: impl Future<Output = Result<Exit, Failure>>) -> Result<Exit, Failure> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|e| Failure::fault(format_args!("the runtime could not be started: {e}")))?;
    let result = runtime.block_on(work);
    // Dials that still wait for a silent device must not hold up the end.
    runtime.shutdown_background();
    result
}

/// Writes a whole result to standard output. A reader that has gone away is no fault: the exit
/// code still tells the verdict.
fn print(text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(e) if e.kind() != io::ErrorKind::BrokenPipe => Err(Failure::output(&e)),
        _ => Ok(()),
    }
}

/// Writes one JSON object to standard output.
fn print_json(object: &impl serde::Serialize) -> Result<(), Failure> {
    print(&json(object)?)
}

/// One JSON object as text.
fn json(object: &impl serde::Serialize) -> Result<String, Failure> {
    let text = serde_json::to_string_pretty(object)
        .map_err(|e| Failure::fault(format_args!("the result could not be written as JSON: {e}")))?;
    Ok(escape::json_text(&text) + "\n")
}

/// Tells the reader of a rig file what it warns of, on standard error.
fn print_warnings(warnings: &[String]) {
    let mut err = io::stderr().lock();
    for warning in warnings {
        let _ = writeln!(err, "{warning}");
    }
}

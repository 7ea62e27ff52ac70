//! What all commands share that act on a device, and the terminal as the host of a deed.

mod board;
mod find;
mod terminal;

use std::io::{self, IsTerminal, Write};
use std::time::Duration;

use ::board::span;
use ledger::Purpose;
use vocab::{Level, Mode};

pub(super) use self::board::Hands;
pub(super) use self::find::{Found, find};
use self::terminal::{Heard, Terminal};
use super::interrupt::Interrupt;
use super::open::{Run, Tempo, open_without};
use crate::args::{DeedArgs, RigArg};
use crate::hands::{Deed, Desk, Doing, End, Host, Stop, Talk, Whom, may};
use crate::journal::{self, Recorder};
use crate::settings::Expected;
use crate::{Exit, Failure};

/// The first half of the gate, and what is expected: to be called before anything else.
///
/// # Errors
/// Nothing may be done, or the rig file cannot be read.
pub(super) fn prepare(deed: Deed, args: &DeedArgs) -> Result<Expected, Failure> {
    let level = if args.link.listen_only {
        Level::Silent
    } else {
        Level::All
    };
    let mode = if args.link.unprivileged {
        Mode::Unprivileged
    } else {
        Mode::Raw
    };
    may(level, mode).map_err(|why| why.at_a_command(deed))?;
    let rig = RigArg {
        rig: args.rig.clone(),
    };
    let expected = Expected::find(&rig, &args.link, false)?;
    super::print_warnings(&expected.warnings);
    Ok(expected)
}

/// Opens the link, without a subnet of its own too: the device may be where its address says.
///
/// # Errors
/// It cannot be opened, or gives no whole frames.
pub(super) fn open(deed: Deed, args: &DeedArgs, expected: &Expected) -> Result<Run, Failure> {
    let run = open_without(expected, &args.link, Purpose::Deed, Tempo::Real, true)?;
    may(Level::All, run.source.mode()).map_err(|why| why.at_a_command(deed))?;
    Ok(run)
}

/// Begins the journal of what is done.
pub(super) fn record(args: &DeedArgs, run: &Run, expected: &Expected) -> Recorder {
    let at = match &args.keep.journal {
        Some(file) => journal::Place::At(file.clone()),
        // What is only played does not belong among what happened.
        None if args.keep.no_journal || run.simulated => journal::Place::Nowhere,
        None => journal::Place::Usual,
    };
    run.record(at, expected)
}

/// Takes over the signals that end a run.
///
/// # Errors
/// They cannot be caught.
pub(super) fn signals() -> Result<Interrupt, Failure> {
    Interrupt::listen().map_err(|e| Failure::fault(format_args!("signals cannot be caught: {e}")))
}

/// Says so where this computer sends copies of what it hears on by its routes.
pub(super) fn warn_of_forwarding(run: &Run, leg: usize) {
    let name = run.source.station(leg).map(|s| s.name);
    let forwards = name.filter(|_| !run.simulated).and_then(|n| link::forwards(&n));
    if forwards == Some(true) {
        let _ = writeln!(
            io::stderr(),
            "warning: this computer forwards packets, so copies of what the device answers may leave by its \
             routes\nnext step: if that matters here, switch it off for as long: sysctl net.ipv4.ip_forward"
        );
    }
}

/// It was not seen in time, and `so`.
pub(super) fn nowhere(whom: &Whom, within: Duration, so: &str) {
    let step = match whom {
        Whom::Device(_) | Whom::Mac(_) => {
            "look whether it is switched on; if it may be on another subnet, rigmuster survey --far finds where"
        }
        Whom::Address(_) => {
            "look whether it is switched on, and at this very address: rigmuster survey --far"
        }
    };
    let _ = writeln!(
        io::stderr(),
        "rigmuster: {whom} was not heard within {}: {so}\nnext step: {step}",
        span(within)
    );
}

/// Carries out a deed on the terminal: shows what it says, asks what it asks, and ends it in order at the first
/// interrupt. The head count goes on meanwhile.
///
/// # Errors
/// The output is gone, or a question could not be asked.
pub(super) async fn carry_out<'a, F>(
    deed: Deed,
    run: &mut Run,
    mut journal: Recorder,
    mut interrupt: Interrupt,
    make: impl FnOnce(Desk, Talk) -> F,
) -> Result<Exit, Failure>
where
    F: Future<Output = End> + 'a,
{
    let mut doing = Doing::begin(run.source.now(), Host::Terminal, make);
    let mut terminal = Terminal::new(io::stdin().is_terminal());
    let end = loop {
        let given = doing.step(&mut run.source, &mut run.ledger);
        let now = run.source.now();
        // Only what was done is written down here.
        while run.ledger.next_change().is_some() {}
        while let Some(said) = doing.said() {
            if let Some(action) = terminal.take(said)? {
                journal.act(action, now);
            }
        }
        journal.go_on(now);
        if let Some(end) = doing.end() {
            break end;
        }
        let wakes = [doing.next_wake(), run.ledger.next_wake()];
        let until = wakes.into_iter().flatten().min();
        let until = if given { Some(now) } else { until };
        tokio::select! {
            biased;
            () = interrupt.wait(), if doing.stopped().is_none() => doing.stop(Stop::Interrupted, &mut run.source),
            heard = terminal.heard() => match heard {
                Heard::Key => {}
                Heard::Interrupt => doing.stop(Stop::Interrupted, &mut run.source),
            },
            () = doing.rung() => {}
            () = run.source.turn(until) => {}
        }
    };
    terminal.end();
    doing.close(&mut run.source);
    // Resets leave in one turn; what the link does not take then is of no use later.
    let now = run.source.now();
    run.source.turn(Some(now)).await;
    if let Some(trouble) = journal.finish(now) {
        let _ = writeln!(io::stderr(), "rigmuster: {trouble}");
    }
    exit(deed, end)
}

/// The exit code of a deed's end.
fn exit(deed: Deed, end: End) -> Result<Exit, Failure> {
    let verb = deed.verb();
    match end {
        End::Done => Ok(Exit::Done),
        End::Declined | End::Failed => Ok(Exit::NotReady),
        End::Stopped(Stop::Interrupted | Stop::Locked) => Ok(Exit::Interrupted),
        End::Stopped(Stop::NobodyToAsk) => Err(Failure::usage(format_args!(
            "{verb} asks first, and there is no terminal to ask on: the answer is no\n\
             next step: run it in a terminal window; --dry-run only says what it would do and send"
        ))),
        End::Overdue => Err(Failure::link(format_args!(
            "{verb} was ended before it had put everything back\n\
             next step: look at the device, and at what was said above"
        ))),
    }
}

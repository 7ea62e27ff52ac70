//! One line on standard error while a person waits.

use std::io::{self, IsTerminal, Write};
use std::time::Duration;

use ledger::{Snapshot, Standing};
use vocab::Moment;

/// How often the line is written anew.
const EVERY: Duration = Duration::from_millis(250);
/// A short check is over before a line could be read: only a longer one shows it.
const FIRST: Duration = Duration::from_millis(700);

/// A progress line that is shown only where standard error is a terminal.
#[derive(Debug)]
pub(crate) struct Progress {
    next: Option<Moment>,
    shown: bool,
}

impl Progress {
    /// A line that begins after `now`.
    pub(crate) fn new(now: Moment) -> Self {
        Self {
            next: io::stderr().is_terminal().then(|| now + FIRST),
            shown: false,
        }
    }

    /// When it wants to be written next.
    pub(crate) const fn next_wake(&self) -> Option<Moment> {
        self.next
    }

    /// Writes the line if it is time. `left` is the longest time to go.
    pub(crate) fn show(&mut self, now: Moment, left: Option<Duration>, snapshot: impl FnOnce() -> Snapshot) {
        if self.next.is_none_or(|at| at > now) {
            return;
        }
        self.next = Some(now + EVERY);
        self.shown = true;
        let line = line(&snapshot(), left);
        let _ = write!(io::stderr(), "\r\x1b[K{line}");
        let _ = io::stderr().flush();
    }

    /// Takes the line away.
    pub(crate) fn clear(&mut self) {
        if self.shown {
            let _ = write!(io::stderr(), "\r\x1b[K");
            let _ = io::stderr().flush();
            self.shown = false;
        }
    }
}

/// The line's text, short enough for 80 columns.
fn line(snapshot: &Snapshot, left: Option<Duration>) -> String {
    let mut parts = Vec::new();
    let total = snapshot.counts.total();
    if total > 0 {
        parts.push(format!(
            "{} of {total} present",
            snapshot.counts.of(Standing::Present)
        ));
        let starting = snapshot.counts.of(Standing::Starting);
        if starting > 0 {
            parts.push(format!("{starting} starting"));
        }
    } else {
        parts.push(format!("{} hosts heard", snapshot.unlisted_total));
    }
    if let Some((asked, of)) = snapshot.pass {
        parts.push(format!("{asked} of {of} addresses asked"));
    }
    if let Some(left) = left {
        parts.push(format!("{} s left", left.as_secs()));
    }
    parts.join(", ")
}

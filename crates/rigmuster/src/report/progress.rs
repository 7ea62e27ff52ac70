//! One line on standard error while a person waits.

use std::io::{self, IsTerminal, Write};
use std::time::Duration;

use board::span;
use ledger::{SearchView, Snapshot, Standing};
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

/// How far the deep search is: where, how much, how long still, and what it found.
fn search_line(search: &SearchView, left: Option<Duration>) -> String {
    let place = search
        .place
        .map_or_else(String::new, |place| format!("{place}: "));
    let left = [search.left, left].into_iter().flatten().min();
    let left = left.map_or_else(String::new, |left| format!(", {} left", span(left)));
    format!(
        "{place}{} of {} asked{left}, {} found",
        search.asked, search.total, search.finds
    )
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
    if let Some(search) = snapshot.search.as_ref().filter(|s| s.running && s.total > 0) {
        return search_line(search, left);
    }
    if let Some(left) = left {
        parts.push(format!("{} s left", left.as_secs()));
    }
    parts.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_line_of_the_widest_search_fits_80_columns() {
        let search = SearchView {
            running: true,
            place: Some("192.168.254.0/24".parse().unwrap()),
            asked: 16_777_213,
            total: 16_777_214,
            per_second: Some(10),
            left: Some(Duration::from_secs(1_677_721)),
            finds: 4_096,
            offer: None,
        };
        let line = search_line(&search, None);
        assert!(line.len() < 80, "{line}");
        assert!(line.contains("466 h 2 min left"), "{line}");
        let until_the_end = search_line(&search, Some(Duration::from_secs(61)));
        assert!(until_the_end.contains("1 min 1 s left"), "{until_the_end}");
    }
}

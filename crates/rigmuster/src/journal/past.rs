//! Earlier entries for the board to scroll back through.

use std::path::Path;

use board::PastLine;
use ledger::Standing;

use super::{Book, Line, Run, Trouble, Wanted};

/// Lines read at once.
const PIECE: usize = 300;

/// A piece of the journal, the latest first.
#[derive(Debug)]
pub(crate) struct Piece {
    /// For the board.
    pub lines: Vec<PastLine>,
    /// What to read before next; `None` at the journal's beginning.
    pub next: Option<Mark>,
}

/// A place in the journal of a rig: all that is earlier than this entry.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Mark {
    /// The entry's run and its number there.
    pub before: (i64, i64),
    /// Below which run's head the lines stand, and of which date.
    pub under: Option<(i64, String)>,
}

/// Reads the piece before `mark` of the rig file's journal at `path`. What cannot be read is said in
/// a line of its own.
pub(crate) fn read(path: &Path, file: &str, rehearsal: bool, mark: Mark) -> Piece {
    piece(path, file, rehearsal, mark).unwrap_or_else(|trouble| Piece {
        lines: vec![PastLine::Head(format!(
            "The journal cannot be read: {trouble}. {}",
            trouble.step()
        ))],
        next: None,
    })
}

fn piece(path: &Path, file: &str, rehearsal: bool, mark: Mark) -> Result<Piece, Trouble> {
    let book = Book::open_to_read(path)?;
    let runs = book.runs(&Wanted::default())?;
    let entries = book.before(file, rehearsal, mark.before, PIECE)?;
    let whole = entries.len() < PIECE;
    let mut under = mark.under;
    let mut lines = Vec::with_capacity(entries.len() + 8);
    for entry in &entries {
        let here = (entry.run, entry.wall.date());
        if under.as_ref() != Some(&here) {
            let run = runs.iter().find(|run| run.id == entry.run);
            let same_run = under.as_ref().is_some_and(|(run, _)| *run == entry.run);
            lines.push(PastLine::Head(match run.filter(|_| !same_run) {
                Some(run) => head(run, &here.1),
                None => here.1.clone(),
            }));
            under = Some(here);
        }
        lines.push(change(entry));
    }
    let last = entries.last().filter(|_| !whole);
    let next = last.map(|entry| Mark {
        before: (entry.run, entry.seq),
        under,
    });
    Ok(Piece { lines, next })
}

/// "2026-11-26: run of 18:40 to 22:10, by eth0".
fn head(run: &Run, date: &str) -> String {
    let time = |stamp: super::Stamp| {
        if stamp.date() == date {
            stamp.time()[..5].to_owned()
        } else {
            stamp.minute()
        }
    };
    let by = if run.head.rehearsal || run.head.link.is_empty() {
        String::new()
    } else {
        format!(", by {}", run.head.link)
    };
    let set = if run.ends_before_it_began() {
        ", the clock set back meanwhile"
    } else {
        ""
    };
    format!(
        "{date}: run of {} to {}{set}{by}",
        time(run.head.began),
        time(run.last_wall)
    )
}

fn change(entry: &Line) -> PastLine {
    let word = entry.standing.as_deref();
    PastLine::Change {
        time: entry.wall.time(),
        standing: Standing::ALL.into_iter().find(|s| Some(s.as_str()) == word),
        worse: entry.worse,
        text: entry.text.clone(),
        basis: entry.basis.clone(),
    }
}

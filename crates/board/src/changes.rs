//! The running list of changes, the latest first.

use ledger::{Change, Snapshot, Subject};

use crate::past::{self, Past};
use crate::pen::Pen;
use crate::words::Clock;
use crate::{look, shape};

const fn mark(change: &Change) -> char {
    match &change.subject {
        Subject::Device { to, .. } => shape::of(*to),
        _ if change.worse => '!',
        _ => '+',
    }
}

/// Paints the changes from the latest but `skip` backwards, as many as there are rows.
/// `why`: with what each is based on, as far as the line has room.
fn draw(pen: &mut Pen<'_>, from: u16, snapshot: &Snapshot, skip: usize, why: bool, clock: Clock<'_>) {
    let rows = from..pen.area().height;
    for (change, y) in snapshot.changes.iter().rev().skip(skip).zip(rows) {
        let basis = if why { change.basis.as_str() } else { "" };
        let time = clock(change.at);
        past::draw_change(pen, y, &time, mark(change), change.worse, &change.text, basis);
    }
}

/// Paints the pane.
pub(crate) fn draw_pane(pen: &mut Pen<'_>, snapshot: &Snapshot, titled: bool, clock: Clock<'_>) {
    if pen.area().height == 0 {
        return;
    }
    if titled {
        pen.rule(0);
        pen.put(2, 0, u16::MAX, " what changed, latest first ", look::BOLD);
    }
    draw(pen, u16::from(titled), snapshot, 0, false, clock);
}

/// How many rows this run's own changes take on the page.
pub(crate) fn own_rows(snapshot: &Snapshot) -> usize {
    match snapshot.changes.len() {
        0 => NOTHING.len(),
        many => many,
    }
}

const NOTHING: [&str; 3] = ["", "Nothing has changed so far.", ""];

/// Paints the page of all changes, leaving out its first `top` rows: this run's own, and below them what
/// the journal has of earlier ones.
pub(crate) fn draw_page(pen: &mut Pen<'_>, snapshot: &Snapshot, past: &Past, top: usize, clock: Clock<'_>) {
    if snapshot.changes.is_empty() {
        for (words, y) in NOTHING.iter().skip(top).zip(0..) {
            pen.put(2, y, u16::MAX, words, look::PLAIN);
        }
    } else {
        draw(pen, 0, snapshot, top, true, clock);
    }
    let own = own_rows(snapshot);
    let from = u16::try_from(own.saturating_sub(top)).unwrap_or(u16::MAX);
    past.draw(pen, from, top.saturating_sub(own));
}

//! The running list of changes, the latest first.

use ledger::{Change, Snapshot, Subject};

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
        let style = if change.worse { look::BOLD } else { look::PLAIN };
        let mut x = 1;
        x += pen.put(x, y, u16::MAX, &clock(change.at), look::PLAIN) + 2;
        x += pen.put(x, y, 1, &mark(change).to_string(), style) + 1;
        x += pen.put(x, y, u16::MAX, &change.text, style);
        if why && !change.basis.is_empty() {
            pen.put(x + 2, y, u16::MAX, &format!("({})", change.basis), look::PLAIN);
        }
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

/// Paints the page of all changes, leaving out the latest `top`.
pub(crate) fn draw_page(pen: &mut Pen<'_>, snapshot: &Snapshot, top: usize, clock: Clock<'_>) {
    if snapshot.changes.is_empty() {
        pen.put(2, 1, u16::MAX, "Nothing has changed so far.", look::PLAIN);
        return;
    }
    draw(pen, 0, snapshot, top, true, clock);
}

//! The whole screen, put together.

use ledger::Snapshot;
use ratatui::Frame;
use ratatui::text::{Line, Span};

use crate::board::{Board, Page, View};
use crate::keys::{Hint, Mood};
use crate::layout::LEAST;
use crate::list::List;
use crate::pen::Pen;
use crate::plan::{Body, Plan};
use crate::sheet::Sheet;
use crate::wall::Wall;
use crate::words::Clock;
use crate::{changes, deed, far, findings, head, help, look, starts, text};

/// Paints the whole screen.
pub(crate) fn screen(board: &Board, frame: &mut Frame<'_>, snapshot: &Snapshot, clock: Clock<'_>) {
    let area = frame.area();
    let mut pen = Pen::new(frame.buffer_mut(), area);
    match board.plan(area, snapshot) {
        Some(plan) => parts(board, &mut pen, &plan, snapshot, clock),
        None => too_small(&mut pen),
    }
    board.look().settle(frame.buffer_mut());
}

fn too_small(pen: &mut Pen<'_>) {
    let area = pen.area();
    let words = format!(
        "The board needs {} columns and {} rows; this window has {} and {}. Make it larger.",
        LEAST.0, LEAST.1, area.width, area.height
    );
    for (line, y) in text::wrap(&words, usize::from(area.width), usize::from(area.height))
        .iter()
        .zip(0..)
    {
        pen.put(0, y, u16::MAX, line, look::PLAIN);
    }
}

fn parts(board: &Board, pen: &mut Pen<'_>, plan: &Plan, snapshot: &Snapshot, clock: Clock<'_>) {
    let areas = &plan.areas;
    let page = match (board.page(), plan.view) {
        (Some(Page::Sheet), _) => "sheet",
        (Some(Page::Findings), _) => "findings",
        (Some(Page::History), _) => "history",
        (Some(Page::Starts), _) => "starts",
        (Some(Page::Moves), _) => "work list",
        (Some(Page::Restart), _) => "restart",
        (Some(Page::Cable), _) => "cable check",
        (Some(Page::Deed), _) => "hands on",
        (Some(Page::Help), _) => "help",
        (Some(Page::Far), _) => "deep search",
        (None, View::Wall) => "wall",
        (None, View::List) => "list",
    };
    let page = match plan.part(board.page().is_some()) {
        Some((first, last, of)) => format!("{page} {first}-{last} of {of}"),
        None => page.to_owned(),
    };
    head::draw_title(&mut pen.within(areas.title), snapshot, &page, &clock(snapshot.at));
    head::draw_link(&mut pen.within(areas.link), snapshot);
    head::draw_bars(&mut pen.within(areas.bars), snapshot, board.warning());
    far::draw_head(&mut pen.within(areas.far), snapshot, clock);
    head::draw_headline(&mut pen.within(areas.headline), snapshot, areas.large);
    let filter = board.filter();
    let filtered = (!filter.is_empty()).then(|| (filter.text(), plan.shown.len()));
    head::draw_counts(&mut pen.within(areas.counts), snapshot, filtered);
    main(board, &mut pen.within(areas.main), plan, snapshot, clock);
    findings::draw_pane(&mut pen.within(areas.findings), snapshot, areas.titles);
    changes::draw_pane(&mut pen.within(areas.changes), snapshot, areas.titles, clock);
    let unseen = snapshot.unseen.join(" ");
    let lines = text::wrap(
        &unseen,
        usize::from(areas.unseen.width.saturating_sub(2)),
        usize::from(areas.unseen.height),
    );
    for (line, y) in lines.iter().zip(0..) {
        pen.within(areas.unseen).put(1, y, u16::MAX, line, look::PLAIN);
    }
    foot(board, &mut pen.within(areas.keys), plan);
}

fn main(board: &Board, pen: &mut Pen<'_>, plan: &Plan, snapshot: &Snapshot, clock: Clock<'_>) {
    let area = pen.area();
    let unicode = board.look().unicode;
    match board.page() {
        Some(Page::Sheet) => {
            let sheet = Sheet {
                columns: area.width.saturating_sub(2),
                unicode,
                clock,
            };
            let one = board.chosen().and_then(|who| who.find(snapshot));
            lines(pen, &sheet.lines(one), plan.page_top);
        }
        Some(Page::Restart) => lines(pen, &board.restart_lines(snapshot, area.width), plan.page_top),
        Some(Page::Cable) => lines(
            pen,
            &board.cable_lines(snapshot, area.width, clock),
            plan.page_top,
        ),
        Some(Page::Deed) => lines(pen, &board.deed_lines(area), plan.page_top),
        Some(Page::Starts) => {
            let all = starts::lines(snapshot, area.width, clock);
            lines(pen, &all, plan.page_top);
        }
        Some(Page::Moves) => {
            if let Some(page) = board.moves_page(snapshot, area.width) {
                lines(pen, &page.lines, plan.page_top);
            }
        }
        Some(Page::Help) => lines(pen, &help::lines(snapshot, area.width), plan.page_top),
        Some(Page::Far) => lines(pen, &far::lines(snapshot, area.width), plan.page_top),
        Some(Page::Findings) => findings::draw_page(pen, snapshot, plan.page_top, clock),
        Some(Page::History) => changes::draw_page(pen, snapshot, board.past(), plan.page_top, clock),
        None => match plan.body {
            _ if plan.shown.len() == 0 => empty(board, pen, snapshot),
            Body::Wall(grid) => Wall {
                snapshot,
                shown: &plan.shown,
                grid,
                top: plan.top,
                chosen: plan.at,
                unicode,
                clock,
            }
            .draw(pen),
            Body::List => List {
                snapshot,
                shown: &plan.shown,
                top: plan.top,
                chosen: plan.at,
                clock,
            }
            .draw(pen),
        },
    }
}

fn empty(board: &Board, pen: &mut Pen<'_>, snapshot: &Snapshot) {
    let words = if !board.filter().is_empty() {
        "Nothing matches the filter. Esc shows all again."
    } else if snapshot.devices.is_empty() && snapshot.title.is_some() {
        "The rig file lists no device with an address, and no host was heard yet."
    } else {
        "No host was heard yet."
    };
    pen.put(2, 1, u16::MAX, words, look::PLAIN);
}

fn lines(pen: &mut Pen<'_>, lines: &[Line<'_>], top: usize) {
    let area = pen.area();
    let rows = usize::from(area.height);
    for (line, y) in lines.iter().skip(top).take(rows).zip(0..) {
        pen.line(1, y, line);
    }
    if lines.len().saturating_sub(top) > rows && rows > 0 {
        pen.put_right(1, area.height - 1, " more below ", look::MARKED);
    }
}

/// The line at the foot: what the board asks or tells, and the keys that help now.
fn foot(board: &Board, pen: &mut Pen<'_>, plan: &Plan) {
    match plan.mood {
        Mood::Asking
        | Mood::Choosing
        | Mood::Restarting
        | Mood::Cabling
        | Mood::Levels
        | Mood::Deed(deed::Mood::YesNo | deed::Mood::Types) => {
            let room = plan
                .hints
                .first()
                .map_or(u16::MAX, |hint| hint.x.saturating_sub(2));
            pen.put(1, 0, room, &board.question().unwrap_or_default(), look::BOLD);
        }
        Mood::Typing => {
            let typed = format!("Filter: {}_", board.filter().text());
            pen.put(1, 0, u16::MAX, &typed, look::BOLD);
        }
        Mood::Board
        | Mood::Sheet
        | Mood::Moves
        | Mood::Page
        | Mood::Checking
        | Mood::Deed(deed::Mood::Runs | deed::Mood::Offers) => {
            if let Some(notice) = board.notice() {
                pen.put(1, 0, u16::MAX, notice, look::BOLD);
                return;
            }
        }
    }
    for Hint { key, x, .. } in &plan.hints {
        let x = x + pen.put(*x, 0, u16::MAX, key.label, look::BOLD) + 1;
        pen.line(x, 0, &Line::from(Span::raw(key.hint)));
    }
}

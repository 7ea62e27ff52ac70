//! What is where on the screen now: worked out alike for painting and for the mouse.

use ledger::Snapshot;
use ratatui::layout::{Position, Rect};

use crate::board::{Board, Page, View};
use crate::keys::{self, Action, Hint, Mood};
use crate::layout::{self, Areas, Grid, Wants};
use crate::rows::{self, Line, Shown};
use crate::sheet::Sheet;
use crate::{changes, deed, far, findings, head, help, starts, text, wall};

/// How the main part is arranged.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Body {
    /// Tiles.
    Wall(Grid),
    /// Lines.
    List,
}

/// The whole arrangement.
pub(crate) struct Plan {
    /// Where the parts stand.
    pub(crate) areas: Areas,
    /// Wall or list, whichever can be shown.
    pub(crate) view: View,
    /// How the main part is arranged.
    pub(crate) body: Body,
    /// What is shown.
    pub(crate) shown: Shown,
    /// Which of it is selected.
    pub(crate) at: Option<usize>,
    /// The first row of tiles, or the first line, that is shown.
    pub(crate) top: usize,
    /// How many rows of tiles or lines are visible.
    pub(crate) visible: usize,
    /// The first line of a page that is shown.
    pub(crate) page_top: usize,
    /// What the keys mean.
    pub(crate) mood: Mood,
    /// The hints at the foot.
    pub(crate) hints: Vec<Hint>,
}

/// What the mouse is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Hit {
    /// Item so-and-so.
    Item(usize),
    /// A hint at the foot.
    Hint(Action),
    /// The findings pane.
    Findings,
    /// The changes pane.
    Changes,
}

impl Board {
    /// Arranges a screen of the size of `screen`; `None` if it is too small.
    pub(crate) fn plan(&self, screen: Rect, snapshot: &Snapshot) -> Option<Plan> {
        let size = (screen.width, screen.height);
        let wants = Wants {
            bars: head::bar_rows(snapshot, self.warning(), screen.width),
            far: far::head_rows(snapshot),
            headline: head::headline_rows(snapshot, screen.width),
            large: self.look().unicode && head::verdict(snapshot).is_some(),
            findings: findings::wanted(
                snapshot,
                layout::findings_columns(size),
                layout::findings_share(size),
            ),
            changes: snapshot.changes.len(),
            unseen: text::wrap(
                &snapshot.unseen.join(" "),
                usize::from(screen.width.saturating_sub(2)),
                3,
            )
            .len(),
            page: self.page().is_some(),
        };
        let areas = layout::areas(screen, wants)?;
        let view = if snapshot.devices.is_empty() {
            View::List
        } else {
            self.view()
        };
        let shown = Shown::new(snapshot, self.filter(), view == View::List);
        let at = self
            .chosen()
            .and_then(|who| shown.place(who, snapshot))
            .or((shown.len() > 0).then_some(0));
        let chosen = at.unwrap_or(0);
        let (body, visible, line, total) = match view {
            View::Wall => {
                let grid = layout::grid(areas.main, shown.len());
                let across = usize::from(grid.across);
                (
                    Body::Wall(grid),
                    usize::from(grid.down),
                    chosen / across,
                    shown.len().div_ceil(across),
                )
            }
            View::List => {
                let visible = usize::from(areas.main.height.saturating_sub(1));
                (Body::List, visible, shown.line_of(chosen), shown.lines())
            }
        };
        let mood = self.mood(snapshot);
        let typed = u16::try_from(text::width(self.filter().text())).unwrap_or(u16::MAX);
        let x = match mood {
            Mood::Asking
            | Mood::Choosing
            | Mood::Restarting
            | Mood::Cabling
            | Mood::Levels
            | Mood::Deed(deed::Mood::YesNo | deed::Mood::Types) => {
                let asked = self.question().map_or(0, |q| text::width(&q));
                // The answers stay in sight, whatever is asked.
                let room = screen.width.saturating_sub(keys::columns(mood));
                u16::try_from(asked)
                    .unwrap_or(u16::MAX)
                    .saturating_add(3)
                    .min(room)
            }
            Mood::Typing => typed.saturating_add(13),
            _ => 1,
        };
        // A notice stands where the hints would.
        let hints = if self.notice().is_some() && !mood.wants_an_answer() {
            Vec::new()
        } else {
            // On a sheet the keys stand for the one that it is of.
            let of_use = |action| match action {
                Action::AskControl if mood == Mood::Sheet => self.asks_control(snapshot),
                Action::CheckCable if mood == Mood::Sheet => self.checks_cable(snapshot),
                Action::Do(deed) if mood == Mood::Sheet => self.lets_do(deed, snapshot),
                Action::Moves => self.has_moves(),
                _ => true,
            };
            keys::hints(mood, x, screen.width.saturating_sub(x).saturating_sub(1), of_use)
        };
        let page_top = match self.page() {
            Some(Page::Moves) => self.moves_page(snapshot, areas.main.width).map_or(0, |page| {
                page.top(self.page_top(), usize::from(areas.main.height))
            }),
            _ => self.page_top().min(self.last_page_line(&areas, snapshot)),
        };
        Some(Plan {
            areas,
            view,
            body,
            top: rows::scroll(self.top(), line, visible, total),
            shown,
            at,
            visible,
            page_top,
            mood,
            hints,
        })
    }

    /// The furthest that the open page scrolls.
    fn last_page_line(&self, areas: &Areas, snapshot: &Snapshot) -> usize {
        let rows = usize::from(areas.main.height);
        match self.page() {
            // The work list follows its selection.
            None | Some(Page::Moves) => 0,
            Some(Page::Findings) => snapshot.findings.len().saturating_sub(1),
            Some(Page::History) => (changes::own_rows(snapshot) + self.past().rows()).saturating_sub(rows),
            Some(Page::Far) => far::lines(snapshot, areas.main.width).len().saturating_sub(rows),
            Some(Page::Cable) => {
                let clock = |_| "00:00:00".to_owned();
                let lines = self.cable_lines(snapshot, areas.main.width, &clock);
                lines.len().saturating_sub(rows)
            }
            Some(Page::Deed) => self.deed_lines(areas.main).len().saturating_sub(rows),
            Some(Page::Restart) => self
                .restart_lines(snapshot, areas.main.width)
                .len()
                .saturating_sub(rows),
            Some(Page::Starts) => {
                let clock = |_| "00:00:00".to_owned();
                let lines = starts::lines(snapshot, areas.main.width, &clock);
                lines.len().saturating_sub(rows)
            }
            Some(Page::Help) => help::lines(snapshot, areas.main.width).len().saturating_sub(rows),
            Some(Page::Sheet) => {
                let sheet = Sheet {
                    columns: areas.main.width.saturating_sub(2),
                    unicode: self.look().unicode,
                    clock: &|_| "00:00:00".to_owned(),
                };
                let one = self.chosen().and_then(|who| who.find(snapshot));
                sheet.lines(one).len().saturating_sub(rows)
            }
        }
    }
}

impl Plan {
    /// What stands at column `x`, row `y` of the screen.
    pub(crate) fn hit(&self, x: u16, y: u16, paged: bool, snapshot: &Snapshot) -> Option<Hit> {
        let at = Position::new(x, y);
        let areas = &self.areas;
        if areas.keys.contains(at) {
            return self
                .hints
                .iter()
                .find(|h| (h.x..h.x + h.columns).contains(&x))
                .map(|h| Hit::Hint(h.key.action));
        }
        if paged {
            return None;
        }
        if areas.findings.contains(at) {
            return Some(Hit::Findings);
        }
        if areas.changes.contains(at) {
            return Some(Hit::Changes);
        }
        if !areas.main.contains(at) {
            return None;
        }
        match self.body {
            Body::Wall(grid) => {
                let across = usize::from(grid.across);
                let visible = across * usize::from(grid.down);
                (0..visible)
                    .find(|nth| wall::tile(areas.main, grid, *nth).contains(at))
                    .map(|nth| self.top * across + nth)
                    .filter(|at| *at < self.shown.len())
                    .map(Hit::Item)
            }
            Body::List => {
                let line = usize::from((y - areas.main.y).checked_sub(1)?);
                match self.shown.line(self.top + line, snapshot)? {
                    Line::Item(at, _) => Some(Hit::Item(at)),
                    Line::Outage(_) | Line::Others | Line::Divider => None,
                }
            }
        }
    }

    /// Which tiles or lines are visible: first, last, of how many; `None` if all are.
    pub(crate) fn part(&self, paged: bool) -> Option<(usize, usize, usize)> {
        let total = match self.body {
            Body::Wall(_) => self.shown.len(),
            Body::List => self.shown.lines(),
        };
        let first = self.top * self.across();
        let last = total.min(first + self.visible * self.across());
        (!paged && last - first < total).then_some((first + 1, last, total))
    }

    /// The items in one row of tiles, or in one line.
    pub(crate) fn across(&self) -> usize {
        match self.body {
            Body::Wall(grid) => usize::from(grid.across),
            Body::List => 1,
        }
    }
}

//! What is where on the screen: worked out alike for painting and for the mouse.

use ratatui::layout::{Position, Rect};
use rig::enroll::Draft;

use super::keys::{self, Action, Hint, Mood};
use super::{EnrollSheet, Page, detail, help, rows};
use crate::text;

/// The smallest screen that is drawn, as on the board.
pub(super) const LEAST: (u16, u16) = crate::layout::LEAST;

/// Where the parts stand, from top to bottom.
#[derive(Debug, Clone, Copy)]
pub(super) struct Areas {
    pub(super) title: Rect,
    pub(super) link: Rect,
    pub(super) sum: Rect,
    pub(super) rows: Rect,
    pub(super) detail: Rect,
    pub(super) foot: Rect,
}

/// The whole arrangement.
pub(super) struct Plan {
    pub(super) areas: Areas,
    /// The places of the hosts that the filter lets through.
    pub(super) shown: Vec<usize>,
    /// Which of them is selected.
    pub(super) at: Option<usize>,
    /// The first of them on the screen.
    pub(super) top: usize,
    /// How many lines of them there are on the screen.
    pub(super) visible: usize,
    /// The first line of the page that is open.
    pub(super) page_top: usize,
    pub(super) hints: Vec<Hint>,
}

/// What the mouse is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Hit {
    Row(usize),
    Hint(Action),
}

/// Cuts the screen; `None` if it is too small.
fn areas(screen: Rect, paged: bool, foot: u16) -> Option<Areas> {
    if screen.width < LEAST.0 || screen.height < LEAST.1 {
        return None;
    }
    let mut top = screen.y;
    let mut take = |rows: u16| {
        let part = Rect::new(screen.x, top, screen.width, rows);
        top += rows;
        part
    };
    let (title, link, sum) = (take(1), take(1), take(1));
    let left = screen.height.checked_sub(3 + foot)?;
    // Half a screen of rows is worth more than all that is known of one.
    let details = match left {
        _ if paged => 0,
        0..10 => 0,
        10..16 => 4,
        16..30 => detail::ROWS,
        _ => detail::ROWS + 2,
    };
    Some(Areas {
        title,
        link,
        sum,
        rows: take(left - details),
        detail: take(details),
        foot: take(foot),
    })
}

impl EnrollSheet {
    /// Arranges a screen; `None` if it is too small.
    pub(super) fn plan(&self, screen: Rect, draft: &Draft) -> Option<Plan> {
        let mood = self.mood();
        let lines = u16::try_from(self.foot_lines(screen.width).len()).unwrap_or(1);
        // A notice stands where the hints would, all else above them.
        let told = lines > 0 && matches!(mood, Mood::Rows | Mood::Help);
        let areas = areas(screen, self.page.is_some(), if told { lines } else { lines + 1 })?;
        let shown = rows::shown(draft, &self.filter);
        let at = self
            .chosen
            .and_then(|id| draft.place(id))
            .and_then(|n| shown.binary_search(&n).ok());
        let at = at.or((!shown.is_empty()).then_some(0));
        // One line is the columns' titles.
        let visible = usize::from(areas.rows.height.saturating_sub(1));
        let line = self.line.min(visible.saturating_sub(1));
        let last_top = shown.len().saturating_sub(visible);
        let top = at.unwrap_or(0).saturating_sub(line).min(last_top);
        // At the ends of the list the selected one may stand elsewhere.
        let top = top.max((at.unwrap_or(0) + 1).saturating_sub(visible));
        let x = match mood {
            Mood::Rows | Mood::Help => 1,
            _ => {
                let room = screen.width.saturating_sub(keys::answers(mood));
                let words = text::width(&self.foot_words(draft));
                u16::try_from(words)
                    .unwrap_or(u16::MAX)
                    .saturating_add(3)
                    .min(room)
            }
        };
        let hints = if told {
            Vec::new()
        } else {
            let panels = draft.panels().len();
            let of_use = |action| match action {
                Action::Panel => panels > 1,
                Action::Channel => panels > 0,
                _ => true,
            };
            keys::hints(mood, x, screen.width.saturating_sub(x).saturating_sub(1), of_use)
        };
        let rows = usize::from(areas.rows.height);
        let lines = match &self.page {
            None => 0,
            Some(Page::Help) => help::lines(areas.rows.width).len(),
            Some(Page::Preview(preview)) => preview.len(),
        };
        Some(Plan {
            areas,
            shown,
            at,
            top,
            visible,
            page_top: self.page_top.min(lines.saturating_sub(rows)),
            hints,
        })
    }
}

impl Plan {
    /// What stands at column `x`, row `y`.
    pub(super) fn hit(&self, x: u16, y: u16, paged: bool) -> Option<Hit> {
        let at = Position::new(x, y);
        if self.areas.foot.contains(at) && y + 1 == self.areas.foot.bottom() {
            let under = |hint: &&Hint| (hint.x..hint.x + hint.columns).contains(&x);
            return self
                .hints
                .iter()
                .find(under)
                .map(|hint| Hit::Hint(hint.key.action));
        }
        if paged || !self.areas.rows.contains(at) {
            return None;
        }
        let line = usize::from((y - self.areas.rows.y).checked_sub(1)?);
        let nth = self.top + line;
        (nth < self.shown.len()).then_some(Hit::Row(nth))
    }
}

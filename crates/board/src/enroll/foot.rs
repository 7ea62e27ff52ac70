//! The line at the foot: what is asked, typed or told, and the keys that help now.

use ratatui::text::{Line, Span};
use rig::enroll::Draft;

use super::EnrollSheet;
use super::keys::{Hint, Mood};
use super::plan::Plan;
use crate::pen::Pen;
use crate::{look, text};

/// Lines that a notice or the help of a field may take.
const MOST: usize = 4;

impl EnrollSheet {
    /// What stands before the answers.
    pub(super) fn foot_words(&self, draft: &Draft) -> String {
        match self.mood() {
            Mood::Leaving => "Leave, and write nothing?".to_owned(),
            Mood::Preview => "Write this?".to_owned(),
            Mood::Typing => format!("Filter: {}_", self.filter.text()),
            Mood::Field => self.field.as_ref().map_or_else(String::new, |field| {
                let row = draft.place(field.host).and_then(|n| draft.rows().get(n));
                let of = row.and_then(|row| row.found.address());
                let of = of.map_or_else(String::new, |address| format!(" of {address}"));
                format!("{}{of}: {}_", field.title(), field.text)
            }),
            Mood::Rows | Mood::Help => String::new(),
        }
    }

    /// The lines that stand at the foot beside the keys: a notice, or what may be typed.
    pub(super) fn foot_lines(&self, columns: u16) -> Vec<String> {
        let words = match (self.mood(), &self.field) {
            (Mood::Field, Some(field)) => field.fault.clone().unwrap_or_else(|| field.help()),
            (Mood::Rows | Mood::Help | Mood::Preview, _) => self.notice.clone().unwrap_or_default(),
            _ => String::new(),
        };
        text::wrap(&words, usize::from(columns.saturating_sub(2)), MOST)
    }
}

pub(super) fn draw(sheet: &EnrollSheet, pen: &mut Pen<'_>, plan: &Plan, draft: &Draft) {
    let area = pen.area();
    let lines = sheet.foot_lines(area.width);
    for (line, y) in lines.iter().zip(0..) {
        pen.put(1, y, u16::MAX, line, look::BOLD);
    }
    if plan.hints.is_empty() && !lines.is_empty() {
        return;
    }
    let y = area.height.saturating_sub(1);
    let room = plan
        .hints
        .first()
        .map_or(u16::MAX, |hint| hint.x.saturating_sub(2));
    pen.put(1, y, room, &sheet.foot_words(draft), look::BOLD);
    for Hint { key, x, .. } in &plan.hints {
        let x = x + pen.put(*x, y, u16::MAX, key.label, look::BOLD) + 1;
        pen.line(x, y, &Line::from(Span::raw(key.hint)));
    }
}

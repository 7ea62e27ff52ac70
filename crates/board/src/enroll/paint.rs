//! The whole sheet, put together.

use ratatui::Frame;
use rig::enroll::Draft;

use super::plan::{LEAST, Plan};
use super::{Around, EnrollSheet, Page, detail, foot, head, help, preview, rows};
use crate::pen::Pen;
use crate::{look, text};

impl EnrollSheet {
    /// Paints the whole screen.
    pub fn draw(&self, frame: &mut Frame<'_>, draft: &Draft, around: &Around) {
        let area = frame.area();
        let mut pen = Pen::new(frame.buffer_mut(), area);
        match self.plan(area, draft) {
            Some(plan) => self.parts(&mut pen, &plan, draft, around),
            None => too_small(&mut pen),
        }
        self.look.settle(frame.buffer_mut());
    }

    fn parts(&self, pen: &mut Pen<'_>, plan: &Plan, draft: &Draft, around: &Around) {
        head::draw(self, pen, plan, draft, around);
        let mut main = pen.within(plan.areas.rows);
        match &self.page {
            Some(Page::Help) => {
                let lines = help::lines(main.area().width);
                for (line, y) in lines.iter().skip(plan.page_top).zip(0..main.area().height) {
                    main.line(1, y, line);
                }
                preview::more(&mut main, lines.len(), plan.page_top);
            }
            Some(Page::Preview(preview)) => preview.draw(&mut main, plan.page_top),
            None if plan.shown.is_empty() => {
                let words = if self.filter.is_empty() {
                    "No host was heard yet."
                } else {
                    "Nothing matches the filter. Esc shows all again."
                };
                main.put(2, 1, u16::MAX, words, look::PLAIN);
            }
            None => rows::draw(&mut main, plan, draft),
        }
        let chosen = plan
            .at
            .and_then(|nth| plan.shown.get(nth))
            .and_then(|n| draft.rows().get(*n));
        detail::draw(&mut pen.within(plan.areas.detail), chosen, draft);
        foot::draw(self, &mut pen.within(plan.areas.foot), plan, draft);
    }
}

fn too_small(pen: &mut Pen<'_>) {
    let area = pen.area();
    let words = format!(
        "The sheet needs {} columns and {} rows; this window has {} and {}. Make it larger.",
        LEAST.0, LEAST.1, area.width, area.height
    );
    let lines = text::wrap(&words, usize::from(area.width), usize::from(area.height));
    for (line, y) in lines.iter().zip(0..) {
        pen.put(0, y, u16::MAX, line, look::PLAIN);
    }
}

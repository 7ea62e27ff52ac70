//! Writing into the buffer, clipped on every side.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use ratatui::text::Line;

use crate::text;

/// Writes into one part of the screen and never beside it.
pub(crate) struct Pen<'a> {
    buf: &'a mut Buffer,
    area: Rect,
}

impl<'a> Pen<'a> {
    /// A pen that is held inside `area`.
    pub(crate) fn new(buf: &'a mut Buffer, area: Rect) -> Self {
        let area = area.intersection(buf.area);
        Self { buf, area }
    }

    /// The part of the screen that it writes into.
    pub(crate) const fn area(&self) -> Rect {
        self.area
    }

    /// A pen for the part `area` of this one's.
    pub(crate) fn within(&mut self, area: Rect) -> Pen<'_> {
        let area = area.intersection(self.area);
        Pen { buf: self.buf, area }
    }

    /// Writes `words` at column `x` of row `y` (both counted from the area's corner), cut to
    /// `max` columns. Returns how many columns it took.
    pub(crate) fn put(&mut self, x: u16, y: u16, max: u16, words: &str, style: Style) -> u16 {
        if x >= self.area.width || y >= self.area.height {
            return 0;
        }
        let max = max.min(self.area.width - x);
        let (left, row) = (self.area.x + x, self.area.y + y);
        if words.len() <= usize::from(max) && text::is_plain(words) {
            // Nearly all that is written: one cell a byte, with nothing to cut.
            for (column, byte) in (left..).zip(words.bytes()) {
                if let Some(cell) = self.buf.cell_mut((column, row)) {
                    cell.set_char(char::from(byte)).set_style(style);
                }
            }
            return words.len() as u16;
        }
        let words = text::cut(words, usize::from(max));
        let (end, _) = self.buf.set_stringn(left, row, &words, usize::from(max), style);
        end - left
    }

    /// Writes `words` so that they end with the area's last column but `back`.
    pub(crate) fn put_right(&mut self, back: u16, y: u16, words: &str, style: Style) {
        let wide = u16::try_from(text::width(&text::safe(words))).unwrap_or(u16::MAX);
        let x = self.area.width.saturating_sub(back).saturating_sub(wide);
        self.put(x, y, wide, words, style);
    }

    /// Writes a line of several styles, cut to the area.
    pub(crate) fn line(&mut self, x: u16, y: u16, line: &Line<'_>) -> u16 {
        let mut at = x;
        for span in &line.spans {
            if at >= self.area.width {
                break;
            }
            at += self.put(at, y, self.area.width - at, &span.content, span.style);
        }
        at - x
    }

    /// Lays `style` over row `y` from column `x` for `columns`.
    pub(crate) fn band(&mut self, x: u16, y: u16, columns: u16, style: Style) {
        let row = Rect::new(
            self.area.x.saturating_add(x),
            self.area.y.saturating_add(y),
            columns,
            1,
        );
        self.buf.set_style(row.intersection(self.area), style);
    }

    /// A horizontal rule over the whole row.
    pub(crate) fn rule(&mut self, y: u16) {
        let dashes = "─".repeat(usize::from(self.area.width));
        self.put(0, y, self.area.width, &dashes, Style::new());
    }
}

//! What the terminal can show, and the few styles that are made of it.
//!
//! No background is assumed: text stands in the terminal's own foreground, and what must strike
//! the eye is reversed. Colour only repeats what words, shapes and borders already say.

use ratatui::buffer::Buffer;
use ratatui::style::{Color, Modifier, Style};

use crate::shape;

/// Which colours may be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ColourUse {
    /// The sixteen colours of the terminal's own palette, on its own background.
    #[default]
    Full16,
    /// None (`NO_COLOR`): bold, reverse and underline only.
    None,
}

/// What the terminal can show.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// Which colours may be used.
    pub colour: ColourUse,
    /// Whether it shows more than ASCII.
    pub unicode: bool,
}

impl Look {
    /// Brings a painted screen down to what the terminal can show: every glyph beyond ASCII to its
    /// stand-in, every colour away. Done once for the whole screen, so that no page can forget it.
    pub(crate) fn settle(self, buf: &mut Buffer) {
        if self.unicode && self.colour == ColourUse::Full16 {
            return;
        }
        for cell in &mut buf.content {
            if self.colour == ColourUse::None {
                cell.fg = Color::Reset;
                cell.bg = Color::Reset;
            }
            if !self.unicode && !cell.symbol().is_ascii() {
                let plain = cell.symbol().chars().next().map_or(' ', shape::ascii);
                cell.set_char(plain);
            }
        }
    }
}

/// Text that leads: names, titles, the headline.
pub(crate) const BOLD: Style = Style::new().add_modifier(Modifier::BOLD);
/// Ordinary text.
pub(crate) const PLAIN: Style = Style::new();
/// What is wrong and keeps the rig from being ready.
pub(crate) const TROUBLE: Style = Style::new()
    .fg(Color::Red)
    .add_modifier(Modifier::BOLD.union(Modifier::REVERSED));
/// The edge around trouble: heavy by its glyphs, so not reversed as well.
pub(crate) const TROUBLE_EDGE: Style = Style::new().fg(Color::Red).add_modifier(Modifier::BOLD);
/// What may become wrong.
pub(crate) const RISK: Style = Style::new()
    .fg(Color::Magenta)
    .add_modifier(Modifier::BOLD.union(Modifier::UNDERLINED));
/// The shape of what is well.
pub(crate) const WELL: Style = Style::new().fg(Color::Green).add_modifier(Modifier::BOLD);
/// The selected name or row, and column titles.
pub(crate) const CHOSEN: Style = Style::new().add_modifier(Modifier::BOLD.union(Modifier::UNDERLINED));
/// A state of the board that must not be overlooked, without being wrong.
pub(crate) const MARKED: Style = Style::new().add_modifier(Modifier::BOLD.union(Modifier::REVERSED));

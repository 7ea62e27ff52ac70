//! Shapes and borders: how each standing looks apart from its words and its colour.

use ledger::{DeviceView, Standing};
use ratatui::style::Style;
use rig::Need;

use crate::look;

/// Before the name of what is selected.
pub(crate) const CHOSEN: char = '»';
/// A host that is not on the list.
pub(crate) const HOST: char = '□';

/// The shape of a standing. Round is well or waiting; anything with corners wants somebody.
pub(crate) const fn of(standing: Standing) -> char {
    match standing {
        Standing::Present => '●',
        Standing::Starting => '◊',
        Standing::NoControl => '▬',
        Standing::Missing => '×',
        Standing::WrongSubnet => '▲',
        Standing::Moved => '►',
        Standing::Replaced => '■',
        Standing::Conflict => '≠',
        Standing::Unknown => '○',
    }
}

/// How heavily a device weighs on the eye.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Weight {
    /// Present.
    Calm,
    /// Starting: give it time.
    Waiting,
    /// Nothing can be said.
    Silent,
    /// Something is wrong with a device that the show does not wait for.
    Minor,
    /// Something is wrong.
    Trouble,
}

impl Weight {
    /// What a device weighs.
    pub(crate) const fn of(standing: Standing, need: Need) -> Self {
        match (standing, need) {
            (Standing::Present, _) => Self::Calm,
            (Standing::Starting, _) => Self::Waiting,
            (Standing::Unknown, _) => Self::Silent,
            (_, Need::Show) => Self::Trouble,
            (_, Need::Spare | Need::Later) => Self::Minor,
        }
    }

    /// What this device weighs: one whose restart is expected waits, unless another has its address.
    pub(crate) fn of_device(device: &DeviceView) -> Self {
        let expected = device.restart.expected.as_ref().is_some_and(|e| !e.overdue);
        let other = matches!(
            device.standing,
            Standing::Present | Standing::Unknown | Standing::Conflict | Standing::Replaced
        );
        if expected && !other {
            return Self::Waiting;
        }
        Self::of(device.standing, device.need)
    }

    /// The style of its shape and standing words.
    pub(crate) const fn words(self) -> Style {
        match self {
            Self::Calm | Self::Silent => look::PLAIN,
            Self::Waiting | Self::Minor => look::BOLD,
            Self::Trouble => look::TROUBLE,
        }
    }

    /// The style of its shape where that stands alone.
    pub(crate) const fn glyph(self) -> Style {
        match self {
            Self::Calm => look::WELL,
            other => other.words(),
        }
    }

    /// The style of its border.
    pub(crate) const fn edge_style(self) -> Style {
        match self {
            Self::Trouble => look::TROUBLE_EDGE,
            _ => look::PLAIN,
        }
    }

    /// The glyphs of its border.
    pub(crate) const fn edge(self) -> Edge {
        match self {
            Self::Calm => Edge::new('─', '─', '│', ['┌', '┐', '└', '┘']),
            Self::Waiting => Edge::new('┄', '┄', '┆', ['┌', '┐', '└', '┘']),
            Self::Silent => Edge::new('·', '·', '·', ['·', '·', '·', '·']),
            Self::Minor => Edge::new('═', '═', '║', ['╔', '╗', '╚', '╝']),
            Self::Trouble => Edge::new('▀', '▄', '█', ['█', '█', '█', '█']),
        }
    }
}

/// The glyphs of a border.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Edge {
    /// Along the top.
    pub(crate) top: char,
    /// Along the bottom.
    pub(crate) bottom: char,
    /// Down both sides; also the bar of a tile without a border.
    pub(crate) side: char,
    /// Top left, top right, bottom left, bottom right.
    pub(crate) corners: [char; 4],
}

impl Edge {
    const fn new(top: char, bottom: char, side: char, corners: [char; 4]) -> Self {
        Self {
            top,
            bottom,
            side,
            corners,
        }
    }
}

/// What stands for a glyph where only ASCII can be shown.
pub(crate) const fn ascii(glyph: char) -> char {
    match glyph {
        '●' => 'O',
        '◊' => '~',
        '▬' => '=',
        '×' => 'X',
        '▲' => '^',
        '►' => '>',
        '■' => '#',
        '≠' => '%',
        '○' => '?',
        '□' => '+',
        '»' => '*',
        '─' | '┄' => '-',
        '═' => '=',
        '│' | '║' => '|',
        '┆' => ':',
        '┌' | '┐' | '└' | '┘' | '╔' | '╗' | '╚' | '╝' => '+',
        '█' | '▀' | '▄' => '#',
        '·' => '.',
        '…' => '~',
        c if c.is_ascii() => c,
        _ => '?',
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn no_two_standings_share_a_shape_in_either_alphabet() {
        let fine: BTreeSet<char> = Standing::ALL.into_iter().map(of).chain([HOST, CHOSEN]).collect();
        assert_eq!(fine.len(), Standing::ALL.len() + 2);
        let plain: BTreeSet<char> = fine.iter().copied().map(ascii).collect();
        assert_eq!(plain.len(), fine.len());
        assert!(plain.iter().all(char::is_ascii));
    }

    #[test]
    fn a_spare_in_trouble_weighs_less_than_a_device_of_the_show() {
        assert_eq!(Weight::of(Standing::Missing, Need::Show), Weight::Trouble);
        assert_eq!(Weight::of(Standing::Missing, Need::Spare), Weight::Minor);
        assert_eq!(Weight::of(Standing::Present, Need::Later), Weight::Calm);
    }

    #[test]
    fn every_border_has_an_ascii_form_of_its_own_weight() {
        let sides: BTreeSet<char> = [Weight::Calm, Weight::Waiting, Weight::Silent, Weight::Trouble]
            .map(|w| ascii(w.edge().side))
            .into();
        assert_eq!(sides.len(), 4);
    }
}

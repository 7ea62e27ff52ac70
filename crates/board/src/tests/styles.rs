//! What the styles say: no colour where none is wanted, none but the safe ones where it is.

use ledger::{Snapshot, Standing};
use ratatui::buffer::Buffer;
use ratatui::style::{Color, Modifier};

use super::{FULL, Seat, hall, paint};
use crate::{ColourUse, Look};

const PLAIN: Look = Look {
    colour: ColourUse::None,
    unicode: true,
};

/// One letter per cell: `.` plain, `b` bold, `u` underlined, `r` reversed; upper case in red, `g` green,
/// `m` magenta.
fn marks(buffer: &Buffer) -> String {
    let mut out = String::new();
    for y in 0..buffer.area.height {
        let mut line = String::new();
        for x in 0..buffer.area.width {
            let cell = &buffer[(x, y)];
            let mark = if cell.modifier.contains(Modifier::REVERSED) {
                'r'
            } else if cell.modifier.contains(Modifier::UNDERLINED) {
                'u'
            } else if cell.modifier.contains(Modifier::BOLD) {
                'b'
            } else {
                '.'
            };
            line.push(match cell.fg {
                Color::Red => mark.to_ascii_uppercase(),
                Color::Green => 'g',
                Color::Magenta => 'm',
                _ => mark,
            });
        }
        out.push_str(line.trim_end_matches('.'));
        out.push('\n');
    }
    out
}

#[test]
fn the_wall_in_colour_and_without() {
    let s = hall::trouble();
    for (name, look) in [("colour", FULL), ("no_colour", PLAIN)] {
        let seat = Seat::with(look, 80, 24);
        insta::assert_snapshot!(
            format!("styles_wall_{name}_80x24"),
            marks(&paint(&seat.board, &s, 80, 24))
        );
    }
}

fn every_screen(look: Look, mut check: impl FnMut(&Buffer, &str)) {
    use crossterm::event::KeyCode::{Char, Enter, Tab};
    for (name, s) in [
        ("calm", hall::calm()),
        ("trouble", hall::trouble()),
        ("astray", hall::astray()),
    ] {
        for key in [Tab, Enter, Char('?'), Char('f'), Char('h'), Char('/'), Char('l')] {
            for (columns, rows) in [(40, 12), (80, 24), (120, 40), (220, 60)] {
                let mut seat = Seat::with(look, columns, rows);
                seat.press(key, &s);
                check(
                    &paint(&seat.board, &s, columns, rows),
                    &format!("{name} {key:?} {columns}x{rows}"),
                );
            }
        }
    }
}

#[test]
fn without_colour_no_cell_has_any() {
    every_screen(PLAIN, |buffer, what| {
        assert!(
            buffer
                .content
                .iter()
                .all(|c| c.fg == Color::Reset && c.bg == Color::Reset),
            "{what}"
        );
    });
}

#[test]
fn with_colour_no_background_is_set_and_no_text_is_pale() {
    every_screen(FULL, |buffer, what| {
        for cell in &buffer.content {
            assert_eq!(cell.bg, Color::Reset, "{what}");
            assert!(
                matches!(cell.fg, Color::Reset | Color::Red | Color::Green | Color::Magenta),
                "{what}: {:?}",
                cell.fg
            );
        }
    });
}

fn only(standing: Standing) -> Snapshot {
    let mut s = hall::many(9);
    s.devices.iter_mut().for_each(|d| d.standing = standing);
    // So that the words stand on tiles alone.
    s.counts = ledger::Counts::default();
    s
}

#[test]
fn every_standing_differs_from_every_other_without_colour_and_words() {
    // The first tile's border and shape: all that is left when words and colour are taken away.
    let face = |standing: Standing| {
        let s = only(standing);
        let seat = Seat::with(PLAIN, 120, 40);
        let (x, y) = seat.find(standing.words(), &s);
        let buffer = paint(&seat.board, &s, 120, 40);
        buffer[(x - 2, y)].symbol().to_owned()
    };
    let mut faces: Vec<String> = Standing::ALL.into_iter().map(face).collect();
    faces.sort();
    faces.dedup();
    assert_eq!(faces.len(), Standing::ALL.len(), "{faces:?}");
}

#[test]
fn trouble_is_reversed_and_calm_is_not() {
    for standing in Standing::ALL {
        let s = only(standing);
        let seat = Seat::with(PLAIN, 80, 24);
        let (x, y) = seat.find(standing.words(), &s);
        let buffer = paint(&seat.board, &s, 80, 24);
        let reversed = buffer[(x, y)].modifier.contains(Modifier::REVERSED);
        let calm = matches!(
            standing,
            Standing::Present | Standing::Starting | Standing::Unknown
        );
        assert_eq!(reversed, !calm, "{standing:?}");
    }
}

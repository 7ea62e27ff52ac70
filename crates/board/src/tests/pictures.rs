//! Pictures of whole screens, kept beside the code and looked at by eye.

use crossterm::event::KeyCode;

use super::{FULL, Seat, hall};
use crate::{ColourUse, Look};

const SIZES: [(u16, u16); 4] = [(40, 12), (80, 24), (120, 40), (220, 60)];

#[test]
fn the_wall() {
    for (columns, rows) in SIZES {
        let seat = Seat::new(columns, rows);
        insta::assert_snapshot!(format!("wall_calm_{columns}x{rows}"), seat.see(&hall::calm()));
        insta::assert_snapshot!(
            format!("wall_trouble_{columns}x{rows}"),
            seat.see(&hall::trouble())
        );
    }
}

#[test]
fn the_switch_that_we_are_plugged_into() {
    let mut s = hall::calm();
    let plug = |switch: &str, port: &str| vocab::Plugged {
        mac: vocab::Mac::ZERO,
        switch: switch.into(),
        port: port.into(),
        address: None,
        holds: std::time::Duration::from_mins(2),
    };
    s.plugged.push(plug("S2 desk", "3"));
    let line = |columns, s: &ledger::Snapshot| {
        let seen = Seat::new(columns, 24).see(s);
        seen.lines().nth(1).unwrap_or_default().to_owned()
    };
    for (columns, wanted) in [(140, "plugged into S2 desk, port 3"), (80, "S2 desk, port 3")] {
        let line = line(columns, &s);
        assert!(line.ends_with(wanted), "{line}");
    }
    let long = "A switch with a name longer than anybody would want to read on a board";
    s.plugged.push(plug(long, "Port 12"));
    let line = line(160, &s);
    assert!(
        line.contains("plugged into S2 desk, port 3 or A switch with a name"),
        "{line}"
    );
    assert!(!line.contains("on a board"), "{line}");
    let _ = Seat::new(20, 5).see(&s);
}

#[test]
fn the_list() {
    for (columns, rows) in SIZES {
        let mut seat = Seat::new(columns, rows);
        let s = hall::trouble();
        seat.press(KeyCode::Tab, &s);
        seat.press(KeyCode::Down, &s);
        insta::assert_snapshot!(format!("list_trouble_{columns}x{rows}"), seat.see(&s));
    }
}

#[test]
fn several_networks() {
    let s = hall::networks();
    for (columns, rows) in [(80, 24), (120, 40)] {
        let mut seat = Seat::new(columns, rows);
        insta::assert_snapshot!(format!("wall_networks_{columns}x{rows}"), seat.see(&s));
        seat.press(KeyCode::Tab, &s);
        insta::assert_snapshot!(format!("list_networks_{columns}x{rows}"), seat.see(&s));
        seat.press(KeyCode::Enter, &s);
        insta::assert_snapshot!(format!("sheet_networks_{columns}x{rows}"), seat.see(&s));
    }
}

#[test]
fn the_sheets() {
    let s = hall::trouble();
    for (columns, rows) in SIZES {
        let mut seat = Seat::new(columns, rows);
        seat.press(KeyCode::Tab, &s);
        for _ in 0..4 {
            seat.press(KeyCode::Down, &s);
        }
        seat.press(KeyCode::Enter, &s);
        insta::assert_snapshot!(format!("sheet_no_control_{columns}x{rows}"), seat.see(&s));
    }
    let mut seat = Seat::new(80, 24);
    seat.press(KeyCode::Tab, &s);
    seat.press(KeyCode::End, &s);
    seat.press(KeyCode::Enter, &s);
    insta::assert_snapshot!("sheet_stranger_80x24", seat.see(&s));
    for (columns, rows) in SIZES {
        let mut seat = Seat::new(columns, rows);
        for key in [KeyCode::Tab, KeyCode::End, KeyCode::Up, KeyCode::Enter] {
            seat.press(key, &s);
        }
        insta::assert_snapshot!(format!("sheet_told_{columns}x{rows}"), seat.see(&s));
    }
    for (n, name) in [(2, "wrong_subnet"), (5, "never_seen"), (7, "replaced")] {
        let mut seat = Seat::new(80, 24);
        seat.press(KeyCode::Tab, &s);
        for _ in 0..n {
            seat.press(KeyCode::Down, &s);
        }
        seat.press(KeyCode::Enter, &s);
        insta::assert_snapshot!(format!("sheet_{name}_80x24"), seat.see(&s));
    }
}

#[test]
fn the_other_pages() {
    let s = hall::trouble();
    for (columns, rows) in [(40, 12), (80, 24), (120, 40)] {
        for (key, name) in [('?', "help"), ('f', "findings"), ('h', "history")] {
            let mut seat = Seat::new(columns, rows);
            seat.press(KeyCode::Char(key), &s);
            insta::assert_snapshot!(format!("{name}_{columns}x{rows}"), seat.see(&s));
        }
    }
}

#[test]
fn a_filter_while_it_is_typed_and_after() {
    let s = hall::trouble();
    let mut seat = Seat::new(80, 24);
    seat.press(KeyCode::Char('/'), &s);
    seat.type_in("stage", &s);
    insta::assert_snapshot!("filter_typing_80x24", seat.see(&s));
    seat.press(KeyCode::Enter, &s);
    seat.press(KeyCode::Tab, &s);
    insta::assert_snapshot!("filter_list_80x24", seat.see(&s));
}

#[test]
fn this_computer_in_trouble_stands_on_top() {
    for (columns, rows) in SIZES {
        let seat = Seat::new(columns, rows);
        insta::assert_snapshot!(format!("astray_{columns}x{rows}"), seat.see(&hall::astray()));
    }
}

#[test]
fn the_deep_search_and_the_waiting() {
    for (columns, rows) in SIZES {
        let mut s = hall::trouble();
        s.search = Some(hall::offer());
        let mut seat = Seat::new(columns, rows);
        seat.press(KeyCode::Char('d'), &s);
        insta::assert_snapshot!(format!("far_asked_{columns}x{rows}"), seat.see(&s));
        let seat = Seat::new(columns, rows);
        insta::assert_snapshot!(
            format!("far_running_{columns}x{rows}"),
            seat.see(&hall::searching())
        );
        insta::assert_snapshot!(
            format!("far_waiting_{columns}x{rows}"),
            seat.see(&hall::waiting(0))
        );
        insta::assert_snapshot!(
            format!("far_caught_{columns}x{rows}"),
            seat.see(&hall::waiting(4))
        );
    }
}

#[test]
fn a_thousand_devices() {
    let s = hall::many(1_000);
    let mut seat = Seat::new(80, 24);
    seat.press(KeyCode::End, &s);
    insta::assert_snapshot!("wall_thousand_80x24", seat.see(&s));
    let seat = Seat::new(220, 60);
    insta::assert_snapshot!("wall_thousand_220x60", seat.see(&s));
}

#[test]
fn in_ascii() {
    let look = Look {
        unicode: false,
        ..FULL
    };
    for (columns, rows) in [(80, 24), (120, 40)] {
        let mut seat = Seat::with(look, columns, rows);
        let s = hall::trouble();
        let wall = seat.see(&s);
        assert!(wall.is_ascii(), "{wall}");
        insta::assert_snapshot!(format!("wall_ascii_{columns}x{rows}"), wall);
        seat.press(KeyCode::Enter, &s);
        let sheet = seat.see(&s);
        assert!(sheet.is_ascii(), "{sheet}");
        insta::assert_snapshot!(format!("sheet_ascii_{columns}x{rows}"), sheet);
    }
}

#[test]
fn without_colour_the_letters_are_the_same() {
    let plain = Look {
        colour: ColourUse::None,
        unicode: true,
    };
    for (columns, rows) in SIZES {
        let s = hall::trouble();
        assert_eq!(
            Seat::with(plain, columns, rows).see(&s),
            Seat::new(columns, rows).see(&s)
        );
    }
}

#[test]
fn a_window_that_is_too_small_says_what_it_needs() {
    let s = hall::trouble();
    for (columns, rows) in [(0, 0), (1, 1), (1, 60), (300, 1), (39, 40), (80, 11)] {
        let seen = Seat::new(columns, rows).see(&s);
        assert!(seen.lines().count() == usize::from(rows), "{seen}");
        if columns >= 39 && rows >= 11 {
            assert!(seen.contains("needs 40 columns and 12 rows"), "{seen}");
        }
    }
    insta::assert_snapshot!("too_small_39x11", Seat::new(39, 11).see(&s));
}

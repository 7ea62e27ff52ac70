//! A deed on its page: begun by a key, asked, answered, ended, and what the levels forbid.

use crossterm::event::KeyCode;

use super::{FULL, Seat, hall};
use crate::{Answer, Deed, DeedForm, DeedLine, Look, Request};

const SIZES: [(u16, u16); 3] = [(80, 24), (120, 40), (220, 60)];
const W: KeyCode = KeyCode::Char('w');

/// A seat where a wink asks whether it may.
fn asked(columns: u16, rows: u16) -> Seat {
    let mut seat = Seat::new(columns, rows);
    let wanted = seat.press(W, &hall::calm());
    assert!(matches!(wanted, Some(Request::Deed { deed: Deed::Wink, .. })));
    seat.board.begin_deed("wink Organ loft");
    seat.board.deed_says(
        DeedLine::Result,
        "Organ loft (02:52:43:00:00:21) is at 10.40.8.21",
    );
    seat.board.deed_says(
        DeedLine::Aside,
        "It is dark.\ncaution: performers and camera crew may take this lamp for \"on air\". Some devices answer the last \
         peer only: a panel that drives this one may miss answers.",
    );
    seat.board.deed_asks("Switch the lamp?", DeedForm::YesNo);
    seat
}

#[test]
fn its_page_at_each_size() {
    for (columns, rows) in SIZES {
        let mut seat = asked(columns, rows);
        let s = hall::calm();
        insta::assert_snapshot!(format!("deed_asks_{columns}x{rows}"), seat.see(&s));
        assert_eq!(
            seat.press(KeyCode::Char('y'), &s),
            Some(Request::Answer(Answer::new("yes")))
        );
        seat.board.deed_goes_on("the lamp is told on; 7 s left");
        insta::assert_snapshot!(format!("deed_runs_{columns}x{rows}"), seat.see(&s));
        seat.board.end_deed("Done. Esc closes this page.");
        insta::assert_snapshot!(format!("deed_over_{columns}x{rows}"), seat.see(&s));
    }
}

#[test]
fn it_is_answered_ended_and_closed_by_its_keys() {
    let s = hall::calm();
    let mut seat = asked(80, 24);
    for other in [
        KeyCode::Char('q'),
        KeyCode::Char('l'),
        KeyCode::Enter,
        KeyCode::Tab,
    ] {
        assert_eq!(seat.press(other, &s), None, "an answer comes first");
    }
    assert_eq!(
        seat.press(KeyCode::Char('n'), &s),
        Some(Request::Answer(Answer::new("no")))
    );
    assert_eq!(seat.press(KeyCode::Esc, &s), Some(Request::EndDeed));
    // It goes on while others are looked at, and its key shows it again.
    assert_eq!(seat.press(KeyCode::Tab, &s), None);
    assert!(!seat.see(&s).contains("wink Organ loft"));
    assert_eq!(seat.press(W, &s), None);
    assert!(seat.see(&s).contains("wink Organ loft"));
    seat.board.end_deed("Not done.");
    assert!(seat.see(&s).contains("Not done."));
    assert_eq!(seat.press(KeyCode::Esc, &s), None);
    assert!(!seat.see(&s).contains("Not done."));
}

#[test]
fn what_is_typed_is_shown_unless_it_is_a_secret() {
    let s = hall::calm();
    for (form, shown) in [(DeedForm::Text, true), (DeedForm::Secret, false)] {
        let mut seat = asked(80, 24);
        seat.board.deed_asks("Which?", form);
        seat.type_in("yesq", &s);
        seat.press(KeyCode::Backspace, &s);
        assert_eq!(seat.see(&s).contains("> yes_"), shown);
        assert_eq!(
            seat.press(KeyCode::Enter, &s),
            Some(Request::Answer(Answer::new("yes")))
        );
    }
}

#[test]
fn under_the_show_lock_none_begins_and_the_lock_can_fall_while_one_runs() {
    let mut s = hall::calm();
    s.watch_only = true;
    let mut seat = Seat::new(80, 24);
    assert_eq!(seat.press(W, &s), None);
    assert!(seat.see(&s).contains("show lock is on"));
    s.watch_only = false;
    let mut seat = asked(80, 24);
    seat.press(KeyCode::Char('y'), &s);
    assert_eq!(seat.press(KeyCode::Char('l'), &s), None);
    assert_eq!(
        seat.press(KeyCode::Char('3'), &s),
        Some(Request::Level(vocab::Level::Silent))
    );
}

#[test]
fn what_is_said_next_is_in_sight_but_for_whoever_scrolled_up() {
    let s = hall::calm();
    let mut seat = asked(80, 24);
    let say = |seat: &mut Seat, from: u32| {
        for n in from..from + 30 {
            seat.board.deed_says(DeedLine::Aside, &format!("line {n}"));
        }
    };
    say(&mut seat, 0);
    assert!(seat.see(&s).contains("line 29"));
    seat.press(KeyCode::Up, &s);
    say(&mut seat, 30);
    assert!(!seat.see(&s).contains("line 59"));
    // An answer shows what comes of it, and so does going to the end.
    seat.press(KeyCode::Char('y'), &s);
    assert!(seat.see(&s).contains("Switch the lamp? yes"));
    say(&mut seat, 60);
    assert!(seat.see(&s).contains("line 89"));
    for key in [KeyCode::Down, KeyCode::PageDown, KeyCode::End] {
        seat.press(KeyCode::Up, &s);
        say(&mut seat, 90);
        assert!(!seat.see(&s).contains("line 119"));
        seat.press(KeyCode::End, &s);
        seat.press(key, &s);
        say(&mut seat, 120);
        assert!(seat.see(&s).contains("line 149"), "{key:?}");
        seat.board.begin_deed("wink Organ loft");
        say(&mut seat, 0);
    }
}

#[test]
fn a_page_that_is_offered_calls_nobody_back_and_is_opened_by_one_key() {
    let s = hall::calm();
    let mut seat = Seat::new(80, 24);
    assert!(seat.press(KeyCode::Char('o'), &s).is_some());
    seat.board.begin_deed("reach Organ loft");
    seat.press(KeyCode::Tab, &s);
    seat.board.deed_asks("", DeedForm::Offer);
    assert!(!seat.see(&s).contains("reach Organ loft"));
    seat.press(KeyCode::Char('o'), &s);
    assert!(seat.see(&s).contains("b browser  Esc close it"));
    for key in [KeyCode::Char('b'), KeyCode::Enter] {
        assert_eq!(seat.press(key, &s), Some(Request::Answer(Answer::new(""))));
        seat.board.deed_asks("", DeedForm::Offer);
    }
    assert_eq!(seat.press(KeyCode::Esc, &s), Some(Request::EndDeed));
}

#[test]
fn what_is_called_is_as_large_as_it_goes_and_ascii_where_there_is_no_more() {
    let s = hall::calm();
    for (columns, rows) in SIZES {
        let look = Look {
            unicode: false,
            ..FULL
        };
        let mut seat = Seat::with(look, columns, rows);
        seat.press(W, &s);
        seat.board.begin_deed("walk Desk panel");
        seat.board.deed_calls("Channel 3\nis wrong");
        let seen = seat.see(&s);
        assert!(seen.is_ascii(), "{seen}");
        insta::assert_snapshot!(format!("deed_calls_ascii_{columns}x{rows}"), seen);
    }
}

//! How much is sent: the level is always in sight, quieter holds at once, louder asks back.

use crossterm::event::KeyCode;
use ledger::Snapshot;
use vocab::Level;

use super::{Seat, hall};
use crate::Request;

fn at(level: Level) -> Snapshot {
    let mut s = hall::calm();
    s.listen_only = level == Level::Silent;
    s.watch_only = level == Level::Watch;
    s
}

const LEVELS: [(Level, char, &str); 3] = [
    (Level::All, '1', "asks all"),
    (Level::Watch, '2', "watching only"),
    (Level::Silent, '3', "listen-only"),
];

#[test]
fn the_level_stands_in_the_head_of_every_page_and_size() {
    for (level, _, words) in LEVELS {
        let s = at(level);
        for (columns, rows) in [(40, 12), (80, 24), (120, 40), (220, 60)] {
            let mut seat = Seat::new(columns, rows);
            for key in ['f', 'h', '?', 't'] {
                assert!(seat.see(&s).contains(words), "{words} at {columns}x{rows}");
                seat.press(KeyCode::Char(key), &s);
            }
        }
    }
}

#[test]
fn quieter_holds_at_once_and_louder_asks_back() {
    for (from, ..) in LEVELS {
        for (to, key, _) in LEVELS {
            let s = at(from);
            let mut seat = Seat::new(80, 24);
            assert_eq!(seat.press(KeyCode::Char('l'), &s), None);
            let asked = seat.see(&s);
            for words in ["1 everything", "2 watching only", "3 nothing", "n no"] {
                assert!(asked.contains(words), "{asked}");
            }
            let first = seat.press(KeyCode::Char(key), &s);
            if to == from {
                assert_eq!(first, None);
                assert_eq!(seat.press(KeyCode::Char('y'), &s), None);
            } else if LEVELS.iter().position(|l| l.0 == to) > LEVELS.iter().position(|l| l.0 == from) {
                assert_eq!(first, Some(Request::Level(to)));
            } else {
                assert_eq!(first, None);
                assert_eq!(seat.press(KeyCode::Char('s'), &s), None, "an answer first");
                assert_eq!(seat.press(KeyCode::Char('y'), &s), Some(Request::Level(to)));
                seat.press(KeyCode::Char('l'), &s);
                seat.press(KeyCode::Char(key), &s);
                assert_eq!(seat.press(KeyCode::Char('n'), &s), None);
                assert_eq!(seat.press(KeyCode::Char('y'), &s), None);
            }
        }
    }
}

#[test]
fn what_sends_more_asks_back_while_only_watching() {
    let s = at(Level::Watch);
    for (key, request) in [
        ('s', Request::SweepNow),
        ('c', Request::AskControl("Organ loft".to_owned())),
    ] {
        let mut seat = Seat::new(80, 24);
        assert_eq!(seat.press(KeyCode::Char(key), &s), None);
        assert!(seat.see(&s).contains("That sends more: end watching only?"));
        assert_eq!(seat.press(KeyCode::Char('n'), &s), None);
        seat.press(KeyCode::Char(key), &s);
        assert_eq!(
            seat.press(KeyCode::Char('y'), &s),
            Some(Request::Louder(Box::new(request)))
        );
    }
}

#[test]
fn the_answers_can_be_clicked() {
    let s = at(Level::All);
    let mut seat = Seat::new(80, 24);
    seat.press(KeyCode::Char('l'), &s);
    let spot = seat.find("2 watching", &s);
    assert_eq!(seat.click(spot, &s), Some(Request::Level(Level::Watch)));
}

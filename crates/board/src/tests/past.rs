//! Scrolling back from this run's changes into the journal, and what is said when it is not written.

use crossterm::event::KeyCode;
use ledger::{Snapshot, Standing};
use vocab::Moment;

use super::{Seat, hall};
use crate::{PastLine, Request};

const KEY: KeyCode = KeyCode::Char('h');

fn change(n: usize) -> PastLine {
    PastLine::Change {
        time: format!("20:{:02}:{:02}", n / 60 % 60, n % 60),
        standing: [None, Some(Standing::Missing), Some(Standing::Present)][n % 3],
        worse: n % 3 != 2,
        text: format!("Earlier change {n}."),
        basis: if n.is_multiple_of(4) {
            "6 questions".into()
        } else {
            String::new()
        },
    }
}

fn piece(from: usize, many: usize) -> Vec<PastLine> {
    let head = PastLine::Head("2026-11-25: run of 18:40 to 22:10, by eth0".into());
    std::iter::once(head)
        .chain((from..from + many).map(change))
        .collect()
}

fn seat(columns: u16, rows: u16) -> Seat {
    let mut seat = Seat::new(columns, rows);
    seat.board.keep_journal();
    seat
}

#[test]
fn the_page_of_changes_goes_on_into_the_journal() {
    let s = hall::trouble();
    for (columns, rows) in [(80, 24), (120, 40)] {
        let mut seat = seat(columns, rows);
        assert_eq!(seat.press(KEY, &s), Some(Request::Past { anew: true }));
        assert!(seat.see(&s).contains("Reading the journal"));
        seat.board.add_past(piece(0, 9), false);
        insta::assert_snapshot!(format!("history_past_{columns}x{rows}"), seat.see(&s));
        assert_eq!(seat.press(KeyCode::End, &s), None, "there is no more");
        assert!(seat.see(&s).contains("nothing earlier"));
    }
}

#[test]
fn more_is_read_only_when_somebody_scrolls_there() {
    let s = hall::trouble();
    let mut seat = seat(120, 40);
    seat.press(KEY, &s);
    assert_eq!(seat.press(KeyCode::Down, &s), None, "one piece at a time");
    seat.board.add_past(piece(0, 300), true);
    assert_eq!(seat.press(KeyCode::Home, &s), None, "its end is far away");
    assert_eq!(seat.press(KeyCode::End, &s), Some(Request::Past { anew: false }));
    seat.board.add_past(piece(300, 300), false);
    assert_eq!(seat.press(KeyCode::End, &s), None);
    let end = seat.see(&s);
    assert!(
        end.contains("Earlier change 599.") && end.contains("nothing earlier"),
        "{end}"
    );
    seat.press(KeyCode::Home, &s);
    assert!(seat.see(&s).contains(&s.changes.last().unwrap().text));
}

#[test]
fn what_fell_off_the_list_meanwhile_is_read_anew() {
    let mut s = hall::trouble();
    let mut seat = seat(120, 40);
    seat.press(KEY, &s);
    seat.board.add_past(piece(0, 5), false);
    assert_eq!(seat.press(KeyCode::Down, &s), None);
    s.changes.remove(0);
    assert_eq!(seat.press(KeyCode::Down, &s), Some(Request::Past { anew: true }));
    seat.board.add_past(piece(100, 5), false);
    let seen = seat.see(&s);
    assert!(
        seen.contains("Earlier change 100.") && !seen.contains("Earlier change 0."),
        "{seen}"
    );
}

#[test]
fn without_a_journal_nothing_is_asked_and_without_changes_it_still_shows() {
    let mut s: Snapshot = hall::calm();
    s.changes.clear();
    let mut none = Seat::new(80, 24);
    assert_eq!(none.press(KEY, &s), None);
    let seen = none.see(&s);
    assert!(
        seen.contains("Nothing has changed so far.") && !seen.contains("journal"),
        "{seen}"
    );
    let mut seat = seat(80, 24);
    seat.press(KEY, &s);
    seat.board.add_past(piece(0, 60), false);
    let seen = seat.see(&s);
    assert!(
        seen.contains("Nothing has changed so far.") && seen.contains("Earlier change 0."),
        "{seen}"
    );
    seat.press(KeyCode::End, &s);
    let seen = seat.see(&s);
    assert!(
        !seen.contains("so far.") && seen.contains("Earlier change 59."),
        "{seen}"
    );
    s.at = Moment::from_secs(9);
    for (columns, rows) in [(40, 12), (220, 60), (1, 1), (40, 13)] {
        seat.board.resize(columns, rows);
        let _ = seat.see(&s);
    }
}

#[test]
fn text_of_the_journal_cannot_move_the_cursor() {
    let s = hall::calm();
    let mut seat = seat(80, 24);
    seat.press(KEY, &s);
    let nasty = "a\u{1b}[2Jb\u{9b}31m\u{202e}c";
    let line = PastLine::Change {
        time: nasty.into(),
        standing: None,
        worse: true,
        text: nasty.into(),
        basis: nasty.into(),
    };
    seat.board
        .add_past(vec![PastLine::Head(nasty.into()), line], false);
    assert!(!seat.see(&s).chars().any(|c| c.is_control() && c != '\n'));
}

#[test]
fn that_it_is_not_written_stands_on_top_until_it_is() {
    let s = hall::calm();
    let mut seat = Seat::new(80, 24);
    let before = seat.see(&s);
    let words =
        "The journal is not written: the disk that holds /home/a/journal.db is full -> Make room on it.";
    seat.board.warn(Some(words.to_owned()));
    let seen = seat.see(&s).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        seen.contains("! The journal is not written: the disk") && seen.contains("Make room on it."),
        "{seen}"
    );
    seat.board.warn(None);
    assert_eq!(seat.see(&s), before);
}

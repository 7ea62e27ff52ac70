//! The deep search from the board: it asks first, the same key ends it, and waiting is offered instead.

use crossterm::event::KeyCode;
use ledger::Snapshot;
use vocab::{LinkState, Mode};

use super::{Seat, hall};
use crate::Request;

const KEY: KeyCode = KeyCode::Char('d');

fn offered() -> Snapshot {
    let mut s = hall::trouble();
    s.search = Some(hall::offer());
    s
}

#[test]
fn the_question_says_what_a_search_would_do_and_what_waiting_would() {
    let s = offered();
    let mut seat = Seat::new(120, 40);
    assert_eq!(seat.press(KEY, &s), None, "nothing before a yes");
    let seen = seat.see(&s).split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "172.16.200.0/24, 192.168.0.0/24, 192.168.1.0/24, 192.168.0.0/16, 169.254.0.0/16",
        "131,322 frames, 1 min 28 s at this pace",
        "restart the camera now, and its address is caught from its first frames",
        "takes the camera off air",
        "its head swings",
        "ask the venue's people",
        "y search w wait n no",
    ] {
        assert!(seen.contains(words), "{words}\n{seen}");
    }
}

#[test]
fn of_several_networks_the_question_says_on_whose_wire_it_goes_out() {
    let mut s = offered();
    let words = "alone (eth0). For another one run rigmuster survey --far --link INTERFACE";
    let mut seat = Seat::new(120, 40);
    seat.press(KEY, &s);
    assert!(!seat.see(&s).contains("on the wire of"), "there is one only");
    for name in ["main", "media"] {
        s.networks.push(ledger::NetworkView {
            name: name.to_owned(),
            reach: rig::Reach::Wire,
            subnet: "10.40.8.0/24".parse().unwrap(),
            station: s.station.clone(),
            plugged: Vec::new(),
            counts: s.counts,
        });
    }
    let seen = seat.see(&s).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(seen.contains(&format!("on the wire of main {words}")), "{seen}");
}

#[test]
fn only_a_yes_searches_and_no_leads_back() {
    let s = offered();
    let mut seat = Seat::new(80, 24);
    let before = seat.see(&s);
    for no in [KeyCode::Char('n'), KeyCode::Esc] {
        seat.press(KEY, &s);
        for other in [KEY, KeyCode::Char('s'), KeyCode::Char('q'), KeyCode::Enter] {
            assert_eq!(seat.press(other, &s), None, "{other:?} is no answer");
        }
        assert_eq!(seat.press(no, &s), None);
        assert_eq!(seat.see(&s), before);
    }
    seat.press(KEY, &s);
    assert_eq!(seat.press(KeyCode::Char('y'), &s), Some(Request::Search(true)));
    assert_eq!(seat.see(&s), before);
    // From a page it leads back to that page, and hints can be clicked.
    seat.press(KeyCode::Enter, &s);
    seat.press(KEY, &s);
    let (x, y) = seat.find("  n no", &s);
    assert_eq!(seat.click((x - 1, y), &s), Some(Request::Wait(true)));
    assert!(seat.see(&s).contains("on the list"), "the sheet is back");
}

#[test]
fn the_question_scrolls_where_it_does_not_fit() {
    let s = offered();
    let mut seat = Seat::new(40, 12);
    seat.press(KEY, &s);
    assert!(!seat.see(&s).contains("off air"), "{}", seat.see(&s));
    seat.press(KeyCode::End, &s);
    let end = seat.see(&s);
    assert!(end.contains("is near it") && end.contains("n no"), "{end}");
    seat.press(KeyCode::Home, &s);
    assert!(seat.see(&s).contains("y search  Ask once"));
}

#[test]
fn the_same_key_stops_the_search_and_the_waiting() {
    let mut seat = Seat::new(80, 24);
    let s = hall::searching();
    assert!(seat.see(&s).contains("33 %, 58 s left, 2 found; d stops it"));
    assert_eq!(seat.press(KEY, &s), Some(Request::Search(false)));
    assert!(seat.see(&s).contains("what it found stays"));
    let s = hall::waiting(1);
    let seen = seat.see(&s);
    assert!(seen.contains("waiting for a device to start"), "{seen}");
    assert!(seen.contains("Stage left at 192.168.77.5"), "{seen}");
    assert_eq!(seat.press(KEY, &s), Some(Request::Wait(false)));
}

#[test]
fn under_listen_only_only_the_waiting_is_left() {
    let mut s = offered();
    s.listen_only = true;
    s.search = None;
    let mut seat = Seat::new(80, 24);
    seat.press(KEY, &s);
    assert!(seat.see(&s).contains("Locked: listen-only is on"));
    assert_eq!(seat.press(KeyCode::Char('y'), &s), None);
    assert!(seat.see(&s).contains("Listen-only is on, so nothing is sent"));
    seat.press(KEY, &s);
    assert_eq!(seat.press(KeyCode::Char('w'), &s), Some(Request::Wait(true)));
}

#[test]
fn where_neither_can_be_the_reason_is_told() {
    for (mode, state, why) in [
        (Mode::Unprivileged, LinkState::Up, "whole frames"),
        (Mode::Raw, LinkState::NoCarrier, "does not carry"),
    ] {
        let mut s = offered();
        s.search = None;
        if let Some(station) = &mut s.station {
            (station.mode, station.state) = (mode, state);
        }
        let mut seat = Seat::new(120, 40);
        assert_eq!(seat.press(KEY, &s), None);
        let seen = seat.see(&s);
        assert!(seen.contains(why) && !seen.contains("y search"), "{seen}");
    }
}

#[test]
fn its_end_is_told_but_not_that_the_user_stopped_it() {
    let before = hall::searching();
    let ended = |asked| {
        let mut s = offered();
        if let Some(search) = &mut s.search {
            search.asked = asked;
        }
        let mut seat = Seat::new(120, 40);
        seat.board.take_news(&before, &s);
        seat.see(&s)
    };
    assert!(ended(131_322).contains("The deep search is over: 131,322 addresses asked, 1 host outside"));
    assert!(!ended(44_640).contains("The deep search is over"));
}

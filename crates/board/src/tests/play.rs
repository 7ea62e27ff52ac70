//! Keys and the mouse, and what they lead to.

use crossterm::event::{Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers, MouseEventKind};
use ledger::Standing;
use vocab::LinkState;

use super::{Seat, hall};
use crate::Request;

#[test]
fn keys_become_requests() {
    let s = hall::calm();
    let mut seat = Seat::new(80, 24);
    assert_eq!(seat.press(KeyCode::Char('s'), &s), Some(Request::SweepNow));
    assert_eq!(
        seat.press(KeyCode::Char('c'), &s),
        Some(Request::AskControl("Organ loft".to_owned()))
    );
    assert_eq!(seat.press(KeyCode::Char('q'), &s), Some(Request::Quit));
    let interrupt = KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL);
    assert_eq!(seat.board.handle(&Event::Key(interrupt), &s), Some(Request::Quit));
}

#[test]
fn a_released_key_does_nothing_and_a_held_one_repeats() {
    let s = hall::calm();
    let mut seat = Seat::new(80, 24);
    let mut key = KeyEvent::new(KeyCode::Char('q'), KeyModifiers::NONE);
    key.kind = KeyEventKind::Release;
    assert_eq!(seat.board.handle(&Event::Key(key), &s), None);
    key.kind = KeyEventKind::Repeat;
    assert_eq!(seat.board.handle(&Event::Key(key), &s), Some(Request::Quit));
}

#[test]
fn under_listen_only_nothing_is_asked_and_the_reason_is_told() {
    let mut s = hall::calm();
    s.listen_only = true;
    let mut seat = Seat::new(80, 24);
    for key in ['s', 'c'] {
        assert_eq!(seat.press(KeyCode::Char(key), &s), None);
        assert!(seat.see(&s).contains("Listen-only is on"));
    }
}

#[test]
fn a_device_without_control_ports_has_none_to_ask() {
    let mut s = hall::calm();
    s.devices[0].control.clear();
    let mut seat = Seat::new(80, 24);
    assert_eq!(seat.press(KeyCode::Char('c'), &s), None);
    assert!(seat.see(&s).contains("lists no control port for Organ loft"));
}

#[test]
fn a_stranger_is_not_asked() {
    let s = hall::trouble();
    let mut seat = Seat::new(80, 24);
    seat.press(KeyCode::Tab, &s);
    seat.press(KeyCode::End, &s);
    assert_eq!(seat.press(KeyCode::Char('c'), &s), None);
}

#[test]
fn the_filter_matches_what_a_person_would_type() {
    let s = hall::trouble();
    let found = |typed: &str| {
        let mut seat = Seat::new(120, 40);
        seat.press(KeyCode::Tab, &s);
        seat.press(KeyCode::Char('/'), &s);
        seat.type_in(typed, &s);
        let screen = seat.see(&s);
        let names = [
            "Organ loft",
            "West door",
            "Stage left",
            "Desk panel",
            "Side screen",
            "stage-box",
        ];
        let shown: Vec<String> = screen
            .lines()
            .skip_while(|line| !line.contains("should be at"))
            .map(|line| line.chars().skip(5).collect())
            .collect();
        names
            .into_iter()
            .filter(|name| shown.iter().any(|line| line.starts_with(name)))
            .collect::<Vec<_>>()
    };
    assert_eq!(found("ORGAN"), ["Organ loft"]);
    assert_eq!(found("10.40.8.22"), ["West door"]);
    assert_eq!(found("192.168.0.20"), ["Stage left"]);
    assert_eq!(found("02:52:43:00:00:15"), ["Organ loft"]);
    assert_eq!(found("wrong subnet"), ["Stage left"]);
    assert_eq!(found("display"), ["Side screen"]);
    assert_eq!(found("stage-box"), ["stage-box"]);
    assert_eq!(found("camera missing"), ["West door"]);
    assert_eq!(found("no such thing"), Vec::<&str>::new());
}

#[test]
fn q_and_other_letters_go_to_the_filter_while_it_is_typed() {
    let s = hall::calm();
    let mut seat = Seat::new(80, 24);
    seat.press(KeyCode::Char('/'), &s);
    seat.type_in("qs", &s);
    seat.press(KeyCode::Backspace, &s);
    assert!(seat.see(&s).contains("Filter: q_"));
    seat.press(KeyCode::Esc, &s);
    assert!(seat.see(&s).contains("Organ loft"));
    assert_eq!(seat.press(KeyCode::Char('q'), &s), Some(Request::Quit));
}

#[test]
fn esc_leaves_the_sheet_first_and_drops_the_filter_then() {
    let s = hall::calm();
    let mut seat = Seat::new(80, 24);
    seat.press(KeyCode::Char('/'), &s);
    seat.type_in("stage right", &s);
    seat.press(KeyCode::Enter, &s);
    seat.press(KeyCode::Enter, &s);
    assert!(seat.see(&s).contains("on the list"));
    seat.press(KeyCode::Esc, &s);
    let wall = seat.see(&s);
    assert!(
        wall.contains("Stage right") && !wall.contains("Organ loft"),
        "{wall}"
    );
    seat.press(KeyCode::Esc, &s);
    assert!(seat.see(&s).contains("Organ loft"));
}

#[test]
fn the_selection_follows_the_device_not_the_row() {
    let mut s = hall::calm();
    let mut seat = Seat::new(80, 24);
    seat.press(KeyCode::Tab, &s);
    seat.press(KeyCode::Down, &s);
    let ask = |seat: &mut Seat, s: &_| seat.press(KeyCode::Char('c'), s);
    let west = Some(Request::AskControl("West door".to_owned()));
    assert_eq!(ask(&mut seat, &s), west);
    s.devices.reverse();
    assert_eq!(ask(&mut seat, &s), west);
    seat.press(KeyCode::Char('/'), &s);
    seat.type_in("stage", &s);
    seat.press(KeyCode::Enter, &s);
    assert_ne!(ask(&mut seat, &s), west);
    seat.press(KeyCode::Esc, &s);
    assert_eq!(ask(&mut seat, &s), west);
    s.devices.retain(|d| d.name != "West door");
    assert_ne!(ask(&mut seat, &s), west);
}

#[test]
fn left_and_right_leaf_through_the_sheets() {
    let s = hall::trouble();
    let mut seat = Seat::new(80, 24);
    seat.press(KeyCode::Enter, &s);
    seat.press(KeyCode::Left, &s);
    assert!(seat.see(&s).contains("●  Organ loft"));
    seat.press(KeyCode::Right, &s);
    assert!(seat.see(&s).contains("×  West door"));
    seat.press(KeyCode::Esc, &s);
    let (x, y) = seat.find("»", &s);
    assert_eq!(seat.find("West door  ", &s), (x + 1, y));
}

#[test]
fn pages_scroll_and_stop_at_their_ends() {
    let mut s = hall::trouble();
    s.changes = s.changes.iter().cloned().cycle().take(200).collect();
    for (n, change) in s.changes.iter_mut().enumerate().skip(1) {
        change.text = format!("Change number {n}.");
    }
    for (page, first, last) in [
        ('?', " Keys", "nothing can be said"),
        ('h', "18:", "The rig is ready."),
    ] {
        let mut seat = Seat::new(80, 24);
        seat.press(KeyCode::Char(page), &s);
        let top = seat.see(&s);
        assert!(top.contains(first), "{top}");
        seat.press(KeyCode::Up, &s);
        assert_eq!(seat.see(&s), top);
        seat.press(KeyCode::End, &s);
        let end = seat.see(&s);
        assert!(end.contains(last) && end != top, "{end}");
        seat.press(KeyCode::PageDown, &s);
        assert_eq!(seat.see(&s), end);
        seat.press(KeyCode::PageUp, &s);
        assert_ne!(seat.see(&s), end);
        seat.press(KeyCode::Home, &s);
        assert_eq!(seat.see(&s), top);
    }
    let mut seat = Seat::new(80, 24);
    seat.press(KeyCode::Char('f'), &s);
    seat.press(KeyCode::End, &s);
    let end = seat.see(&s);
    assert!(
        end.contains("Spare head does not answer") && !end.contains("Two units claim"),
        "{end}"
    );
}

#[test]
fn an_open_sheet_stays_with_its_device_and_says_when_it_is_gone() {
    let mut s = hall::trouble();
    let mut seat = Seat::new(80, 24);
    seat.press(KeyCode::Tab, &s);
    seat.press(KeyCode::End, &s);
    seat.press(KeyCode::Enter, &s);
    assert!(seat.see(&s).contains("Lantern Works"));
    s.unlisted.remove(0);
    assert!(seat.see(&s).contains("Lantern Works"));
    s.unlisted.clear();
    assert!(seat.see(&s).contains("no longer seen"));
}

#[test]
fn arrows_move_by_tile_and_stop_at_the_edges() {
    use KeyCode::{Down, End, Home, Left, Right, Up};
    let s = hall::calm();
    let mut seat = Seat::new(80, 24);
    let mut after = |keys: &[KeyCode]| {
        for key in keys {
            seat.press(*key, &s);
        }
        match seat.press(KeyCode::Char('c'), &s) {
            Some(Request::AskControl(name)) => name,
            other => panic!("{other:?}"),
        }
    };
    assert_eq!(after(&[Up, Left]), "Organ loft");
    assert_eq!(after(&[Right]), "West door");
    assert_eq!(after(&[Home, Down]), "Stage right");
    assert_eq!(after(&[End]), "Intercom base");
    assert_eq!(after(&[Down, Right]), "Intercom base");
    assert_eq!(after(&[Up]), "Stream");
}

#[test]
fn a_click_selects_and_another_opens() {
    let s = hall::trouble();
    for (columns, rows) in [(80, 24), (120, 40)] {
        for tab in [false, true] {
            let mut seat = Seat::new(columns, rows);
            if tab {
                seat.press(KeyCode::Tab, &s);
            }
            let at = seat.find("Stage right", &s);
            seat.click(at, &s);
            assert!(!seat.see(&s).contains("control ports "));
            seat.click(at, &s);
            let sheet = seat.see(&s);
            assert!(
                sheet.contains("Stage right") && sheet.contains("control ports "),
                "{sheet}"
            );
        }
    }
}

#[test]
fn hints_and_panes_can_be_clicked() {
    let s = hall::trouble();
    let mut seat = Seat::new(120, 40);
    let at = seat.find("s sweep", &s);
    assert_eq!(seat.click(at, &s), Some(Request::SweepNow));
    // The notice covers the hints until the next key or click: what cannot be seen cannot be hit.
    assert_eq!(seat.click(at, &s), None);
    let at = seat.find("The gateway", &s);
    seat.click(at, &s);
    assert!(seat.see(&s).contains("findings  as of 18:42:07"));
    let at = seat.find("Esc back", &s);
    seat.click(at, &s);
    let at = seat.find("Stream is now", &s);
    seat.click(at, &s);
    assert!(seat.see(&s).contains("history  as of 18:42:07"));
}

#[test]
fn the_wheel_scrolls_and_takes_the_selection_along_only_at_the_edge() {
    let s = hall::many(100);
    let mut seat = Seat::new(80, 24);
    seat.press(KeyCode::Tab, &s);
    for _ in 0..5 {
        seat.press(KeyCode::Down, &s);
    }
    for _ in 0..3 {
        seat.mouse(MouseEventKind::ScrollDown, (10, 10), &s);
    }
    let screen = seat.see(&s);
    assert!(
        !screen.contains("Device 2 ") && screen.contains("Device 3 "),
        "{screen}"
    );
    assert_eq!(
        seat.press(KeyCode::Char('c'), &s),
        Some(Request::AskControl("Device 5".to_owned()))
    );
    for _ in 0..9 {
        seat.mouse(MouseEventKind::ScrollDown, (10, 10), &s);
    }
    assert_eq!(
        seat.press(KeyCode::Char('c'), &s),
        Some(Request::AskControl("Device 12".to_owned()))
    );
}

#[test]
fn a_link_that_is_down_stands_on_top_even_before_the_ledger_has_found_it() {
    let mut s = hall::calm();
    for (state, words) in [
        (LinkState::NoCarrier, "eth0 has no carrier -> check the cable"),
        (LinkState::Down, "eth0 is switched off -> switch it on"),
        (LinkState::Gone, "eth0 is gone -> plug"),
    ] {
        if let Some(station) = &mut s.station {
            station.state = state;
        }
        let seat = Seat::new(120, 40);
        let (_, y) = seat.find(words, &s);
        assert_eq!(y, 2);
    }
}

#[test]
fn a_survey_without_a_rig_shows_its_hosts() {
    let mut s = hall::trouble();
    s.devices.clear();
    s.title = None;
    s.counts = ledger::Counts::default();
    let seat = Seat::new(120, 40);
    let screen = seat.see(&s);
    assert!(
        screen.contains("Survey of the wire") && screen.contains("stage-box"),
        "{screen}"
    );
    s.unlisted.clear();
    assert!(seat.see(&s).contains("No host was heard yet."));
}

#[test]
fn dirty_tells_whether_there_is_anything_to_draw() {
    let s = hall::calm();
    let mut seat = Seat::new(80, 24);
    assert!(seat.board.take_dirty());
    assert!(!seat.board.dirty());
    seat.press(KeyCode::F(5), &s);
    seat.board.handle(&Event::FocusGained, &s);
    assert!(!seat.board.dirty());
    seat.press(KeyCode::Down, &s);
    assert!(seat.board.take_dirty());
    seat.board.handle(&Event::Resize(100, 30), &s);
    assert!(seat.board.take_dirty());
}

#[test]
fn names_from_the_wire_cannot_move_the_cursor() {
    let mut s = hall::trouble();
    s.devices[0].name = "a\u{1b}[2J\u{9b}31m\u{202e}b\nc".to_owned();
    s.headline = "\u{1b}]0;x\u{7}Ready\u{2066}".to_owned();
    for key in [KeyCode::Tab, KeyCode::Enter, KeyCode::Char('f')] {
        let mut seat = Seat::new(120, 40);
        seat.press(key, &s);
        let seen = seat.see(&s);
        let bad = |c: char| c != '\n' && (c.is_control() || ('\u{2028}'..='\u{206f}').contains(&c));
        assert!(!seen.chars().any(bad), "{seen:?}");
    }
}

#[test]
fn the_standing_words_are_never_cut_in_tiles_of_the_usual_size() {
    for (columns, rows) in [(80, 24), (120, 40), (220, 60)] {
        let s = hall::trouble();
        let seen = Seat::new(columns, rows).see(&s);
        for standing in Standing::ALL {
            assert!(
                seen.contains(standing.words()),
                "{standing:?} at {columns}x{rows}\n{seen}"
            );
        }
    }
}

#[test]
fn a_sheet_shows_what_its_device_says_with_its_source() {
    let mut s = hall::trouble();
    let mut seat = Seat::new(120, 40);
    seat.press(KeyCode::Enter, &s);
    assert!(
        !seat.see(&s).contains("standby"),
        "one that is on need not say so"
    );
    s.devices[0].power = Some(vocab::Power::Standby);
    assert!(
        seat.see(&s)
            .contains("power         it says that it is in standby")
    );
    s.devices[0].power = Some(vocab::Power::Fault);
    assert!(seat.see(&s).contains("it says that it has a fault inside"));
    let mut seat = Seat::new(120, 40);
    seat.press(KeyCode::Tab, &s);
    seat.press(KeyCode::End, &s);
    seat.press(KeyCode::Up, &s);
    seat.press(KeyCode::Enter, &s);
    let sheet = seat.see(&s);
    for words in [
        "answered   server \"stage unit 3\"; its page says \"Stage box\"",
        "it says that it is in standby",
        "addresses     10.40.8.71, likely: answered ARP",
        "              192.168.9.5, only told, 18:41:11: its own DHCP request",
        "DHCP class    stage unit 3 (its own word)",
        "DHCP id       hardware 02:52:43:00:00:16: by its own word one unit with Organ loft (02:52:43:00:00:16)",
    ] {
        assert!(sheet.contains(words), "{words}\n{sheet}");
    }
}

#[test]
fn a_match_is_accepted_only_after_a_yes() {
    let s = hall::trouble();
    let mut seat = Seat::new(80, 24);
    // Nothing is known to be the organ loft's camera.
    assert_eq!(seat.press(KeyCode::Char('m'), &s), None);
    assert!(seat.see(&s).contains("Select a missing device first"));
    seat.press(KeyCode::Right, &s);
    for (answer, accepted) in [('n', false), ('y', true)] {
        assert_eq!(seat.press(KeyCode::Char('m'), &s), None);
        assert!(
            seat.see(&s)
                .contains("Write 02:52:43:00:02:02 in the file as West door?")
        );
        assert!(seat.see(&s).contains("y yes  n no"));
        let request = Request::Accept {
            device: "West door".to_owned(),
            mac: "02:52:43:00:02:02".parse().unwrap(),
        };
        assert_eq!(seat.press(KeyCode::Char(answer), &s), accepted.then_some(request));
    }
    let mut narrow = Seat::new(40, 12);
    for key in "/west".chars() {
        narrow.press(KeyCode::Char(key), &s);
    }
    narrow.press(KeyCode::Enter, &s);
    narrow.press(KeyCode::Char('m'), &s);
    assert!(narrow.see(&s).contains("y yes  n no"), "{}", narrow.see(&s));
    seat.board.tell("Nothing was written: the disk is full");
    assert!(seat.see(&s).contains("the disk is full"));
}

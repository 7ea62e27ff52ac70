//! The cable check: the question, its page while it runs, its end, and what the levels forbid.

use std::time::Duration;

use crossterm::event::KeyCode;
use ledger::{CableOffer, CableView, NoCheck, SizeView, Snapshot};
use vocab::{FrameSize, Moment, Pace};

use super::{Seat, hall};
use crate::Request;

const SIZES: [(u16, u16); 4] = [(40, 12), (80, 24), (120, 40), (220, 60)];
const X: KeyCode = KeyCode::Char('x');
const Y: KeyCode = KeyCode::Char('y');

fn size(size: FrameSize, (answered, lost): (u32, u32), loss: (f64, f64)) -> SizeView {
    SizeView {
        size,
        sent: answered + lost,
        answered,
        lost,
        loss,
        time: (answered > 0).then(|| Duration::from_micros(390 + u64::from(size.bytes()) / 4)),
        jitter: (answered > 1).then_some(Duration::from_micros(31)),
    }
}

/// Stage left is being checked, or was.
fn checked(running: bool) -> Snapshot {
    let mut s = hall::calm();
    let clean = (0.0, 0.051_604_03);
    let sizes = if running {
        vec![
            size(FrameSize::Least, (41, 0), (0.0, 0.121_2)),
            size(FrameSize::Small, (40, 0), (0.0, 0.124_0)),
            size(FrameSize::Middle, (40, 0), (0.0, 0.124_0)),
            size(FrameSize::Large, (33, 7), (0.055, 0.371)),
            size(FrameSize::Full, (0, 0), (0.0, 1.0)),
        ]
    } else {
        vec![
            size(FrameSize::Least, (100, 0), clean),
            size(FrameSize::Small, (100, 0), clean),
            size(FrameSize::Middle, (98, 2), (0.001_04, 0.089_43)),
            size(FrameSize::Large, (87, 13), (0.057_70, 0.239_2)),
            size(FrameSize::Full, (0, 100), (0.948_4, 1.0)),
        ]
    };
    let told = |words: &str| if running { String::new() } else { words.to_owned() };
    s.cable = Some(CableView {
        device: "Stage left".to_owned(),
        port: Some("S1/23".to_owned()),
        cable_m: Some(34.0),
        offer: CableOffer::at(Pace::Own),
        since: Moment::from_secs(120),
        left: running.then_some(Duration::from_millis(6_200)),
        sizes,
        said: told(
            "Small frames pass, full-size ones do not: lost were 0 of 200 up to 256 bytes, and 100 of 100 at 1,518. A bad \
             cable or plug does that, or two ends that differ in duplex; a limit on echoes mostly lets none pass.",
        ),
        advice: told(
            "Look at the cable and duplex of S1/23: put another cable in, let both ends negotiate by themselves, and \
             check again; if it stays, check a second device on S1.",
        ),
    });
    s
}

/// The same, when it is over: the device has it, too.
fn over() -> Snapshot {
    let mut s = checked(false);
    let said = s.cable.as_ref().map(|c| c.said.clone()).unwrap_or_default();
    s.devices[2].checked = Some((Moment::from_secs(131), said));
    s
}

/// A seat where Stage left is selected.
fn seat(columns: u16, rows: u16, s: &Snapshot) -> Seat {
    let mut seat = Seat::new(columns, rows);
    seat.press(KeyCode::Tab, s);
    for _ in 0..2 {
        seat.press(KeyCode::Down, s);
    }
    seat
}

#[test]
fn the_question_says_what_is_sent_and_when_not_to() {
    let s = hall::calm();
    for (columns, rows) in SIZES {
        let mut seat = seat(columns, rows, &s);
        assert_eq!(seat.press(X, &s), None);
        insta::assert_snapshot!(format!("cable_asked_{columns}x{rows}"), seat.see(&s));
        seat.press(KeyCode::End, &s);
        assert!(!seat.see(&s).contains("more below"), "it scrolls to its end");
    }
}

#[test]
fn its_page_fills_and_ends_in_a_verdict_with_one_step() {
    for (columns, rows) in SIZES {
        let (running, over) = (checked(true), over());
        let mut seat = seat(columns, rows, &running);
        assert_eq!(seat.press(X, &running), None, "it is shown, nothing is asked");
        insta::assert_snapshot!(format!("cable_running_{columns}x{rows}"), seat.see(&running));
        insta::assert_snapshot!(format!("cable_over_{columns}x{rows}"), seat.see(&over));
        seat.press(KeyCode::End, &over);
        assert!(seat.see(&over).contains("certainty"), "it scrolls to its end");
    }
}

#[test]
fn yes_begins_it_no_and_esc_do_not_and_the_page_below_comes_back() {
    let s = hall::calm();
    let mut seat = seat(80, 24, &s);
    seat.press(X, &s);
    assert_eq!(
        seat.press(Y, &s),
        Some(Request::CheckCable("Stage left".to_owned()))
    );
    for no in [KeyCode::Char('n'), KeyCode::Esc] {
        let mut seat = self::seat(80, 24, &s);
        let list = seat.see(&s);
        seat.press(X, &s);
        assert_eq!(seat.press(no, &s), None);
        assert_eq!(seat.see(&s), list);
        seat.press(KeyCode::Enter, &s);
        let sheet = seat.see(&s);
        seat.press(X, &s);
        assert!(seat.see(&s).contains("Check the cable of Stage left?"));
        assert_eq!(seat.press(no, &s), None);
        assert_eq!(seat.see(&s), sheet);
    }
}

#[test]
fn esc_ends_it_and_then_leaves_the_page_and_it_can_be_asked_again() {
    let (running, over) = (checked(true), over());
    let mut seat = seat(80, 24, &running);
    let list = seat.see(&over);
    seat.press(X, &running);
    assert!(
        seat.see(&running).contains("Esc end it"),
        "{}",
        seat.see(&running)
    );
    assert_eq!(seat.press(X, &running), None);
    assert!(seat.see(&running).contains("One check at a time"));
    assert_eq!(seat.press(KeyCode::Esc, &running), Some(Request::StopCheck));
    assert!(seat.see(&over).contains("it says"), "the page stays");
    assert_eq!(seat.press(X, &over), None);
    assert!(
        seat.see(&over).contains("last time  18:42:11"),
        "{}",
        seat.see(&over)
    );
    seat.press(KeyCode::Char('n'), &over);
    assert_eq!(seat.see(&over), list);
    seat.press(KeyCode::Enter, &over);
    seat.press(KeyCode::End, &over);
    assert!(
        seat.see(&over).contains("18:42:11"),
        "on its sheet: {}",
        seat.see(&over)
    );
}

#[test]
fn it_goes_on_while_another_page_is_open_and_its_end_is_told_there() {
    let (running, over) = (checked(true), over());
    let mut seat = seat(80, 24, &running);
    seat.press(X, &running);
    assert_eq!(seat.press(KeyCode::Char('f'), &running), None);
    seat.board.take_news(&running, &over);
    assert!(
        seat.see(&over)
            .contains("Stage left: Small frames pass, full-size ones do not"),
        "{}",
        seat.see(&over)
    );
    // With its page open the page tells.
    let mut seat = self::seat(80, 24, &running);
    seat.press(X, &running);
    seat.board.take_news(&running, &over);
    assert!(!seat.see(&over).contains("Stage left: Small"));
}

#[test]
fn the_levels_forbid_it_or_ask_back() {
    let mut silent = hall::calm();
    silent.listen_only = true;
    let mut seat = seat(120, 40, &silent);
    assert_eq!(seat.press(X, &silent), None);
    assert!(
        seat.see(&silent)
            .contains("Listen-only is on, so nothing is sent")
    );
    let mut watching = hall::calm();
    watching.watch_only = true;
    let mut seat = self::seat(120, 40, &watching);
    let list = seat.see(&watching);
    seat.press(X, &watching);
    assert_eq!(seat.press(Y, &watching), None, "that sends more: it asks back");
    assert!(seat.see(&watching).contains("end watching only?"));
    let louder = Request::Louder(Box::new(Request::CheckCable("Stage left".to_owned())));
    assert_eq!(seat.press(Y, &watching), Some(louder));
    let mut seat = self::seat(120, 40, &watching);
    seat.press(X, &watching);
    seat.press(Y, &watching);
    assert_eq!(seat.press(KeyCode::Char('n'), &watching), None);
    assert_eq!(seat.see(&watching), list);
}

#[test]
fn where_it_cannot_be_it_says_why_and_what_to_do() {
    for (why, words) in [
        (NoCheck::NotHere, "not at its address"),
        (NoCheck::Routed, "behind a router"),
        (NoCheck::Ours, "is this computer"),
        (NoCheck::TooSlow, "raise it in the rig file"),
    ] {
        let mut s = hall::calm();
        s.devices[2].cable = Err(why);
        let mut seat = seat(120, 40, &s);
        assert_eq!(seat.press(X, &s), None);
        assert!(seat.see(&s).contains(words), "{why:?}: {}", seat.see(&s));
        seat.press(KeyCode::Enter, &s);
        assert!(!seat.see(&s).contains("x cable"), "no hint for what cannot be");
    }
    let mut s = hall::trouble();
    s.devices.clear();
    let mut seat = Seat::new(120, 40);
    seat.press(X, &s);
    assert!(seat.see(&s).contains("Select a device of the list first"));
}

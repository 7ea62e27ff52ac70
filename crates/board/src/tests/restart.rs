//! "I'm restarting Organ": the question, its answers, and what is shown meanwhile.

use crossterm::event::KeyCode;
use ledger::{Expected, Restarted, Snapshot, Standing};
use vocab::Moment;

use super::{Seat, hall};
use crate::Request;

const SIZES: [(u16, u16); 4] = [(40, 12), (80, 24), (120, 40), (220, 60)];
const R: KeyCode = KeyCode::Char('r');

/// The organ loft is missing, as was announced at 18:41:55 until 18:43:10.
fn announced(overdue: bool) -> Snapshot {
    let mut s = hall::calm();
    s.ready = false;
    s.headline = "Not ready: Organ loft is being restarted, as you said.".to_owned();
    let device = &mut s.devices[0];
    device.standing = Standing::Missing;
    device.restart.expected = Some(Expected {
        since: Moment::from_secs(115),
        until: Moment::from_secs(190),
        overdue,
        switch: None,
    });
    s
}

#[test]
fn the_question_gives_the_order_and_the_caution() {
    let s = hall::calm();
    for (columns, rows) in SIZES {
        let mut seat = Seat::new(columns, rows);
        assert_eq!(seat.press(R, &s), None);
        insta::assert_snapshot!(format!("restart_asked_{columns}x{rows}"), seat.see(&s));
        seat.press(KeyCode::End, &s);
        assert!(seat.see(&s).contains("ends it"), "it scrolls to its end");
    }
}

#[test]
fn the_device_or_its_switch_or_neither() {
    let mut s = hall::calm();
    let mut seat = Seat::new(120, 40);
    let answer = |seat: &mut Seat, key, s: &Snapshot| {
        assert_eq!(seat.press(R, s), None);
        let asked = seat.press(KeyCode::Char(key), s);
        assert!(
            !seat.see(s).contains("I'm restarting Organ") || asked.is_none(),
            "the page closes"
        );
        asked
    };
    let device = Restarted::Device("Organ loft".to_owned());
    assert_eq!(
        answer(&mut seat, 'y', &s),
        Some(Request::Restarting(device.clone(), true))
    );
    let switch = Restarted::Switch("S1".to_owned());
    assert_eq!(
        answer(&mut seat, 's', &s),
        Some(Request::Restarting(switch, true))
    );
    assert_eq!(answer(&mut seat, 'n', &s), None);
    assert!(!seat.see(&s).contains("I'm restarting"));
    // Without a port in the file there is no switch to choose.
    s.devices[0].restart.switch = None;
    assert_eq!(answer(&mut seat, 's', &s), None);
    assert!(seat.see(&s).contains("only the device can be chosen"));
    assert_eq!(
        seat.press(KeyCode::Char('y'), &s),
        Some(Request::Restarting(device, true))
    );
}

#[test]
fn the_same_key_ends_it() {
    let mut s = announced(false);
    let mut seat = Seat::new(80, 24);
    let device = Restarted::Device("Organ loft".to_owned());
    assert_eq!(seat.press(R, &s), Some(Request::Restarting(device, false)));
    if let Some(expected) = &mut s.devices[0].restart.expected {
        expected.switch = Some("S1".to_owned());
    }
    let switch = Restarted::Switch("S1".to_owned());
    assert_eq!(
        seat.press(R, &s),
        Some(Request::Restarting(switch, false)),
        "all of it"
    );
    assert!(seat.see(&s).contains("The restart of S1 is no longer expected."));
}

#[test]
fn until_when_is_said_and_nothing_calls() {
    for (columns, rows) in SIZES {
        let (early, late) = (announced(false), announced(true));
        let mut seat = Seat::new(columns, rows);
        insta::assert_snapshot!(format!("restart_expected_{columns}x{rows}"), seat.see(&early));
        seat.press(KeyCode::Enter, &early);
        let said = |s: &Snapshot| seat.see(s).split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            said(&early).contains("restart expected until 18:43:10"),
            "{}",
            said(&early)
        );
        assert!(
            said(&late).contains("was expected back by 18:43:10"),
            "{}",
            said(&late)
        );
    }
}

#[test]
fn a_stranger_cannot_be_restarted() {
    let s = hall::trouble();
    let mut seat = Seat::new(120, 40);
    seat.press(KeyCode::Tab, &s);
    seat.press(KeyCode::End, &s);
    assert_eq!(seat.press(R, &s), None);
    assert!(seat.see(&s).contains("Select a device of the list first"));
}

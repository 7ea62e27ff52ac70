//! The work list on its page: what ticks it, and what it tells.

use std::net::Ipv4Addr;

use crossterm::event::KeyCode;
use ledger::Snapshot;
use rig::AddressSpec;
use rig::plan::{Follow, Kind, Task, WorkList};
use vocab::{ControlState, Ipv4Net, Mac};

use super::{Seat, hall};
use crate::Request;

const SIZES: [(u16, u16); 4] = [(40, 12), (80, 24), (120, 40), (220, 60)];
const V: KeyCode = KeyCode::Char('v');
const SPACE: KeyCode = KeyCode::Char(' ');

fn task(s: &Snapshot, n: usize, kind: Kind, from: [u8; 4]) -> Task {
    let device = &s.devices[n];
    let AddressSpec::Fixed(to) = device.expected_address else {
        panic!()
    };
    Task {
        device: device.name.clone(),
        macs: device.expected_macs.clone(),
        position: device.position.clone(),
        kind,
        from: Some(from.into()),
        to: Ipv4Net::new(to, 24).unwrap(),
        gateway: Some([10, 40, 8, 1].into()),
        then: Vec::new(),
    }
}

/// The first four devices of the hall come from 192.168.9.0/24; the third was parked before.
fn list(s: &Snapshot) -> WorkList {
    let mut tasks = vec![
        task(s, 0, Kind::Set, [192, 168, 9, 5]),
        Task {
            to: "10.40.8.254/24".parse().unwrap(),
            ..task(s, 2, Kind::Park, [192, 168, 9, 7])
        },
        task(s, 1, Kind::Set, [192, 168, 9, 6]),
        task(s, 2, Kind::Set, [10, 40, 8, 254]),
        task(s, 3, Kind::Adjust, [10, 40, 8, 24]),
    ];
    tasks[0].then = vec![
        Follow::Channel {
            panel: "Desk panel".to_owned(),
            number: 1,
            control: "visca-udp".parse().ok(),
        },
        Follow::User("Mixer input 4".to_owned()),
    ];
    WorkList {
        title: "Harbour Hall".to_owned(),
        tasks,
    }
}

/// Puts device `n` somewhere else.
fn elsewhere(s: &mut Snapshot, n: usize, at: [u8; 4]) {
    let seen = s.devices[n].seen.as_mut().unwrap();
    seen.address = Some(at.into());
    seen.addresses = vec![at.into()];
}

/// The first three are where they were.
fn before() -> Snapshot {
    let mut s = hall::calm();
    for (n, last) in [(0, 5), (1, 6), (2, 7)] {
        elsewhere(&mut s, n, [192, 168, 9, last]);
    }
    s
}

fn seated(columns: u16, rows: u16, s: &Snapshot) -> Seat {
    let mut seat = Seat::new(columns, rows);
    seat.board.keep_moves(list(s), &[]);
    seat.board.take_news(s, s);
    assert_eq!(seat.press(V, s), None);
    seat
}

fn tasks(seat: &Seat) -> Vec<bool> {
    seat.board.ticks().iter().map(|task| task[0]).collect()
}

#[test]
fn the_page_at_all_sizes() {
    let mut s = before();
    for (columns, rows) in SIZES {
        let mut seat = seated(columns, rows, &s);
        insta::assert_snapshot!(format!("moves_begun_{columns}x{rows}"), seat.see(&s));
        let there = hall::calm().devices[0].seen.clone();
        let was = std::mem::replace(&mut s.devices[0].seen, there);
        seat.board.take_news(&s, &s);
        insta::assert_snapshot!(format!("moves_on_{columns}x{rows}"), seat.see(&s));
        s.devices[0].seen = was;
    }
}

#[test]
fn a_move_is_ticked_when_its_own_hardware_answers_there() {
    let calm = hall::calm();
    let mut s = before();
    let mut seat = seated(120, 40, &s);
    assert_eq!(tasks(&seat), [false; 5]);
    // Other hardware at the address is not the device.
    s.devices[0].seen.clone_from(&calm.devices[0].seen);
    s.devices[0].seen.as_mut().unwrap().mac = Some(Mac::new([2, 0x52, 0x43, 0, 9, 9]));
    seat.board.take_news(&s, &s);
    assert_eq!(tasks(&seat), [false; 5]);
    // Nor is it enough that it is there: its ports must answer.
    s.devices[0].seen.clone_from(&calm.devices[0].seen);
    s.devices[0].control[0].state = Some(ControlState::Silent);
    seat.board.take_news(&s, &s);
    assert_eq!(tasks(&seat), [false; 5]);
    assert!(seat.see(&s).contains("not answering yet"), "{}", seat.see(&s));
    s.devices[0].control.clone_from(&calm.devices[0].control);
    seat.board.take_news(&s, &s);
    assert_eq!(tasks(&seat), [true, false, false, false, false]);
    assert_eq!(
        seat.board.ticks()[0],
        [true, false, false],
        "what follows is for hands"
    );
    // The parked one goes on before anybody looks.
    s.devices[2].seen.clone_from(&calm.devices[2].seen);
    seat.board.take_news(&s, &s);
    assert_eq!(tasks(&seat), [true, true, false, true, false]);
}

#[test]
fn a_device_at_an_address_that_the_file_does_not_have_says_what_to_do() {
    let mut s = hall::calm();
    s.devices[0].expected_address = AddressSpec::Fixed(Ipv4Addr::new(192, 168, 9, 5));
    let to = s.devices[0].seen.as_ref().and_then(|seen| seen.address).unwrap();
    for control in &mut s.devices[0].control {
        control.state = None;
    }
    let mut work = list(&hall::calm());
    assert_eq!(work.tasks[0].to.addr(), to);
    work.tasks.truncate(1);
    let mut seat = Seat::new(120, 40);
    seat.board.keep_moves(work, &[]);
    seat.board.take_news(&s, &s);
    seat.press(V, &s);
    assert_eq!(tasks(&seat), [false]);
    assert!(
        seat.see(&s).contains("rigmuster plan --write"),
        "{}",
        seat.see(&s)
    );
}

#[test]
fn hands_tick_what_the_wire_does_not_show_and_the_next_step_follows() {
    let s = before();
    let mut seat = seated(80, 24, &s);
    assert_eq!(seat.press(KeyCode::Down, &s), None);
    assert_eq!(seat.press(SPACE, &s), Some(Request::Ticked));
    assert_eq!(seat.board.ticks()[0], [false, true, false]);
    // The selection is back at the step that is next.
    assert_eq!(seat.press(KeyCode::Enter, &s), Some(Request::Ticked));
    assert_eq!(seat.board.ticks()[0], [true, true, false]);
    // By hand it holds against what is seen, until it arrives.
    seat.board.take_news(&s, &s);
    assert_eq!(seat.board.ticks()[0], [true, true, false]);
    // A tick can be taken back.
    seat.press(KeyCode::Home, &s);
    seat.press(SPACE, &s);
    assert_eq!(seat.board.ticks()[0], [false, true, false]);
    for _ in 0..6 {
        assert_eq!(seat.press(SPACE, &s), Some(Request::Ticked));
    }
    assert!(seat.see(&s).contains("All 7 steps"), "{}", seat.see(&s));
    // Nothing is ticked while another page is open.
    seat.press(KeyCode::Esc, &s);
    assert_eq!(seat.press(SPACE, &s), None);
}

#[test]
fn ticks_that_were_kept_come_back() {
    let s = before();
    let mut seat = Seat::new(80, 24);
    seat.board
        .keep_moves(list(&s), &[vec![false, true], vec![], vec![true, true, true]]);
    assert_eq!(seat.board.ticks()[0], [false, true, false]);
    assert_eq!(tasks(&seat), [false, false, true, false, false]);
    assert_eq!(seat.board.ticks().len(), 5);
}

#[test]
fn the_selected_step_stays_in_sight() {
    let s = before();
    let mut work = list(&s);
    let one = work.tasks[0].clone();
    work.tasks = vec![one; 60];
    for (columns, rows) in SIZES {
        let mut seat = Seat::new(columns, rows);
        seat.board.keep_moves(work.clone(), &[]);
        seat.press(V, &s);
        for n in 1..180 {
            seat.press(KeyCode::Down, &s);
            let screen = seat.see(&s);
            assert_eq!(
                screen.matches('»').count(),
                1,
                "step {n} at {columns}x{rows}:\n{screen}"
            );
        }
        seat.press(KeyCode::End, &s);
        seat.press(KeyCode::Home, &s);
        assert!(seat.see(&s).contains("» [ ] 1. "), "{}", seat.see(&s));
    }
}

#[test]
fn without_a_list_the_key_says_how_to_get_one() {
    let s = hall::calm();
    let mut seat = Seat::new(80, 24);
    seat.press(V, &s);
    let whole = "plan --moves-to FILE makes one, board --moves FILE shows it.";
    assert!(seat.see(&s).contains(whole), "{}", seat.see(&s));
}

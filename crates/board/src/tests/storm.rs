//! Any size, any snapshot, any keys: nothing panics, and nothing is built that cannot be seen.

use std::cell::Cell;

use crossterm::event::{Event, KeyCode, KeyEvent, KeyModifiers, MouseButton, MouseEvent, MouseEventKind};
use ledger::{Snapshot, Standing};
use proptest::prelude::*;
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use vocab::LinkState;

use super::hall;
use crate::{Board, ColourUse, Look};

fn key() -> impl Strategy<Value = KeyCode> {
    prop_oneof![
        prop::sample::select(vec![
            KeyCode::Up,
            KeyCode::Down,
            KeyCode::Left,
            KeyCode::Right,
            KeyCode::PageUp,
            KeyCode::PageDown,
            KeyCode::Home,
            KeyCode::End,
            KeyCode::Enter,
            KeyCode::Esc,
            KeyCode::Backspace,
            KeyCode::Tab,
        ]),
        prop::sample::select(vec!['/', 's', 'c', 'l', 'f', 'h', '?', 'y', 'n', '1', 'é', '語'])
            .prop_map(KeyCode::Char),
    ]
}

fn event() -> impl Strategy<Value = Event> {
    prop_oneof![
        6 => key().prop_map(|code| Event::Key(KeyEvent::new(code, KeyModifiers::NONE))),
        3 => (0_u16..240, 0_u16..70, 0_usize..3).prop_map(|(column, row, kind)| Event::Mouse(MouseEvent {
            kind: [
                MouseEventKind::Down(MouseButton::Left),
                MouseEventKind::ScrollDown,
                MouseEventKind::ScrollUp,
            ][kind],
            column,
            row,
            modifiers: KeyModifiers::NONE,
        })),
        1 => (0_u16..240, 0_u16..70).prop_map(|(w, h)| Event::Resize(w, h)),
    ]
}

prop_compose! {
    fn snapshot()(
        base in 0..4_usize,
        count in 0_usize..60,
        name in "\\PC{0,40}",
        headline in "\\PC{0,200}",
        standings in prop::collection::vec(0_usize..9, 60),
        findings in 0_usize..30,
        strangers in 0_usize..30,
        unseen in 0_usize..4,
        down in any::<bool>(),
        extremes in any::<bool>(),
    ) -> Snapshot {
        let mut s = vec![hall::calm(), hall::trouble(), hall::astray(), hall::many(count)].swap_remove(base);
        for (device, standing) in s.devices.iter_mut().zip(standings) {
            device.standing = Standing::ALL[standing];
        }
        if let Some(device) = s.devices.first_mut() {
            device.name.clone_from(&name);
            device.detail.clone_from(&name);
            device.advice.clone_from(&headline);
            device.note = Some(headline.clone());
        }
        s.findings = s.findings.iter().cloned().cycle().take(if s.findings.is_empty() { 0 } else { findings }).collect();
        s.unlisted = s.unlisted.iter().cloned().cycle().take(if s.unlisted.is_empty() { 0 } else { strangers }).collect();
        s.unlisted_total = s.unlisted.len() + findings;
        if let Some(host) = s.unlisted.first_mut() {
            host.mac = None;
            host.addresses.clear();
            host.names = vec![super::hall::named(&name)];
        }
        s.headline = headline;
        s.unseen = vec![name; unseen];
        if down && let Some(station) = &mut s.station {
            station.state = LinkState::Gone;
        }
        if extremes {
            s.station = None;
            s.changes.clear();
            s.title = None;
            s.pass = Some((u64::MAX, u64::MAX));
            s.dropped = u64::MAX;
        }
        s
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

    #[test]
    fn nothing_panics(
        before in snapshot(),
        after in snapshot(),
        sizes in prop::collection::vec((0_u16..240, 0_u16..70), 1..4),
        events in prop::collection::vec(event(), 0..40),
        unicode in any::<bool>(),
    ) {
        let mut board = Board::new(Look { colour: ColourUse::None, unicode });
        let mut terminals: Vec<_> = sizes
            .iter()
            .map(|(w, h)| Terminal::new(TestBackend::new(*w, *h)).unwrap())
            .collect();
        for (n, event) in events.iter().enumerate() {
            let s = if n < events.len() / 2 { &before } else { &after };
            let at = n % terminals.len();
            if n % 5 == 0 {
                board.resize(sizes[at].0, sizes[at].1);
            }
            board.handle(event, s);
            terminals[at].draw(|frame| board.draw(frame, s, &super::clock)).unwrap();
        }
        for terminal in &mut terminals {
            terminal.draw(|frame| board.draw(frame, &after, &super::clock)).unwrap();
        }
    }
}

#[test]
fn every_size_from_nothing_up_can_be_drawn() {
    let s = hall::trouble();
    let board = Board::new(super::FULL);
    for columns in (0..90).step_by(3).chain([160, 220]) {
        for rows in (0..34).chain([60]) {
            super::paint(&board, &s, columns, rows);
        }
    }
}

/// Unknown devices ask the clock for when they were last heard: so the clock counts what is built.
#[test]
fn of_a_thousand_only_the_visible_are_built() {
    let mut s = hall::many(1_000);
    s.devices.iter_mut().for_each(|d| d.standing = Standing::Unknown);
    s.changes.clear();
    for list in [false, true] {
        let mut board = Board::new(super::FULL);
        if list {
            board.handle(&Event::Key(KeyEvent::new(KeyCode::Tab, KeyModifiers::NONE)), &s);
        }
        let asked = Cell::new(0);
        let clock = |at| {
            asked.set(asked.get() + 1);
            super::clock(at)
        };
        let mut terminal = Terminal::new(TestBackend::new(80, 24)).unwrap();
        terminal.draw(|frame| board.draw(frame, &s, &clock)).unwrap();
        assert!((2..60).contains(&asked.get()), "{} times", asked.get());
    }
}

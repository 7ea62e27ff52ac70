//! Deeds by the board's keys, in a rehearsal in the venue's own time: what the page says at each stage, and what is
//! written down.

mod reach;
mod readdress;
mod walk;
mod whom;

use std::time::Duration;

use crossterm::event::{Event, KeyCode, KeyEvent, KeyModifiers};
use ratatui::Terminal;
use ratatui::backend::TestBackend;

use ::board::{ColourUse, Look, Request};
use ledger::Purpose;
use venue::Venue;
use vocab::Level;

use super::super::super::open::{Tempo, open};
use super::*;
use crate::args::LinkArgs;
use crate::settings;
use crate::source::{Source, exchange};

/// So far the venue's time goes at one go beside real sockets.
const STEP: Duration = Duration::from_millis(20);
/// Nothing on a page takes longer than this of the venue's time.
const LONGEST: Duration = Duration::from_mins(10);

/// Somebody at a board on which a scene is played.
struct Desk {
    run: Run,
    board: Board,
    hands: Hands,
    snapshot: Snapshot,
    /// The revision of that, and whether it was looked at.
    revision: Option<u64>,
    is_new: bool,
    /// What was written down.
    done: Vec<Action>,
    size: (u16, u16),
    /// Whether real sockets are at work beside the venue, whose time must not run away from them.
    beside: bool,
}

impl Desk {
    /// The scene from its start.
    fn at(scene: &str, size: (u16, u16)) -> Self {
        let expected = Expected::of_scene(&settings::scene(scene).unwrap()).unwrap();
        let link = LinkArgs {
            link: Vec::new(),
            rehearse: Some(scene.to_owned()),
            seed: 1,
            listen_only: false,
            pace: None,
            unprivileged: false,
        };
        let run = open(&expected, &link, Purpose::Board, Tempo::Jump).unwrap();
        let mut board = Board::new(Look {
            colour: ColourUse::Full16,
            unicode: true,
        });
        board.resize(size.0, size.1);
        let snapshot = run.ledger.snapshot(run.source.now());
        Self {
            run,
            board,
            hands: Hands::new(expected, |_| Ok(())),
            snapshot,
            revision: None,
            is_new: true,
            done: Vec::new(),
            size,
            beside: false,
        }
    }

    /// The venue, to look what really is there and to make more happen.
    fn venue(&mut self) -> &mut Venue {
        match &mut self.run.source {
            Source::Rehearsal(rehearsal) => rehearsal.venue_mut(),
            Source::Live(_) => unreachable!("a rehearsal is never live"),
        }
    }

    /// One turn of the board's loop.
    async fn turn(&mut self) {
        if !self.hands.are_busy() {
            exchange(&mut self.run.source, &mut self.run.ledger);
        }
        let done = &mut self.done;
        let given = self
            .hands
            .step(&mut self.run, &mut self.board, &mut |action, _| done.push(action));
        while self.run.ledger.next_change().is_some() {}
        let now = self.run.source.now();
        let revision = self.run.ledger.revision();
        if self.revision != Some(revision) {
            self.revision = Some(revision);
            self.snapshot = self.run.ledger.snapshot(now);
            self.is_new = true;
        }
        let wakes = [self.run.ledger.next_wake(), self.hands.next_wake()];
        let mut until = wakes.into_iter().flatten().min();
        if self.beside && self.hands.are_busy() {
            for _ in 0..4 {
                tokio::task::yield_now().await;
            }
            until = Some(now + STEP).min(until.or(Some(now + STEP)));
        }
        self.run.source.turn(if given { Some(now) } else { until }).await;
    }

    /// Until the screen shows these words.
    async fn until(&mut self, words: &str) {
        let end = self.run.source.now() + LONGEST;
        let mut seen = self.see();
        while !seen.contains(words) {
            assert!(self.run.source.now() < end, "{words:?} is not on\n{seen}");
            self.turn().await;
            // What cannot look otherwise is not painted.
            if self.board.take_dirty() | std::mem::take(&mut self.is_new) {
                seen = self.see();
            }
        }
    }

    /// Until the board counts this device so.
    async fn until_device(&mut self, name: &str, standing: ledger::Standing) {
        let end = self.run.source.now() + LONGEST;
        let is_so = |s: &Snapshot| s.devices.iter().any(|d| d.name == name && d.standing == standing);
        while !is_so(&self.snapshot) {
            assert!(self.run.source.now() < end, "{name} is never {standing:?}");
            self.turn().await;
        }
    }

    /// Selects the device of that name, by the filter.
    async fn select(&mut self, name: &str) {
        for code in [KeyCode::Char('/'), KeyCode::Esc, KeyCode::Char('/')] {
            self.press(code);
        }
        self.type_in(name);
        self.press(KeyCode::Enter);
        self.turn().await;
    }

    fn press(&mut self, code: KeyCode) {
        let event = Event::Key(KeyEvent::new(code, KeyModifiers::NONE));
        let request = self.board.handle(&event, &self.snapshot);
        let said = format!("{request:?}");
        assert!(!said.contains("harbour-7"), "{said}");
        match request {
            Some(Request::Deed { deed, who }) => {
                self.hands
                    .begin(deed, &who, &self.run, &self.snapshot, &mut self.board);
            }
            Some(Request::Answer(answer)) => self.hands.answer(answer),
            Some(Request::EndDeed) => self.hands.stop(Stop::Interrupted, &mut self.run),
            Some(Request::Level(level)) => {
                self.run.source.set_level(level);
                self.hands.take_level(level, &mut self.run);
            }
            Some(other) => panic!("{other:?}"),
            None => {}
        }
    }

    fn key(&mut self, c: char) {
        self.press(KeyCode::Char(c));
    }

    fn type_in(&mut self, words: &str) {
        words.chars().for_each(|c| self.key(c));
    }

    /// Types a line to its end.
    fn line(&mut self, words: &str) {
        self.type_in(words);
        self.press(KeyCode::Enter);
    }

    /// The screen as text, without the blanks at the ends of lines.
    fn see(&self) -> String {
        let mut terminal = Terminal::new(TestBackend::new(self.size.0, self.size.1)).unwrap();
        let clock = |_| "18:42:07".to_owned();
        terminal
            .draw(|frame| self.board.draw(frame, &self.snapshot, &clock))
            .unwrap();
        let buffer = terminal.backend().buffer();
        let lines = buffer.content.chunks(usize::from(self.size.0)).map(|row| {
            let line: String = row.iter().map(ratatui::buffer::Cell::symbol).collect();
            line.trim_end().to_owned() + "\n"
        });
        lines.collect()
    }

    /// What was written down, each begun and ended deed in a line.
    fn noted(&self) -> Vec<(bool, &str)> {
        self.done.iter().map(|a| (a.began, a.text.as_str())).collect()
    }
}

/// Plays what one person does.
fn play(scene: &str, size: (u16, u16), work: impl AsyncFnOnce(&mut Desk)) {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    let mut desk = Desk::at(scene, size);
    runtime.block_on(work(&mut desk));
}

/// Each screen that the pictures are made for.
const SIZES: [(u16, u16); 2] = [(80, 24), (120, 40)];

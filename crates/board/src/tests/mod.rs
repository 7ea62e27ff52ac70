//! Whole screens, painted and played. The rig is invented: Harbour Hall, a chamber concert.

mod cable;
mod deed;
mod enroll;
mod far;
pub(crate) mod hall;
mod level;
mod moves;
mod outage;
mod past;
mod pictures;
mod play;
mod restart;
mod starts;
mod storm;
mod styles;

use crossterm::event::{Event, KeyCode, KeyEvent, KeyModifiers, MouseButton, MouseEvent, MouseEventKind};
use ledger::Snapshot;
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::buffer::Buffer;
use vocab::Moment;

use crate::{Board, ColourUse, Look, Request};

/// All that a good terminal shows.
const FULL: Look = Look {
    colour: ColourUse::Full16,
    unicode: true,
};

/// The time of day for tests: the run began at 18:40:00.
fn clock(at: Moment) -> String {
    let secs = 18 * 3600 + 40 * 60 + at.as_millis() / 1_000;
    format!("{:02}:{:02}:{:02}", secs / 3600 % 24, secs / 60 % 60, secs % 60)
}

/// Paints one screen.
fn paint(board: &Board, snapshot: &Snapshot, columns: u16, rows: u16) -> Buffer {
    let mut terminal = Terminal::new(TestBackend::new(columns, rows)).unwrap();
    terminal
        .draw(|frame| board.draw(frame, snapshot, &clock))
        .unwrap();
    terminal.backend().buffer().clone()
}

/// The screen as text, without the blanks at the ends of lines.
fn text(buffer: &Buffer) -> String {
    let mut out = String::new();
    for y in 0..buffer.area.height {
        let mut line = String::new();
        let mut skip = 0;
        for x in 0..buffer.area.width {
            let symbol = buffer[(x, y)].symbol();
            if skip > 0 {
                skip -= 1;
                continue;
            }
            skip = crate::text::width(symbol).saturating_sub(1);
            line.push_str(symbol);
        }
        out.push_str(line.trim_end());
        out.push('\n');
    }
    out
}

/// A board on a screen of its own, as a person uses it.
struct Seat {
    board: Board,
    columns: u16,
    rows: u16,
}

impl Seat {
    fn new(columns: u16, rows: u16) -> Self {
        Self::with(FULL, columns, rows)
    }

    fn with(look: Look, columns: u16, rows: u16) -> Self {
        let mut board = Board::new(look);
        board.resize(columns, rows);
        Self { board, columns, rows }
    }

    fn press(&mut self, code: KeyCode, snapshot: &Snapshot) -> Option<Request> {
        self.board
            .handle(&Event::Key(KeyEvent::new(code, KeyModifiers::NONE)), snapshot)
    }

    fn type_in(&mut self, words: &str, snapshot: &Snapshot) {
        for c in words.chars() {
            assert_eq!(self.press(KeyCode::Char(c), snapshot), None);
        }
    }

    fn mouse(
        &mut self,
        kind: MouseEventKind,
        (column, row): (u16, u16),
        snapshot: &Snapshot,
    ) -> Option<Request> {
        let event = MouseEvent {
            kind,
            column,
            row,
            modifiers: KeyModifiers::NONE,
        };
        self.board.handle(&Event::Mouse(event), snapshot)
    }

    fn click(&mut self, at: (u16, u16), snapshot: &Snapshot) -> Option<Request> {
        self.mouse(MouseEventKind::Down(MouseButton::Left), at, snapshot)
    }

    fn see(&self, snapshot: &Snapshot) -> String {
        text(&paint(&self.board, snapshot, self.columns, self.rows))
    }

    /// Where `words` stand on the screen, first from the top.
    fn find(&self, words: &str, snapshot: &Snapshot) -> (u16, u16) {
        let screen = self.see(snapshot);
        let (y, line) = screen
            .lines()
            .enumerate()
            .find(|(_, line)| line.contains(words))
            .unwrap_or_else(|| panic!("{words:?} is not on\n{screen}"));
        let x = crate::text::width(&line[..line.find(words).unwrap()]);
        (u16::try_from(x).unwrap(), u16::try_from(y).unwrap())
    }
}

//! The board's screen, and how much of it changes.

use board::{Board, ColourUse, Look};
use ledger::Snapshot;
use ratatui::backend::TestBackend;
use ratatui::buffer::Buffer;
use ratatui::{Terminal, layout::Position};

const COLUMNS: u16 = 120;
const ROWS: u16 = 40;

/// What was drawn, and how often it changed.
pub(super) struct Screen {
    board: Board,
    shown: Buffer,
    /// Pictures in which anything differed from the one before.
    pub(super) pictures: usize,
    /// Lines that differed, over all pictures.
    pub(super) lines: usize,
    /// Every headline, each only where it changed.
    pub(super) headlines: Vec<String>,
}

impl Screen {
    pub(super) fn of(snapshot: &Snapshot) -> Self {
        let mut board = Board::new(Look {
            colour: ColourUse::None,
            unicode: true,
        });
        board.resize(COLUMNS, ROWS);
        let shown = paint(&board, snapshot);
        Self {
            board,
            shown,
            pictures: 0,
            lines: 0,
            headlines: vec![snapshot.headline.clone()],
        }
    }

    /// Draws this one, and notes what is another than before.
    pub(super) fn show(&mut self, snapshot: &Snapshot) {
        let now = paint(&self.board, snapshot);
        let changed = (0..ROWS)
            .filter(|y| line(&self.shown, *y) != line(&now, *y))
            .count();
        self.pictures += usize::from(changed > 0);
        self.lines += changed;
        self.shown = now;
        if self.headlines.last() != Some(&snapshot.headline) {
            self.headlines.push(snapshot.headline.clone());
        }
    }

    /// The picture as text.
    pub(super) fn text(&self) -> String {
        (0..ROWS).map(|y| line(&self.shown, y) + "\n").collect()
    }
}

fn paint(board: &Board, snapshot: &Snapshot) -> Buffer {
    let mut terminal = Terminal::new(TestBackend::new(COLUMNS, ROWS)).expect("a screen of memory");
    let clock = |at: vocab::Moment| format!("{:02}:{:02}", at.since(vocab::Moment::ZERO).as_secs() / 60, 0);
    terminal
        .draw(|frame| board.draw(frame, snapshot, &clock))
        .expect("it is drawn")
        .buffer
        .clone()
}

fn line(buffer: &Buffer, y: u16) -> String {
    let cell = |x| buffer.cell(Position::new(x, y)).map_or(" ", |c| c.symbol());
    (0..COLUMNS).map(cell).collect::<String>().trim_end().to_owned()
}

//! The board's own state, and what keys and the mouse do to it.

use crossterm::event::Event;
use ledger::Snapshot;
use ratatui::Frame;
use vocab::Moment;

use crate::Look;

/// Something that the user wants from the program.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Request {
    /// Leave.
    Quit,
    /// Go through the subnet once more, now.
    SweepNow,
    /// Ask the control ports of the device of this name, now.
    AskControl(String),
    /// Keep silent from now on (`true`), or ask again (`false`; the user has confirmed it).
    ListenOnly(bool),
}

/// The board: which page is open, what is selected, what is filtered.
#[derive(Debug, Clone)]
pub struct Board {
    look: Look,
    size: (u16, u16),
    dirty: bool,
}

impl Board {
    /// A board that opens on the wall. Until [`Board::resize`] or a resize event says otherwise it
    /// takes the screen to be 80x24.
    pub const fn new(look: Look) -> Self {
        Self {
            look,
            size: (80, 24),
            dirty: true,
        }
    }

    /// Says how many columns and rows the screen has: once at the start, since the mouse is read
    /// by it. Later a resize event does the same.
    pub const fn resize(&mut self, width: u16, height: u16) {
        self.size = (width, height);
        self.dirty = true;
    }

    /// Takes an event of the terminal. `snapshot` is what was last drawn.
    pub fn handle(&mut self, event: &Event, snapshot: &Snapshot) -> Option<Request> {
        let _ = snapshot;
        if let Event::Resize(width, height) = *event {
            self.resize(width, height);
        }
        None
    }

    /// Paints the whole screen. `clock` turns a moment into the time of day to show, "18:42:07".
    pub fn draw(&self, frame: &mut Frame, snapshot: &Snapshot, clock: &dyn Fn(Moment) -> String) {
        let _ = (frame, snapshot, clock, self.look);
    }

    /// Whether the board itself changed since it was last drawn. A new snapshot is for the caller
    /// to notice.
    pub const fn dirty(&self) -> bool {
        self.dirty
    }

    /// The same, and forgets it.
    pub const fn take_dirty(&mut self) -> bool {
        core::mem::replace(&mut self.dirty, false)
    }
}

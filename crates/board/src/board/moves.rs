//! What the board has to do with a work list.

use ledger::Snapshot;
use rig::plan::WorkList;

use super::{Board, Page};
use crate::Request;
use crate::moves::{self, Moves};

impl Board {
    /// Shows this work list on a page of its own. `ticks` say what of it was done before: for each task
    /// whether it is, then the same for each that follows it.
    pub fn keep_moves(&mut self, work: WorkList, ticks: &[Vec<bool>]) {
        self.moves = Some(Moves::new(work, ticks));
        self.dirty = true;
    }

    /// What of the work list is done, in the form of [`Board::keep_moves`].
    pub fn ticks(&self) -> &[Vec<bool>] {
        self.moves.as_ref().map_or(&[], Moves::ticks)
    }

    pub(crate) const fn has_moves(&self) -> bool {
        self.moves.is_some()
    }

    /// The page of the work list.
    pub(crate) fn moves_page(&self, snapshot: &Snapshot, columns: u16) -> Option<moves::Page> {
        self.moves.as_ref().map(|moves| moves.page(snapshot, columns))
    }

    pub(super) fn open_moves(&mut self) {
        if self.moves.is_some() {
            self.toggle(Page::Moves);
        } else {
            self.tell("No work list: plan --moves-to FILE makes one, board --moves FILE shows it.");
        }
    }

    /// Ticks the selected step, if the page is open.
    pub(super) fn tick(&mut self) -> Option<Request> {
        let moves = self.moves.as_mut().filter(|_| self.page == Some(Page::Moves))?;
        moves.tick();
        Some(Request::Ticked)
    }

    /// Ticks what has arrived.
    pub(super) fn look_at_moves(&mut self, snapshot: &Snapshot) {
        if let Some(moves) = &mut self.moves {
            self.dirty |= moves.look(snapshot);
        }
    }
}

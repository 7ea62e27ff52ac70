//! The running list of changes.

use std::collections::VecDeque;

use crate::Change;

/// Changes kept for the screen, and at most so many wait to be taken.
const KEPT: usize = 1_000;

/// What began and ended so far.
#[derive(Debug, Default)]
pub(crate) struct Changes {
    kept: VecDeque<Change>,
    waiting: VecDeque<Change>,
}

impl Changes {
    /// One more.
    pub(crate) fn push(&mut self, change: Change) {
        for list in [&mut self.kept, &mut self.waiting] {
            if list.len() == KEPT {
                list.pop_front();
            }
        }
        self.kept.push_back(change.clone());
        self.waiting.push_back(change);
    }

    /// The oldest that was not taken yet.
    pub(crate) fn take(&mut self) -> Option<Change> {
        self.waiting.pop_front()
    }

    /// All that are kept, oldest first.
    pub(crate) fn all(&self) -> impl Iterator<Item = &Change> {
        self.kept.iter()
    }
}

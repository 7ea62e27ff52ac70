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
    /// What is held back, while anything is.
    held: Option<Vec<Change>>,
}

impl Changes {
    /// One more.
    pub(crate) fn push(&mut self, change: Change) {
        if let Some(held) = &mut self.held {
            held.push(change);
            return;
        }
        // What another tells is on record only.
        let shown = (!change.folded).then(|| change.clone());
        for (list, change) in [(&mut self.kept, shown), (&mut self.waiting, Some(change))] {
            if list.len() == KEPT && change.is_some() {
                list.pop_front();
            }
            list.extend(change);
        }
    }

    /// Holds back all that comes, until it is opened again.
    pub(crate) fn hold(&mut self) {
        self.held.get_or_insert_default();
    }

    /// Holds nothing back any more: what was held, oldest first.
    pub(crate) fn open(&mut self) -> Vec<Change> {
        self.held.take().unwrap_or_default()
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

//! What the board has to do with the journal: it looks back into it, and says when it is not written.

use ledger::Snapshot;

use super::{Board, Page};
use crate::Request;
use crate::past::{Past, PastLine};

impl Board {
    /// Shows something that is wrong with the program itself above everything, until it is taken
    /// back with `None`.
    pub fn warn(&mut self, words: Option<String>) {
        self.dirty |= self.warning != words;
        self.warning = words;
    }

    pub(crate) fn warning(&self) -> Option<&str> {
        self.warning.as_deref()
    }

    /// There is a journal: the page of changes may ask for it with [`Request::Past`].
    pub const fn keep_journal(&mut self) {
        self.past.begin();
    }

    /// Takes the lines of the journal that were asked for, the latest first. `more`: there is more
    /// before them.
    pub fn add_past(&mut self, lines: Vec<PastLine>, more: bool) {
        self.past.add(lines, more);
        self.dirty = true;
    }

    pub(crate) const fn past(&self) -> &Past {
        &self.past
    }

    /// Asks for more of the journal, where the open page shows the end of what is known.
    pub(super) fn look_back(&mut self, snapshot: &Snapshot) -> Option<Request> {
        if self.page != Some(Page::History) {
            return None;
        }
        let plan = self.plan_here(snapshot)?;
        let last = plan.page_top + usize::from(plan.areas.main.height);
        let anew = self.past.wants(last, snapshot)?;
        Some(Request::Past { anew })
    }
}

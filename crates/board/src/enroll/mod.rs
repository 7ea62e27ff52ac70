//! The sheet of an enrolment: a full screen of its own, on which each proposal of a draft is confirmed.
//!
//! Like the board it is a pure view with keys: [`EnrollSheet::draw`] paints a [`Draft`] and what
//! surrounds it, [`EnrollSheet::handle`] changes the draft by the user's word and hands back a
//! [`EnrollRequest`] where something is wanted from the program. Nothing is written here.

mod act;
mod detail;
mod field;
mod foot;
mod head;
mod help;
mod keys;
mod paint;
mod plan;
mod preview;
mod rows;

use std::time::Duration;

use rig::enroll::{Draft, HostId};

use crate::Look;
use crate::filter::Filter;

use field::Field;
use keys::Mood;

pub use preview::{Change, Preview};

/// Something that the user wants from the program.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EnrollRequest {
    /// Leave; nothing is written.
    Quit,
    /// Go through the subnet once more, now.
    Sweep,
    /// Show what would be written: answer with [`EnrollSheet::show`] or [`EnrollSheet::tell`].
    Prepare,
    /// Write what was shown (the user has confirmed it).
    Write,
}

/// What surrounds the draft on the screen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Around {
    /// The file's name.
    pub file: String,
    /// By which means the hosts were seen, in a few words.
    pub seen_by: String,
    /// How far the look at the wire is.
    pub look: LookState,
    /// Whether another look can be had.
    pub may_sweep: bool,
}

/// How far the look at the wire is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LookState {
    /// So many of so many addresses are asked.
    Asking(u64, u64),
    /// All are asked, and answers are waited for.
    Waiting,
    /// Nothing is asked any more; who speaks is heard all the same.
    Over,
    /// It was over before this run: a saved survey.
    Saved,
}

/// What lies over the rows.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Page {
    Help,
    Preview(Preview),
}

/// The sheet: what is selected, filtered, typed and asked.
#[derive(Debug, Clone)]
pub struct EnrollSheet {
    look: Look,
    size: (u16, u16),
    dirty: bool,
    chosen: Option<HostId>,
    /// On which line of the rows the selected one stands. It stays there, whatever comes in.
    line: usize,
    filter: Filter,
    field: Option<Field>,
    page: Option<Page>,
    page_top: usize,
    leaving: bool,
    /// Whether a person decided anything that leaving would lose.
    touched: bool,
    notice: Option<String>,
}

impl EnrollSheet {
    /// How often the draft may be renewed while hosts come in: what is read does not jump.
    pub const PACE: Duration = Duration::from_millis(250);

    /// A sheet that takes the screen to be 80x24 until told otherwise.
    pub const fn new(look: Look) -> Self {
        Self {
            look,
            size: (80, 24),
            dirty: true,
            chosen: None,
            line: 0,
            filter: Filter::NONE,
            field: None,
            page: None,
            page_top: 0,
            leaving: false,
            touched: false,
            notice: None,
        }
    }

    /// Says how many columns and rows the screen has.
    pub const fn resize(&mut self, width: u16, height: u16) {
        self.size = (width, height);
        self.dirty = true;
    }

    /// Tells something at the foot until the next key.
    pub fn tell(&mut self, words: &str) {
        words.clone_into(self.notice.get_or_insert_default());
        self.dirty = true;
    }

    /// Puts the cursor on the host at `row`.
    pub fn point(&mut self, row: usize, draft: &Draft) {
        self.filter.clear();
        self.chosen = draft.rows().get(row).map(|row| row.id);
        self.dirty = true;
    }

    /// Shows what would be written, and asks whether it shall be.
    pub fn show(&mut self, preview: Preview) {
        self.page = Some(Page::Preview(preview));
        self.page_top = 0;
        self.dirty = true;
    }

    /// Whether it shows what would be written, and waits for a word on it.
    pub const fn previews(&self) -> bool {
        matches!(self.page, Some(Page::Preview(_)))
    }

    /// What surrounds the draft has changed: it is to be drawn anew.
    pub const fn touch(&mut self) {
        self.dirty = true;
    }

    /// Whether the sheet changed since this was last asked.
    pub const fn take_dirty(&mut self) -> bool {
        core::mem::replace(&mut self.dirty, false)
    }

    const fn mood(&self) -> Mood {
        if self.leaving {
            return Mood::Leaving;
        }
        if self.field.is_some() {
            return Mood::Field;
        }
        if self.filter.typing {
            return Mood::Typing;
        }
        match self.page {
            Some(Page::Preview(_)) => Mood::Preview,
            Some(Page::Help) => Mood::Help,
            None => Mood::Rows,
        }
    }
}

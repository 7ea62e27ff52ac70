//! Deeds: which one is wanted, of whom, and its page.

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use ledger::{Snapshot, Standing};
use ratatui::layout::Rect;
use ratatui::text::Line;
use rig::Role;
use vocab::Level;

use super::{Board, Page};
use crate::deed::{self, DeedForm, DeedLine, Panel};
use crate::keys::{Action, Mood};
use crate::rows::{One, Who};
use crate::{Deed, Request, keys};

const LOCKED: &str = "The show lock is on: nothing may act on a device. Key l lifts it.";

impl Board {
    /// The user wants a deed done to what is selected. One that is under way is shown instead.
    pub(super) fn ask_deed(&mut self, deed: Deed, snapshot: &Snapshot) -> Option<Request> {
        if let Some(panel) = self.deed.as_ref().filter(|panel| !panel.is_over()) {
            let words = format!("First this: {} goes on. Esc ends it.", panel.title());
            let another = panel.kind() != Some(deed);
            self.show_deed();
            if another {
                self.tell(&words);
            }
            return None;
        }
        if snapshot.level() != Level::All {
            self.tell(LOCKED);
            return None;
        }
        let who = match self.selected(snapshot) {
            Some(Who::Device(name)) => name,
            Some(Who::Host(Some(mac), _)) => mac.to_string(),
            Some(Who::Host(None, _)) | None => {
                self.tell("Select a device or a host whose hardware is known first.");
                return None;
            }
        };
        self.wanted = Some(deed);
        Some(Request::Deed { deed, who })
    }

    /// Whether this deed has something to do for the one whose sheet is open.
    pub(crate) fn lets_do(&self, deed: Deed, snapshot: &Snapshot) -> bool {
        if snapshot.level() != Level::All {
            return false;
        }
        match self.chosen().and_then(|who| who.find(snapshot)) {
            Some(One::Device(device)) => match deed {
                Deed::Wink | Deed::Reach => device.seen.is_some() && device.standing != Standing::Missing,
                Deed::Readdress => matches!(
                    device.standing,
                    Standing::WrongSubnet | Standing::Moved | Standing::Conflict | Standing::Replaced
                ),
                Deed::Walk => device.role == Role::Panel,
            },
            Some(One::Host(host)) => host.mac.is_some() && deed == Deed::Reach,
            None => false,
        }
    }

    /// Opens the page of a deed that begins.
    pub fn begin_deed(&mut self, title: &str) {
        self.deed = Some(Panel::new(title, self.wanted.take()));
        self.show_deed();
    }

    /// Shows what the deed says.
    pub fn deed_says(&mut self, kind: DeedLine, words: &str) {
        self.change_deed(|panel| panel.say(kind, words));
    }

    /// Shows how far the deed is, in place of what was shown before.
    pub fn deed_goes_on(&mut self, words: &str) {
        self.change_deed(|panel| panel.progress(words));
    }

    /// Shows in large letters what is to be read from afar, one or two lines; nothing takes it away.
    pub fn deed_calls(&mut self, words: &str) {
        self.change_deed(|panel| panel.call(words));
    }

    /// Asks what the deed asks; the answer is a [`Request::Answer`].
    pub fn deed_asks(&mut self, words: &str, form: DeedForm) {
        self.change_deed(|panel| panel.ask(words, form));
        if form == DeedForm::Offer {
            return;
        }
        self.asking = None;
        self.show_deed();
    }

    /// The deed does not want to know any more.
    pub fn deed_asks_nothing(&mut self) {
        self.change_deed(Panel::ask_nothing);
    }

    /// The deed is over; its page stays until it is closed.
    pub fn end_deed(&mut self, words: &str) {
        self.change_deed(|panel| panel.end(words));
        if self.page != Some(Page::Deed) {
            self.tell(words);
        }
    }

    fn change_deed(&mut self, change: impl FnOnce(&mut Panel)) {
        if let Some(panel) = &mut self.deed {
            change(panel);
            self.dirty = true;
        }
    }

    fn show_deed(&mut self) {
        self.filter.typing = false;
        if self.page != Some(Page::Deed) {
            self.under = self.page.replace(Page::Deed);
        }
        // Its end is what matters, until somebody scrolls.
        self.page_top = usize::MAX;
        self.dirty = true;
    }

    /// Takes what the deed under way offers.
    pub(super) fn take_offer(&mut self) -> Option<Request> {
        self.deed.as_mut()?.take(true).map(Request::Answer)
    }

    /// Ends the deed under way. What was typed so far is gone at once.
    pub(super) fn end_deed_now(&mut self) -> Request {
        self.change_deed(Panel::ask_nothing);
        Request::EndDeed
    }

    /// Closes the page of a deed that is over.
    pub(super) fn close_deed(&mut self) {
        self.deed = None;
        self.close_over();
    }

    /// What the keys mean while the page of a deed that is not over is open.
    pub(super) fn deed_mood(&self) -> Option<Mood> {
        let open = self.page == Some(Page::Deed);
        let panel = self.deed.as_ref().filter(|_| open)?;
        panel.mood().map(Mood::Deed)
    }

    /// What the deed asks, as it stands at the foot.
    pub(super) fn deed_question(&self) -> Option<String> {
        self.deed.as_ref()?.question()
    }

    /// A key while a deed asks for something typed.
    pub(super) fn type_for_deed(&mut self, key: &KeyEvent, snapshot: &Snapshot) -> Option<Request> {
        let held = key
            .modifiers
            .intersects(KeyModifiers::CONTROL | KeyModifiers::ALT);
        self.dirty = true;
        let panel = self.deed.as_mut()?;
        match key.code {
            KeyCode::Backspace => panel.pop(),
            KeyCode::Char(c) if !held => panel.push(c),
            _ => return self.act(keys::action(Mood::Deed(deed::Mood::Types), key)?, snapshot),
        }
        None
    }

    /// The answer to what a deed asks; `None` if it asks nothing.
    pub(super) fn answer_deed(&mut self, action: Action) -> Option<Request> {
        // What comes of it is what matters.
        self.page_top = usize::MAX;
        let panel = self.deed.as_mut()?;
        panel.take(action == Action::Yes).map(Request::Answer)
    }

    /// The lines of the page.
    pub(crate) fn deed_lines(&self, page: Rect) -> Vec<Line<'static>> {
        let unicode = self.look().unicode;
        self.deed
            .as_ref()
            .map_or_else(Vec::new, |panel| panel.lines(page.width, page.height, unicode))
    }
}

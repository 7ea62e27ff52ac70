//! The board's own state, and what keys and the mouse do to it.

use crossterm::event::{Event, KeyCode, KeyEvent, KeyEventKind, MouseButton, MouseEvent, MouseEventKind};
use ledger::Snapshot;
use ratatui::Frame;
use ratatui::layout::Rect;
use vocab::Moment;

use crate::deed::Panel;
use crate::filter::Filter;
use crate::keys::{self, Action, Mood};
use crate::moves::Moves;
use crate::past::Past;
use crate::plan::{Hit, Plan};
use crate::rows::{One, Who};
use crate::{Deed, Look, Request, deed, paint};

mod asking;
mod cable;
mod deeds;
mod journal;
mod level;
mod moves;

pub(crate) use asking::Question;

/// The two ways to see the whole rig.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum View {
    /// Tiles.
    Wall,
    /// Rows.
    List,
}

/// A page that is open over wall or list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Page {
    /// Everything about what is selected.
    Sheet,
    /// All findings.
    Findings,
    /// All changes.
    History,
    /// How the devices come up.
    Starts,
    /// The work list of a plan.
    Moves,
    /// Keys and standings.
    Help,
    /// What it means to say that something is restarted, while the board asks what.
    Restart,
    /// What the deep search would do, while the board asks whether it shall.
    Far,
    /// What the check of a cable would send, while the board asks; then how it goes and what it says.
    Cable,
    /// What is done to a device at the user's word, and what it asks.
    Deed,
}

/// The board: which page is open, what is selected, what is filtered.
#[derive(Debug, Clone)]
pub struct Board {
    look: Look,
    size: (u16, u16),
    dirty: bool,
    view: View,
    page: Option<Page>,
    page_top: usize,
    /// The page that comes back when the question is answered that lies over it.
    under: Option<Page>,
    filter: Filter,
    chosen: Option<Who>,
    top: usize,
    asking: Option<Question>,
    notice: Option<String>,
    warning: Option<String>,
    past: Past,
    moves: Option<Moves>,
    deed: Option<Panel>,
    /// Which deed was wanted last, until it begins.
    wanted: Option<Deed>,
}

impl Board {
    /// A board that opens on the wall. Until [`Board::resize`] or a resize event says otherwise it
    /// takes the screen to be 80x24.
    pub const fn new(look: Look) -> Self {
        Self {
            look,
            size: (80, 24),
            dirty: true,
            view: View::Wall,
            page: None,
            page_top: 0,
            under: None,
            filter: Filter::NONE,
            chosen: None,
            top: 0,
            asking: None,
            notice: None,
            warning: None,
            past: Past::NONE,
            moves: None,
            deed: None,
            wanted: None,
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
        match event {
            Event::Resize(width, height) => {
                self.resize(*width, *height);
                None
            }
            Event::Key(key) if key.kind != KeyEventKind::Release => self.key(key, snapshot),
            Event::Mouse(mouse) => self.mouse(*mouse, snapshot),
            _ => None,
        }
    }

    /// Paints the whole screen. `clock` turns a moment into the time of day to show, "18:42:07".
    pub fn draw(&self, frame: &mut Frame<'_>, snapshot: &Snapshot, clock: &dyn Fn(Moment) -> String) {
        paint::screen(self, frame, snapshot, clock);
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

    pub(crate) const fn look(&self) -> Look {
        self.look
    }

    pub(crate) const fn view(&self) -> View {
        self.view
    }

    pub(crate) const fn page(&self) -> Option<Page> {
        self.page
    }

    pub(crate) const fn page_top(&self) -> usize {
        self.page_top
    }

    pub(crate) const fn filter(&self) -> &Filter {
        &self.filter
    }

    pub(crate) const fn chosen(&self) -> Option<&Who> {
        self.chosen.as_ref()
    }

    pub(crate) const fn top(&self) -> usize {
        self.top
    }

    pub(crate) fn question(&self) -> Option<String> {
        let asked = self.asking.as_ref().map(Question::words);
        asked.or_else(|| self.deed_question())
    }

    pub(crate) fn notice(&self) -> Option<&str> {
        self.notice.as_deref()
    }

    pub(crate) fn mood(&self, snapshot: &Snapshot) -> Mood {
        match self.asking {
            Some(Question::Cable { .. }) => return Mood::Cabling,
            Some(Question::Far) => return Mood::Choosing,
            Some(Question::Restart { .. }) => return Mood::Restarting,
            Some(Question::Level) => return Mood::Levels,
            Some(_) => return Mood::Asking,
            None => {}
        }
        if self.filter.typing {
            return Mood::Typing;
        }
        match self.page {
            None => Mood::Board,
            Some(Page::Sheet) => Mood::Sheet,
            Some(Page::Moves) => Mood::Moves,
            Some(_) if self.shows_check(snapshot) => Mood::Checking,
            Some(_) => self.deed_mood().unwrap_or(Mood::Page),
        }
    }

    fn plan_here(&self, snapshot: &Snapshot) -> Option<Plan> {
        self.plan(Rect::new(0, 0, self.size.0, self.size.1), snapshot)
    }

    fn key(&mut self, key: &KeyEvent, snapshot: &Snapshot) -> Option<Request> {
        self.forget_notice();
        if keys::is_interrupt(key) {
            return Some(Request::Quit);
        }
        match self.mood(snapshot) {
            Mood::Typing => self.typed(key, snapshot),
            Mood::Deed(deed::Mood::Types) => self.type_for_deed(key, snapshot),
            mood => self.act(keys::action(mood, key)?, snapshot),
        }
    }

    fn typed(&mut self, key: &KeyEvent, snapshot: &Snapshot) -> Option<Request> {
        let held = key
            .modifiers
            .intersects(crossterm::event::KeyModifiers::CONTROL | crossterm::event::KeyModifiers::ALT);
        match key.code {
            KeyCode::Enter => return self.act(Action::Yes, snapshot),
            KeyCode::Esc => return self.act(Action::No, snapshot),
            KeyCode::Backspace => self.filter.pop(),
            KeyCode::Char(c) if !held => self.filter.push(c),
            KeyCode::Up | KeyCode::Down | KeyCode::PageUp | KeyCode::PageDown => {
                return self.act(keys::action(Mood::Board, key)?, snapshot);
            }
            _ => return None,
        }
        self.dirty = true;
        None
    }

    fn act(&mut self, action: Action, snapshot: &Snapshot) -> Option<Request> {
        self.dirty = true;
        match action {
            Action::Quit => return Some(Request::Quit),
            Action::Yes | Action::No if self.deed_mood().is_some() && self.asking.is_none() => {
                return self.answer_deed(action);
            }
            Action::Yes | Action::No => return self.answer(action == Action::Yes, snapshot),
            Action::Do(deed) => return self.ask_deed(deed, snapshot),
            Action::Take => return self.take_offer(),
            Action::EndDeed => return Some(self.end_deed_now()),
            Action::Sweep if snapshot.listen_only => self.tell(SILENT),
            Action::Sweep => {
                self.tell("Asking the whole subnet once more.");
                return self.ask_more(Request::SweepNow, snapshot);
            }
            Action::AskControl => return self.ask_control(snapshot),
            Action::Far => return self.ask_far(snapshot),
            Action::Wait => return self.wait(),
            Action::Restart => return self.ask_restart(snapshot),
            Action::TheSwitch => return self.restart_switch(),
            Action::CheckCable => self.ask_cable(snapshot),
            Action::StopCheck => return Some(self.stop_check()),
            Action::Accept => self.ask_match(snapshot),
            Action::Listen => self.asking = Some(Question::Level),
            Action::Level(level) => return self.choose_level(level, snapshot),
            Action::Filter => {
                self.page = None;
                self.filter.typing = true;
            }
            Action::Switch => {
                self.page = None;
                self.view = match self.view {
                    View::Wall => View::List,
                    View::List => View::Wall,
                };
                self.settle(snapshot);
            }
            Action::Open if self.page == Some(Page::Moves) => return self.tick(),
            Action::Open => self.open(snapshot),
            Action::Back if self.page == Some(Page::Cable) => self.close_over(),
            Action::Back if self.page == Some(Page::Deed) => self.close_deed(),
            Action::Tick => return self.tick(),
            Action::Moves => self.open_moves(),
            Action::Back => {
                if self.page.take().is_none() {
                    self.filter.clear();
                }
            }
            Action::Findings => self.toggle(Page::Findings),
            Action::History => {
                self.toggle(Page::History);
                return self.look_back(snapshot);
            }
            Action::Starts => self.toggle(Page::Starts),
            Action::Help => self.toggle(Page::Help),
            Action::Up
            | Action::Down
            | Action::Left
            | Action::Right
            | Action::PageUp
            | Action::PageDown
            | Action::Home
            | Action::End => {
                self.go(action, snapshot);
                return self.look_back(snapshot);
            }
        }
        None
    }

    /// Who is selected: that of the sheet if one is open.
    fn selected(&self, snapshot: &Snapshot) -> Option<Who> {
        match self.page {
            Some(Page::Sheet | Page::Cable) => self.chosen.clone(),
            _ => self
                .plan_here(snapshot)
                .and_then(|plan| who_at(plan.at, &plan, snapshot)),
        }
    }

    fn toggle(&mut self, page: Page) {
        self.page_top = 0;
        self.page = if self.page == Some(page) { None } else { Some(page) };
    }

    fn open(&mut self, snapshot: &Snapshot) {
        if self.page.is_some() {
            return;
        }
        let Some(plan) = self.plan_here(snapshot) else {
            return;
        };
        if let Some(who) = who_at(plan.at, &plan, snapshot) {
            self.chosen = Some(who);
            self.page = Some(Page::Sheet);
            self.page_top = 0;
        }
    }

    /// Moves the selection, or scrolls the open page.
    fn go(&mut self, action: Action, snapshot: &Snapshot) {
        let Some(plan) = self.plan_here(snapshot) else {
            return;
        };
        let rows = usize::from(plan.areas.main.height).saturating_sub(1).max(1);
        if self.page.is_some() {
            let top = plan.page_top;
            match (action, self.page) {
                (_, Some(Page::Moves)) => {
                    if let Some(moves) = &mut self.moves {
                        moves.go(action);
                    }
                }
                (Action::Left, Some(Page::Sheet)) => return self.choose_near(&plan, snapshot, false),
                (Action::Right, Some(Page::Sheet)) => return self.choose_near(&plan, snapshot, true),
                (Action::Up, _) => self.page_top = top.saturating_sub(1),
                (Action::Down, _) => self.page_top = top + 1,
                (Action::PageUp, _) => self.page_top = top.saturating_sub(self.page_step(rows)),
                (Action::PageDown, _) => self.page_top = top + self.page_step(rows),
                (Action::Home, _) => self.page_top = 0,
                (Action::End, _) => self.page_top = usize::MAX,
                _ => {}
            }
            if let Some(plan) = self.plan_here(snapshot) {
                // Who goes to the end of a deed's page sees what is said next.
                let follows = self.page == Some(Page::Deed) && plan.page_top < self.page_top;
                self.page_top = if follows { usize::MAX } else { plan.page_top };
            }
            return;
        }
        let Some(at) = plan.at else { return };
        let last = plan.shown.len() - 1;
        let across = plan.across();
        let screenful = (plan.visible * across).max(1);
        let to = match action {
            Action::Up => at.checked_sub(across).unwrap_or(at),
            Action::Down if at + across <= last => at + across,
            // From the last full row down into a shorter one.
            Action::Down if at / across < last / across => last,
            Action::Left => at.saturating_sub(1),
            Action::Right => (at + 1).min(last),
            Action::PageUp => at.saturating_sub(screenful),
            Action::PageDown => (at + screenful).min(last),
            Action::Home => 0,
            Action::End => last,
            _ => at,
        };
        self.chosen = who_at(Some(to), &plan, snapshot);
        self.settle(snapshot);
    }

    /// Findings are leafed through one by one, since each may take several lines.
    fn page_step(&self, rows: usize) -> usize {
        if self.page == Some(Page::Findings) {
            (rows / 3).max(1)
        } else {
            rows
        }
    }

    /// Opens the sheet of the next or the one before.
    fn choose_near(&mut self, plan: &Plan, snapshot: &Snapshot, next: bool) {
        let Some(at) = plan.at else { return };
        let to = if next {
            (at + 1).min(plan.shown.len() - 1)
        } else {
            at.saturating_sub(1)
        };
        self.chosen = who_at(Some(to), plan, snapshot);
        self.page_top = 0;
        self.settle(snapshot);
    }

    /// Remembers how far the view is scrolled, so that it moves no further than needed next time.
    fn settle(&mut self, snapshot: &Snapshot) {
        if let Some(plan) = self.plan_here(snapshot) {
            self.top = plan.top;
        }
    }

    /// Shows one line at the foot, until the next key.
    pub fn tell(&mut self, words: &str) {
        self.notice = Some(words.to_owned());
        self.dirty = true;
    }

    fn forget_notice(&mut self) {
        if self.notice.take().is_some() {
            self.dirty = true;
        }
    }

    fn mouse(&mut self, mouse: MouseEvent, snapshot: &Snapshot) -> Option<Request> {
        match mouse.kind {
            MouseEventKind::Down(MouseButton::Left) => {
                let plan = self.plan_here(snapshot)?;
                self.forget_notice();
                let hit = plan.hit(mouse.column, mouse.row, self.page.is_some(), snapshot)?;
                self.click(hit, &plan, snapshot)
            }
            MouseEventKind::ScrollUp => self.wheel(false, snapshot),
            MouseEventKind::ScrollDown => self.wheel(true, snapshot),
            _ => None,
        }
    }

    fn click(&mut self, hit: Hit, plan: &Plan, snapshot: &Snapshot) -> Option<Request> {
        match hit {
            Hit::Hint(action) => return self.act(action, snapshot),
            // What the board asks wants an answer first.
            _ if self.asking.is_some() => {}
            Hit::Findings => return self.act(Action::Findings, snapshot),
            Hit::Changes => return self.act(Action::History, snapshot),
            Hit::Item(at) => {
                if plan.at == Some(at) {
                    return self.act(Action::Open, snapshot);
                }
                self.chosen = who_at(Some(at), plan, snapshot);
                self.dirty = true;
                self.settle(snapshot);
            }
        }
        None
    }

    /// The wheel scrolls a page line by line; on wall and list it moves what is visible by a row,
    /// and the selection only as far as it must to stay visible.
    fn wheel(&mut self, down: bool, snapshot: &Snapshot) -> Option<Request> {
        if self.page.is_some() {
            return self.act(if down { Action::Down } else { Action::Up }, snapshot);
        }
        let plan = self.plan_here(snapshot)?;
        let at = plan.at?;
        let across = plan.across();
        let (line, total) = match plan.view {
            View::Wall => (at / across, plan.shown.len().div_ceil(across)),
            View::List => (plan.shown.line_of(at), plan.shown.lines()),
        };
        let furthest = total.saturating_sub(plan.visible.max(1));
        let top = if down {
            (plan.top + 1).min(furthest)
        } else {
            plan.top.saturating_sub(1)
        };
        if top == plan.top {
            return None;
        }
        let bottom = top + plan.visible.max(1) - 1;
        let to = if line < top {
            at + across * (top - line)
        } else {
            at.saturating_sub(across * line.saturating_sub(bottom))
        };
        self.chosen = who_at(Some(to.min(plan.shown.len() - 1)), &plan, snapshot);
        self.top = top;
        self.dirty = true;
        None
    }
}

/// Who item `at` is.
fn who_at(at: Option<usize>, plan: &Plan, snapshot: &Snapshot) -> Option<Who> {
    plan.shown.get(at?, snapshot).map(One::who)
}

const SILENT: &str = "Listen-only is on, so nothing is sent; l changes that.";

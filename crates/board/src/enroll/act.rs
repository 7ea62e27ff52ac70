//! What keys and the mouse do.

use crossterm::event::{
    Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers, MouseButton, MouseEvent, MouseEventKind,
};
use ratatui::layout::Rect;
use rig::enroll::{Draft, Fate};

use super::field::{Field, Which};
use super::keys::{self, Action, Mood};
use super::plan::{Hit, Plan};
use super::{EnrollRequest, EnrollSheet, Page};

/// Lines that a turn of the wheel scrolls.
const WHEEL: usize = 3;

impl EnrollSheet {
    /// Takes an event of the terminal, and changes the draft by it.
    pub fn handle(&mut self, event: &Event, draft: &mut Draft) -> Option<EnrollRequest> {
        match event {
            Event::Resize(width, height) => {
                self.resize(*width, *height);
                None
            }
            Event::Key(key) if key.kind != KeyEventKind::Release => self.key(key, draft),
            Event::Mouse(mouse) => self.mouse(*mouse, draft),
            _ => None,
        }
    }

    fn plan_here(&self, draft: &Draft) -> Option<Plan> {
        self.plan(Rect::new(0, 0, self.size.0, self.size.1), draft)
    }

    fn key(&mut self, key: &KeyEvent, draft: &mut Draft) -> Option<EnrollRequest> {
        self.dirty |= self.notice.take().is_some();
        match self.mood() {
            Mood::Typing | Mood::Field => self.typed(key, draft),
            mood => self.act(keys::action(mood, key)?, draft),
        }
    }

    fn typed(&mut self, key: &KeyEvent, draft: &mut Draft) -> Option<EnrollRequest> {
        let held = key
            .modifiers
            .intersects(KeyModifiers::CONTROL | KeyModifiers::ALT);
        self.dirty = true;
        match (key.code, &mut self.field) {
            (KeyCode::Enter, _) => return self.act(Action::Yes, draft),
            (KeyCode::Esc, _) => return self.act(Action::No, draft),
            (KeyCode::Backspace, Some(field)) => field.pop(),
            (KeyCode::Backspace, None) => self.filter.pop(),
            (KeyCode::Char('u' | 'U'), Some(field)) if key.modifiers.contains(KeyModifiers::CONTROL) => {
                field.text.clear();
            }
            (KeyCode::Char(c), Some(field)) if !held => field.push(c),
            (KeyCode::Char(c), None) if !held => self.filter.push(c),
            // The filter shows at once what it lets through, so one may move in that.
            (_, None) => return self.act(keys::action(Mood::Typing, key)?, draft),
            _ => {}
        }
        None
    }

    fn act(&mut self, action: Action, draft: &mut Draft) -> Option<EnrollRequest> {
        self.dirty = true;
        match action {
            Action::Yes | Action::No => return self.answer(action == Action::Yes, draft),
            Action::Quit => return self.leave(),
            Action::Back => match self.page.take() {
                Some(_) => {}
                None if self.filter.is_empty() => return self.leave(),
                None => self.filter.clear(),
            },
            Action::Help => {
                self.page_top = 0;
                self.page = match self.page {
                    Some(Page::Help) => None,
                    _ => Some(Page::Help),
                };
            }
            Action::Filter => self.filter.typing = true,
            Action::Sweep => return Some(EnrollRequest::Sweep),
            Action::Prepare => return Some(EnrollRequest::Prepare),
            Action::Sort => {
                self.keep_choice(draft);
                draft.sort();
            }
            Action::Panel => self.next_panel(draft),
            Action::Toggle => self.toggle(draft),
            Action::Name => self.begin(Which::Name, draft),
            Action::Role => self.begin(Which::Role, draft),
            Action::Address => self.begin(Which::Address, draft),
            Action::Channel => self.begin(Which::Channel, draft),
            Action::Up | Action::Down | Action::PageUp | Action::PageDown | Action::Home | Action::End => {
                self.go(action, draft);
            }
        }
        None
    }

    /// Leaves at once where nothing is lost by it.
    const fn leave(&mut self) -> Option<EnrollRequest> {
        if self.touched {
            self.leaving = true;
            None
        } else {
            Some(EnrollRequest::Quit)
        }
    }

    fn answer(&mut self, yes: bool, draft: &mut Draft) -> Option<EnrollRequest> {
        if self.leaving {
            self.leaving = false;
            return yes.then_some(EnrollRequest::Quit);
        }
        if let Some(mut field) = self.field.take() {
            match field.take(draft) {
                Ok(()) if yes => self.touched = true,
                Err(fault) if yes => {
                    field.fault = Some(fault);
                    self.field = Some(field);
                }
                _ => {}
            }
            return None;
        }
        if self.filter.typing {
            if yes {
                self.filter.typing = false;
            } else {
                self.filter.clear();
            }
            return None;
        }
        if matches!(self.page, Some(Page::Preview(_))) {
            self.page = None;
            return yes.then_some(EnrollRequest::Write);
        }
        None
    }

    /// The place of the selected host in the draft; from now on it stays selected, whatever comes in.
    fn keep_choice(&mut self, draft: &Draft) -> Option<usize> {
        let plan = self.plan_here(draft)?;
        let at = plan.at?;
        let place = *plan.shown.get(at)?;
        self.chosen = draft.rows().get(place).map(|row| row.id);
        self.line = at.saturating_sub(plan.top);
        Some(place)
    }

    fn toggle(&mut self, draft: &mut Draft) {
        let Some(n) = self.keep_choice(draft) else { return };
        if draft.toggle(n) {
            self.touched = true;
        }
        let row = &draft.rows()[n];
        match &row.fate {
            Fate::Nameless { add: false, .. } if !row.clash.is_empty() => {
                self.tell("Two hold its address, so nobody knows whose mac it is. Part them first.");
            }
            Fate::Listed(device) => self.tell(&format!("It is listed already, as {device}.")),
            Fate::Own => self.tell("It is this computer; it is no device of the rig."),
            Fate::Gateway => self.tell("It is the gateway; it needs no entry."),
            Fate::Untold => {
                self.tell("Nothing would tell which host it is; give it an address of the rig's network.");
            }
            _ => {}
        }
    }

    fn next_panel(&mut self, draft: &mut Draft) {
        draft.next_panel();
        self.touched = true;
        let words = match (draft.panel(), draft.panels().len()) {
            (Some(panel), _) => format!("The cameras get channels of {}.", draft.panel_name(&panel)),
            (None, 0) => "There is no control panel yet: give one that role (r).".to_owned(),
            (None, _) => "The cameras get no channels.".to_owned(),
        };
        self.tell(&words);
    }

    fn begin(&mut self, which: Which, draft: &Draft) {
        let Some(n) = self.keep_choice(draft) else { return };
        let row = &draft.rows()[n];
        let trouble = match row.fate {
            Fate::Taken => None,
            Fate::Left => Some("It is left out: take it first (Space)."),
            _ => Some("It gets no entry, so there is nothing to change."),
        };
        let no_panel = which == Which::Channel && draft.panel().is_none();
        match trouble.or(no_panel.then_some("No panel is chosen: choose one (p), or give one that role (r)."))
        {
            Some(words) => self.tell(words),
            None => self.field = Some(Field::begin(which, row)),
        }
    }

    /// Moves the selection, or scrolls the open page.
    fn go(&mut self, action: Action, draft: &Draft) {
        let Some(plan) = self.plan_here(draft) else { return };
        let step = plan.visible.max(2) - 1;
        let moved = |at: usize, last: usize| match action {
            Action::Up => at.saturating_sub(1),
            Action::Down => at + 1,
            Action::PageUp => at.saturating_sub(step),
            Action::PageDown => at + step,
            Action::Home => 0,
            _ => last,
        };
        if self.page.is_some() {
            self.page_top = moved(plan.page_top, usize::MAX);
            self.page_top = self.plan_here(draft).map_or(0, |plan| plan.page_top);
            return;
        }
        let Some(at) = plan.at else { return };
        let last = plan.shown.len() - 1;
        self.choose(moved(at, last).min(last), &plan, draft);
    }

    /// Selects the `nth` of the shown ones, and scrolls as far as that needs.
    fn choose(&mut self, nth: usize, plan: &Plan, draft: &Draft) {
        let top = plan.top.min(nth).max((nth + 1).saturating_sub(plan.visible));
        self.line = nth - top;
        self.chosen = plan
            .shown
            .get(nth)
            .and_then(|n| draft.rows().get(*n))
            .map(|row| row.id);
    }

    fn mouse(&mut self, mouse: MouseEvent, draft: &mut Draft) -> Option<EnrollRequest> {
        let plan = self.plan_here(draft)?;
        match mouse.kind {
            MouseEventKind::ScrollUp | MouseEventKind::ScrollDown => {
                let up = mouse.kind == MouseEventKind::ScrollUp;
                for _ in 0..WHEEL {
                    self.go(if up { Action::Up } else { Action::Down }, draft);
                }
                self.dirty = true;
                None
            }
            MouseEventKind::Down(MouseButton::Left) => {
                self.dirty |= self.notice.take().is_some();
                match plan.hit(mouse.column, mouse.row, self.page.is_some())? {
                    Hit::Hint(action) => self.act(action, draft),
                    Hit::Row(_) if self.field.is_some() => None,
                    Hit::Row(nth) if plan.at == Some(nth) => self.act(Action::Toggle, draft),
                    Hit::Row(nth) => {
                        self.dirty = true;
                        self.choose(nth, &plan, draft);
                        None
                    }
                }
            }
            _ => None,
        }
    }
}

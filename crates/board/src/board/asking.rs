//! What the board asks back, and what comes of the answers.

use ledger::{Restarted, Snapshot};
use ratatui::text::Line;
use vocab::{Level, Mac};

use super::{Board, Page, SILENT};
use crate::rows::One;
use crate::{Request, cable, far, restart};

/// What the board asks back before it changes something.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Question {
    /// How much is to be sent.
    Level,
    /// A louder level puts more on somebody's network again.
    Louder(Level),
    /// This sends more than watching, and ends that.
    More(Box<Request>),
    /// The search beyond the subnet asks for many addresses on somebody's network.
    Far,
    /// A check of a cable sends a bounded number of echoes.
    Cable {
        /// The device at its end.
        device: String,
    },
    /// For what is restarted no alarm is raised.
    Restart {
        /// The device that is selected.
        device: String,
        /// The switch that it is plugged into, and how many devices hang on that.
        switch: Option<(String, usize)>,
    },
    /// A guess becomes the file's word.
    Accept {
        /// The device's name.
        device: String,
        /// The hardware that it probably is.
        mac: Mac,
    },
}

impl Question {
    /// In words.
    pub(crate) fn words(&self) -> String {
        match self {
            Self::Far => "Search farther?".to_owned(),
            Self::Cable { device } => cable::question(device),
            Self::Restart { device, switch } => restart::question(device, switch.as_ref()),
            Self::Level => "Send how much?".to_owned(),
            Self::Louder(Level::Watch) => "Ask each device once a second again?".to_owned(),
            Self::Louder(_) => "Send everything on the wire again?".to_owned(),
            Self::More(_) => "That sends more: end watching only?".to_owned(),
            Self::Accept { device, mac } => format!("Write {mac} in the file as {device}?"),
        }
    }
}

impl Board {
    /// The answer to what the board asks, or the end of typing a filter.
    pub(super) fn answer(&mut self, yes: bool, snapshot: &Snapshot) -> Option<Request> {
        if let Some(question) = self.asking.take() {
            return match question {
                Question::Far => {
                    self.close_over();
                    yes.then(|| self.search(snapshot)).flatten()
                }
                Question::Restart { device, .. } => {
                    self.close_over();
                    yes.then_some(Request::Restarting(Restarted::Device(device), true))
                }
                Question::Level => None,
                Question::Louder(level) => yes.then_some(Request::Level(level)),
                Question::Cable { device } => self.check_cable(device, yes, snapshot),
                Question::More(request) => {
                    if !yes && self.page == Some(Page::Cable) {
                        self.close_over();
                    }
                    yes.then_some(Request::Louder(request))
                }
                Question::Accept { device, mac } => yes.then_some(Request::Accept { device, mac }),
            };
        }
        if yes {
            self.filter.typing = false;
        } else {
            self.filter.clear();
        }
        None
    }

    /// Asks whether the probable match of what is selected is right.
    pub(super) fn ask_match(&mut self, snapshot: &Snapshot) {
        let who = self.selected(snapshot);
        let found = match who.as_ref().and_then(|who| who.find(snapshot)) {
            Some(One::Device(device)) => device.likely.as_ref().map(|l| (device.name.clone(), l.mac)),
            Some(One::Host(host)) => host
                .resembles
                .first()
                .zip(host.mac)
                .map(|(like, mac)| (like.device.clone(), mac)),
            None => None,
        };
        match found {
            Some((device, mac)) => self.asking = Some(Question::Accept { device, mac }),
            None => self.tell("Select a missing device first that is probably somebody on the wire."),
        }
    }

    /// Whether the control ports of the one whose sheet is open can be asked.
    pub(crate) fn asks_control(&self, snapshot: &Snapshot) -> bool {
        match self.chosen().and_then(|who| who.find(snapshot)) {
            Some(One::Device(device)) => !snapshot.listen_only && !device.control.is_empty(),
            Some(One::Host(_)) | None => false,
        }
    }

    pub(super) fn ask_control(&mut self, snapshot: &Snapshot) -> Option<Request> {
        let who = self.selected(snapshot);
        let one = who.as_ref().and_then(|who| who.find(snapshot));
        let Some(One::Device(device)) = one else {
            self.tell("Select a device of the list first: only their control ports are known.");
            return None;
        };
        if snapshot.listen_only {
            self.tell(SILENT);
            return None;
        }
        if device.control.is_empty() {
            self.tell(&format!(
                "The rig file lists no control port for {}.",
                device.name
            ));
            return None;
        }
        self.tell(&format!("Asking the control ports of {}.", device.name));
        self.ask_more(Request::AskControl(device.name.clone()), snapshot)
    }

    /// Opens the question whether to search beyond the subnet; ends the search or the waiting that
    /// is under way.
    pub(super) fn ask_far(&mut self, snapshot: &Snapshot) -> Option<Request> {
        if snapshot.search.as_ref().is_some_and(|s| s.running) {
            self.tell("The deep search is stopped; what it found stays.");
            return Some(Request::Search(false));
        }
        if snapshot.waiting.is_some() {
            self.tell("No longer waiting for a device to start; what was heard stays.");
            return Some(Request::Wait(false));
        }
        if let Some(why) = far::impossible(snapshot) {
            self.tell(why);
            return None;
        }
        self.asking = Some(Question::Far);
        self.under = self.page.replace(Page::Far);
        self.page_top = 0;
        None
    }

    /// The user waits for a device to start instead.
    pub(super) fn wait(&mut self) -> Option<Request> {
        self.asking.take_if(|q| *q == Question::Far)?;
        self.close_over();
        Some(Request::Wait(true))
    }

    /// Asks what is restarted; ends what is expected of the selected device already.
    pub(super) fn ask_restart(&mut self, snapshot: &Snapshot) -> Option<Request> {
        let who = self.selected(snapshot);
        let Some(One::Device(device)) = who.as_ref().and_then(|who| who.find(snapshot)) else {
            self.tell("Select a device of the list first: only for those alarms are raised.");
            return None;
        };
        if let Some(expected) = &device.restart.expected {
            let what = match &expected.switch {
                Some(switch) => Restarted::Switch(switch.clone()),
                None => Restarted::Device(device.name.clone()),
            };
            let name = expected.switch.as_ref().unwrap_or(&device.name);
            self.tell(&format!("The restart of {name} is no longer expected."));
            return Some(Request::Restarting(what, false));
        }
        self.chosen.clone_from(&who);
        self.asking = Some(Question::Restart {
            device: device.name.clone(),
            switch: device.restart.switch.clone(),
        });
        self.under = self.page.replace(Page::Restart);
        self.page_top = 0;
        None
    }

    /// It is the switch that is restarted.
    pub(super) fn restart_switch(&mut self) -> Option<Request> {
        let Some(Question::Restart {
            switch: Some((switch, _)),
            ..
        }) = &self.asking
        else {
            // The page says why there is none.
            return None;
        };
        let what = Restarted::Switch(switch.clone());
        self.asking = None;
        self.close_over();
        Some(Request::Restarting(what, true))
    }

    /// The lines of the page that asks what is restarted.
    pub(crate) fn restart_lines(&self, snapshot: &Snapshot, columns: u16) -> Vec<Line<'static>> {
        let one = self.chosen().and_then(|who| who.find(snapshot));
        match one {
            Some(One::Device(device)) => restart::lines(device, columns),
            _ => Vec::new(),
        }
    }

    /// Closes a page that a question opened: what lay under it comes back.
    pub(super) fn close_over(&mut self) {
        self.page = self.under.take();
        self.page_top = 0;
    }

    fn search(&mut self, snapshot: &Snapshot) -> Option<Request> {
        if snapshot.listen_only {
            self.tell(SILENT);
            return None;
        }
        self.ask_more(Request::Search(true), snapshot)
    }

    /// Tells at the foot what ended between what was shown `before` and what is shown `now`, and ticks off
    /// the work list what arrived.
    pub fn take_news(&mut self, before: &Snapshot, now: &Snapshot) {
        self.look_at_moves(now);
        let checked = before.cable.as_ref().is_some_and(ledger::CableView::running);
        if let Some(view) = now.cable.as_ref().filter(|view| checked && !view.running())
            && self.page != Some(Page::Cable)
        {
            self.tell(&cable::over(view));
        }
        let (Some(before), Some(now)) = (&before.search, &now.search) else {
            return;
        };
        if before.running && !now.running && now.asked >= now.total {
            self.tell(&far::over(now));
        }
    }
}

//! The cable check: asking back, beginning and ending it, and its page.

use ledger::{CableView, Snapshot};
use ratatui::text::Line;

use super::{Board, Page, Question, SILENT};
use crate::rows::One;
use crate::words::Clock;
use crate::{Request, cable};

impl Board {
    /// Asks whether to check the cable of what is selected; shows the check that is under way.
    pub(super) fn ask_cable(&mut self, snapshot: &Snapshot) {
        if snapshot.cable.as_ref().is_some_and(CableView::running) {
            if self.page == Some(Page::Cable) {
                self.tell("One check at a time: Esc ends this one.");
            } else {
                self.open_cable();
            }
            return;
        }
        let who = self.selected(snapshot);
        let Some(One::Device(device)) = who.as_ref().and_then(|who| who.find(snapshot)) else {
            return self.tell("Select a device of the list first: a cable is checked to where one is.");
        };
        if snapshot.listen_only {
            return self.tell(SILENT);
        }
        if let Err(why) = device.cable {
            return self.tell(&cable::impossible(device, why));
        }
        self.asking = Some(Question::Cable {
            device: device.name.clone(),
        });
        self.chosen.clone_from(&who);
        self.open_cable();
    }

    fn open_cable(&mut self) {
        if self.page != Some(Page::Cable) {
            self.under = self.page.replace(Page::Cable);
        }
        self.page_top = 0;
    }

    /// The answer to the question.
    pub(super) fn check_cable(&mut self, device: String, yes: bool, snapshot: &Snapshot) -> Option<Request> {
        self.page_top = 0;
        if !yes {
            self.close_over();
            return None;
        }
        self.ask_more(Request::CheckCable(device), snapshot)
    }

    /// The user ends the check.
    pub(super) fn stop_check(&mut self) -> Request {
        self.tell("The check is ended; what is known by now stays.");
        Request::StopCheck
    }

    /// Whether the page of the check is open while it runs and nothing is asked.
    pub(super) fn shows_check(&self, snapshot: &Snapshot) -> bool {
        self.page == Some(Page::Cable) && snapshot.cable.as_ref().is_some_and(CableView::running)
    }

    /// Whether the cable of the one whose sheet is open can be checked.
    pub(crate) fn checks_cable(&self, snapshot: &Snapshot) -> bool {
        match self.chosen().and_then(|who| who.find(snapshot)) {
            Some(One::Device(device)) => !snapshot.listen_only && device.cable.is_ok(),
            Some(One::Host(_)) | None => false,
        }
    }

    /// The lines of the page.
    pub(crate) fn cable_lines(
        &self,
        snapshot: &Snapshot,
        columns: u16,
        clock: Clock<'_>,
    ) -> Vec<Line<'static>> {
        let wanted = match &self.asking {
            Some(Question::Cable { device }) => Some(device),
            Some(Question::More(request)) => match request.as_ref() {
                Request::CheckCable(device) => Some(device),
                _ => None,
            },
            _ => None,
        };
        let asked = wanted.and_then(|name| {
            let device = snapshot.devices.iter().find(|d| d.name == *name)?;
            Some(cable::asked(device, device.cable.ok()?, columns, clock))
        });
        asked
            .or_else(|| Some(cable::shown(snapshot.cable.as_ref()?, columns, clock)))
            .unwrap_or_default()
    }
}

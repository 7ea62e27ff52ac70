//! The board as the host of a deed: what it says and asks goes to a page of the board, and the head count goes on.

#[cfg(test)]
mod tests;
mod walk;
mod wanted;

use ::board::{Answer, Board, DeedForm, DeedLine};
use ledger::Snapshot;
use vocab::{Level, Moment};

use self::wanted::Seat;
use super::super::open::Run;
use crate::browser::Browser;
use crate::hands::{Deed, Doing, End, Form, Question, Said, Stop, Whom, may};
use crate::journal::Action;
use crate::settings::Expected;

/// The deed that the board is the host of, if any.
pub(in super::super) struct Hands {
    /// What the rig file says.
    expected: Expected,
    /// What opens pages.
    browser: Browser,
    /// What is done, and how it goes.
    deed: Deed,
    doing: Option<Doing<'static>>,
    question: Option<Question>,
}

impl Hands {
    /// No deed yet, on this rig; pages are opened by `browser`.
    pub(in super::super) const fn new(expected: Expected, browser: Browser) -> Self {
        Self {
            expected,
            browser,
            deed: Deed::Wink,
            doing: None,
            question: None,
        }
    }

    /// What the rig file says, which may have changed.
    pub(in super::super) const fn expected(&mut self) -> &mut Expected {
        &mut self.expected
    }

    /// Whether a deed is under way.
    pub(in super::super) const fn are_busy(&self) -> bool {
        self.doing.is_some()
    }

    /// Begins what the user wants done to whoever that is, if the gate lets it pass.
    pub(in super::super) fn begin(
        &mut self,
        wanted: ::board::Deed,
        who: &str,
        run: &Run,
        snapshot: &Snapshot,
        board: &mut Board,
    ) {
        let deed = match wanted {
            ::board::Deed::Wink => Deed::Wink,
            ::board::Deed::Readdress => Deed::Readdress,
            ::board::Deed::Walk => Deed::Walk,
            ::board::Deed::Reach => Deed::Reach,
        };
        if self.are_busy() {
            return;
        }
        if let Err(why) = may(snapshot.level(), run.source.mode()) {
            return board.tell(&why.on_the_board(deed));
        }
        let device = snapshot.devices.iter().find(|d| d.name == who);
        let whom = match (device, who.parse()) {
            (None, Ok(mac)) => Whom::Mac(mac),
            _ => Whom::Device(who.to_owned()),
        };
        let seat = Seat::at(run, self.browser);
        let mut title = format!("{} {who}", deed.verb());
        self.doing = Some(match wanted {
            ::board::Deed::Wink => {
                let listed = device.map(|d| d.control.iter().map(|c| c.port).collect());
                wanted::wink(seat, whom, listed)
            }
            ::board::Deed::Readdress => wanted::readdress(seat, whom, self.expected.clone()),
            ::board::Deed::Reach => wanted::reach(seat, whom, self.expected.clone()),
            ::board::Deed::Walk => match walk::panels(who, self.expected.rig.as_ref()) {
                Ok(panels) => {
                    if let [panel] = &panels[..] {
                        title = format!("{} {panel}", deed.verb());
                    }
                    walk::begin(&seat, who, panels, self.expected.clone(), run.simulated)
                }
                Err(why) => return board.tell(&why),
            },
        });
        self.deed = deed;
        board.begin_deed(&title);
    }

    /// Lets the deed do all that it can do now, and shows what it says; what it did goes to `note`. True if frames
    /// wait to leave.
    pub(in super::super) fn step(
        &mut self,
        run: &mut Run,
        board: &mut Board,
        note: &mut dyn FnMut(Action, Moment),
    ) -> bool {
        let Some(doing) = &mut self.doing else {
            return false;
        };
        let given = doing.step(&mut run.source, &mut run.ledger);
        while let Some(said) = doing.said() {
            match said {
                Said::Line(text) => board.deed_says(DeedLine::Result, &text),
                Said::Aside(text) => board.deed_says(DeedLine::Aside, text.trim_start_matches("rigmuster: ")),
                Said::Progress(text) => board.deed_goes_on(&text),
                Said::Call(text) => board.deed_calls(&text),
                Said::Action(action) => note(action, run.source.now()),
                Said::Question(question) => {
                    let form = match question.form {
                        Form::YesNo => DeedForm::YesNo,
                        Form::Word(_) | Form::Text => DeedForm::Text,
                        Form::Secret => DeedForm::Secret,
                        Form::Offer(_) => DeedForm::Offer,
                    };
                    board.deed_asks(&question.text, form);
                    self.question = Some(question);
                }
            }
        }
        if self.question.as_ref().is_some_and(Question::is_over) {
            self.question = None;
            board.deed_asks_nothing();
        }
        if let Some(end) = doing.end() {
            board.end_deed(words(self.deed, end));
            self.question = None;
            if let Some(doing) = self.doing.take() {
                doing.close(&mut run.source);
            }
            return true;
        }
        given
    }

    /// The user's answer.
    pub(in super::super) fn answer(&mut self, answer: Answer) {
        if let Some(question) = self.question.take() {
            question.answer(answer.into_words());
        }
    }

    /// Ends the deed in good order.
    pub(in super::super) fn stop(&mut self, stop: Stop, run: &mut Run) {
        if let Some(doing) = &mut self.doing {
            doing.stop(stop, &mut run.source);
        }
    }

    /// So much is sent from now on: any quieter level than the full one is the show lock.
    pub(in super::super) fn take_level(&mut self, level: Level, run: &mut Run) {
        if level != Level::All {
            self.stop(Stop::Locked, run);
        }
    }

    /// When the deed wants to go on even if nothing happens.
    pub(in super::super) fn next_wake(&self) -> Option<Moment> {
        self.doing.as_ref().and_then(Doing::next_wake)
    }

    /// Until there is something to do for it that does not come from the source; for ever where there is none.
    pub(in super::super) async fn rung(&self) {
        match &self.doing {
            Some(doing) => doing.rung().await,
            None => std::future::pending().await,
        }
    }
}

/// What is said when it is over.
const fn words(deed: Deed, end: End) -> &'static str {
    match end {
        End::Failed if matches!(deed, Deed::Walk) => {
            "Not all of it is proven: see above. Esc closes this page."
        }
        End::Done => "Done. Esc closes this page.",
        End::Declined => "Not done, as you said. Esc closes this page.",
        End::Failed => "Not done: see above. Esc closes this page.",
        End::Stopped(Stop::Locked) => "Ended by the show lock: see above. Esc closes this page.",
        End::Stopped(_) => "Ended, as you wanted. Esc closes this page.",
        End::Overdue => "Ended before all was put back: look at the device. Esc closes this page.",
    }
}

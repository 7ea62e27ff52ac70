//! The board as the host of a deed: what it says and asks goes to a page of the board, and the head count goes on.

use ::board::{Board, DeedForm, DeedLine};
use ledger::Snapshot;
use vocab::{Level, Moment};

use super::super::open::Run;
use crate::hands::wink::{self, By};
use crate::hands::{Deed, Doing, End, Form, Question, Said, Stop, Whom, choose, may};
use crate::journal::Recorder;

/// The deed that the board is the host of, if any.
#[derive(Default)]
pub(in super::super) struct Hands {
    doing: Option<Doing<'static>>,
    question: Option<Question>,
}

impl Hands {
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
        let listed: Option<Vec<_>> = device.map(|d| d.control.iter().map(|c| c.port).collect());
        board.begin_deed(&format!("{} {who}", deed.verb()));
        let now = run.source.now();
        self.doing = Some(Doing::begin(now, |desk, talk| async move {
            let place = match choose(&talk, deed, whom).await {
                Ok(Some(place)) => place,
                Ok(None) => return End::Failed,
                Err(stop) => return End::Stopped(stop),
            };
            let by = match talk
                .line("Enter for its lamp, or type head to move its head a little:")
                .await
            {
                Ok(line) if line.trim() == "head" => By::Head,
                Ok(line) if line.trim().is_empty() || line.trim() == "lamp" => By::Lamp(wink::SPAN),
                Ok(_) => return End::Declined,
                Err(stop) => return End::Stopped(stop),
            };
            wink::wink(desk, talk, place, wink::ports(listed.as_deref()), by).await
        }));
    }

    /// Lets the deed do all that it can do now, and shows what it says. True if frames wait to leave.
    pub(in super::super) fn step(
        &mut self,
        run: &mut Run,
        board: &mut Board,
        journal: &mut Recorder,
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
                Said::Action(action) => journal.act(action, run.source.now()),
                Said::Question(question) => {
                    let form = match question.form {
                        Form::YesNo => DeedForm::YesNo,
                        Form::Word(_) | Form::Text => DeedForm::Text,
                        Form::Secret => DeedForm::Secret,
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
            board.end_deed(words(end));
            self.question = None;
            if let Some(doing) = self.doing.take() {
                doing.close(&mut run.source);
            }
            return true;
        }
        given
    }

    /// The user's answer.
    pub(in super::super) fn answer(&mut self, line: String) {
        if let Some(question) = self.question.take() {
            question.answer(line);
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
const fn words(end: End) -> &'static str {
    match end {
        End::Done => "Done. Esc closes this page.",
        End::Declined => "Not done, as you said. Esc closes this page.",
        End::Failed => "Not done: see above. Esc closes this page.",
        End::Stopped(Stop::Locked) => "Ended by the show lock: see above. Esc closes this page.",
        End::Stopped(_) => "Ended, as you wanted. Esc closes this page.",
        End::Overdue => "Ended before all was put back: look at the device. Esc closes this page.",
    }
}

//! How much may be sent: the choice of a level, and going louder, which asks back.

use ledger::Snapshot;
use vocab::Level;

use super::{Board, Question};
use crate::Request;

impl Board {
    /// The user has chosen a level. A quieter one holds at once.
    pub(super) fn choose_level(&mut self, level: Level, snapshot: &Snapshot) -> Option<Request> {
        self.asking.take_if(|q| *q == Question::Level)?;
        if level == snapshot.level() {
            self.tell(&format!("As before: it sends {}.", level.words()));
            return None;
        }
        if level < snapshot.level() {
            self.asking = Some(Question::Louder(level));
            return None;
        }
        self.tell(match level {
            Level::Silent => "Listen-only: nothing is sent from now on.",
            Level::Watch | Level::All => {
                "Watching only: one question a second to each device, and nothing else."
            }
        });
        Some(Request::Level(level))
    }

    /// What sends more than watching asks back while only watching, and ends that.
    pub(super) fn ask_more(&mut self, request: Request, snapshot: &Snapshot) -> Option<Request> {
        if snapshot.level() != Level::Watch {
            return Some(request);
        }
        self.forget_notice();
        self.asking = Some(Question::More(Box::new(request)));
        None
    }
}

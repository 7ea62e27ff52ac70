//! Keys, mouse and resizes, read beside the main loop.

use std::time::Duration;

use crossterm::event::{self, Event};
use tokio::sync::mpsc;

/// How many events may wait; a person types less.
const WAITING: usize = 256;

/// The stream of terminal events.
#[derive(Debug)]
pub(crate) struct Input {
    events: mpsc::Receiver<Event>,
}

impl Input {
    /// Begins to read. The reader ends with the program: reading a terminal cannot be broken off.
    ///
    /// From its return on no change of the window's size is missed: a picture that was drawn before would be taken for
    /// what the window still shows. Where there is no terminal, reading it says so.
    pub(crate) fn start() -> Self {
        let (sender, events) = mpsc::channel(WAITING);
        let _ = event::poll(Duration::ZERO);
        std::thread::spawn(move || {
            while let Ok(event) = event::read() {
                if sender.blocking_send(event).is_err() {
                    break;
                }
            }
        });
        Self { events }
    }

    /// Forgets all that came so far.
    pub(crate) fn drain(&mut self) {
        while self.events.try_recv().is_ok() {}
    }

    /// The next event; `None` when the terminal is gone. Dropping the future loses none.
    pub(crate) async fn next(&mut self) -> Option<Event> {
        self.events.recv().await
    }
}

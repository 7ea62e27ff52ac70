//! Where sightings come from: a real link, or the simulated venue.
//!
//! Both take asks and give sightings, and both wait in [`Source::turn`]; a command does not see
//! which of them it talks to.

mod live;
mod rehearsal;
mod simulation;

use ledger::Ledger;
use sweep::Driver;
use vocab::{Ask, Mode, Moment, Sighting};

pub use live::open_live;
pub use rehearsal::Rehearsal;
pub use simulation::Simulation;

/// A link, or a venue played in real or in its own time.
#[derive(Debug)]
pub enum Source {
    /// A real interface.
    Live(Box<Driver>),
    /// The simulated venue.
    Rehearsal(Box<Rehearsal>),
}

impl Source {
    /// The time on the run's own clock.
    pub fn now(&self) -> Moment {
        match self {
            Self::Live(driver) => driver.now(),
            Self::Rehearsal(venue) => venue.now(),
        }
    }

    /// How frames get in and out.
    pub fn mode(&self) -> Mode {
        match self {
            Self::Live(driver) => driver.live().mode(),
            Self::Rehearsal(_) => Mode::Simulated,
        }
    }

    /// Waits for the next thing to happen, or until `until`, and carries out what is due.
    /// Dropping the future loses nothing.
    pub async fn turn(&mut self, until: Option<Moment>) {
        match self {
            Self::Live(driver) => driver.turn(until).await,
            Self::Rehearsal(venue) => venue.turn(until).await,
        }
    }

    /// Hands over a question.
    pub fn ask(&mut self, ask: Ask) {
        match self {
            Self::Live(driver) => driver.ask(ask),
            Self::Rehearsal(venue) => venue.ask(ask),
        }
    }

    /// The next thing seen.
    pub fn next_sighting(&mut self) -> Option<Sighting> {
        match self {
            Self::Live(driver) => driver.next_sighting(),
            Self::Rehearsal(venue) => venue.next_sighting(),
        }
    }

    /// Begins or ends listen-only.
    pub fn set_listen_only(&mut self, on: bool) {
        match self {
            Self::Live(driver) => driver.set_listen_only(on),
            Self::Rehearsal(venue) => venue.set_listen_only(on),
        }
    }
}

/// Folds all new sightings into the ledger and hands its questions over.
pub fn exchange(source: &mut Source, ledger: &mut Ledger) {
    while let Some(sighting) = source.next_sighting() {
        ledger.fold(&sighting);
    }
    let now = source.now();
    ledger.tick(now);
    while let Some(ask) = ledger.next_ask(now) {
        source.ask(ask);
    }
}

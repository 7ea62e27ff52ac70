//! The scanner's face: everything it can be told and asked.

use std::collections::VecDeque;
use std::net::Ipv4Addr;

use link::{DialEvent, DialId, Frame};
use vocab::{Ask, Fact, Mac, Mode, Moment, Pace, Sighting, Station};

use crate::{Hold, Order};

/// Who opens connections to control ports.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dialing {
    /// The system's sockets: dials go out as orders.
    Os,
    /// A stack inside the scanner that speaks over frames; needs the peer's hardware address.
    User,
}

/// How a scanner is to work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Config {
    /// How fast it may ask.
    pub pace: Pace,
    /// Nothing at all is sent.
    pub listen_only: bool,
    /// Frames, or the unprivileged way.
    pub mode: Mode,
    /// Who opens connections.
    pub dialing: Dialing,
    /// Where its identifiers and nonces come from; the same seed and input give the same output.
    pub seed: u64,
}

/// Carries out asks, listens, and reports sightings. It does no input or output of its own.
#[derive(Debug)]
pub struct Scanner {
    config: Config,
    sightings: VecDeque<Sighting>,
}

impl Scanner {
    /// A scanner that knows no station yet, and so sends nothing.
    pub fn new(config: Config) -> Self {
        Self { config, sightings: VecDeque::new() }
    }

    /// This computer's interface as it is from now on.
    pub fn set_station(&mut self, now: Moment, station: Station) {
        self.sightings.push_back(Sighting { at: now, fact: Fact::Station(station) });
    }

    /// Begins or ends listen-only.
    pub fn set_listen_only(&mut self, now: Moment, on: bool) {
        self.config.listen_only = on;
        self.sightings.push_back(Sighting { at: now, fact: Fact::ListenOnly(on) });
    }

    /// Changes the pace.
    pub fn set_pace(&mut self, _now: Moment, pace: Pace) {
        self.config.pace = pace;
    }

    /// Takes one question.
    pub fn ask(&mut self, _now: Moment, _ask: Ask) {}

    /// Takes one received frame.
    pub fn receive(&mut self, _now: Moment, _frame: &Frame) {}

    /// Takes what happened on a connection.
    pub fn dial_event(&mut self, _now: Moment, _id: DialId, _event: DialEvent) {}

    /// Takes an echo reply (unprivileged mode).
    pub fn echo_reply(&mut self, _now: Moment, _address: Ipv4Addr, _sequence: u16) {}

    /// Takes the kernel's word on a neighbour (unprivileged mode): its hardware, or that nobody answered.
    pub fn neighbour(&mut self, _now: Moment, _address: Ipv4Addr, _mac: Option<Mac>) {}

    /// Takes the count of frames that the kernel dropped since the start.
    pub fn dropped(&mut self, _now: Moment, _total: u64) {}

    /// The next thing to do at the port, if the pace allows one now.
    pub fn next_order(&mut self, _now: Moment) -> Option<Order> {
        None
    }

    /// The outcome of the last frame, poke or ping.
    pub fn done(&mut self, _now: Moment, _outcome: Result<(), Hold>) {}

    /// Lets time pass. All frames received up to `now` must have been handed over before.
    pub fn tick(&mut self, _now: Moment) {}

    /// When [`Scanner::tick`] and [`Scanner::next_order`] should next be called, if ever.
    pub fn next_wake(&self) -> Option<Moment> {
        None
    }

    /// A dial of the system's that must be closed at once, though no order may be given out.
    pub fn next_abandoned(&mut self) -> Option<DialId> {
        None
    }

    /// The next thing seen.
    pub fn next_sighting(&mut self) -> Option<Sighting> {
        self.sightings.pop_front()
    }
}

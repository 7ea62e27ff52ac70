//! One start of a device: from its first frame until it takes control, step by step.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{ControlPort, Mac, Moment};

/// Starts from which a median and a spread can be told.
const ENOUGH: u32 = 3;
/// The spread is at least this: control ports are asked again every few seconds only.
const LEAST_SPREAD: Duration = Duration::from_secs(5);

/// How a start was first noticed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Opening {
    /// By a frame that the device sent by itself: the stopwatch runs from its first frame.
    FirstFrame,
    /// By an answer to a question: it had been on the wire before, for how long nobody saw.
    Answer,
}

/// One start of a device. All times are since its first frame, as the sightings have them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Start {
    /// The device's name.
    pub device: String,
    /// Its hardware, where known.
    pub mac: Option<Mac>,
    /// The address that it settled at, or is to.
    pub address: Option<Ipv4Addr>,
    /// When its first frame was heard.
    pub first: Moment,
    /// Whether that was a frame of its own or an answer.
    pub opening: Opening,
    /// Until it held its address.
    pub settled: Option<Duration>,
    /// Until it answered an echo request. A device that answers none may start without it.
    pub echo: Option<Duration>,
    /// Until each listed control port answered, in the order of the file. Ports that cannot be
    /// asked, or that the file says never to ask, are left out.
    pub ports: Vec<(ControlPort, Option<Duration>)>,
    /// Until all of it was done; `None` while it is not.
    pub done: Option<Duration>,
}

impl Start {
    /// How many of its steps are done, and how many there are: the address, the echo, each port.
    pub fn steps(&self) -> (usize, usize) {
        let ports = self.ports.iter().filter(|(_, t)| t.is_some()).count();
        let done = usize::from(self.settled.is_some()) + usize::from(self.echo.is_some()) + ports;
        (done, 2 + self.ports.len())
    }
}

/// How long a device's starts usually take, out of those that were complete.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Usual {
    /// How many starts it is made of.
    pub count: u32,
    /// Half of them took no longer.
    pub median: Duration,
    /// Nine in ten of them took no longer.
    pub p90: Duration,
}

impl Usual {
    /// How much more than the median is nothing unusual: from the median to the 90th percentile,
    /// at least a tenth of the median and at least 5 s.
    pub fn spread(&self) -> Duration {
        let beyond = self.p90.saturating_sub(self.median);
        beyond.max(self.median / 10).max(LEAST_SPREAD)
    }

    /// Whether they are enough to say what is usual: three.
    pub const fn tells(&self) -> bool {
        self.count >= ENOUGH
    }
}

/// How far a start has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Course {
    /// It goes on.
    Running,
    /// It is complete.
    Complete,
    /// It came to nothing: the device went again, or its control ports stayed away for too long.
    Broken,
}

/// The latest start of a device as screens show it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StartView {
    /// When it was looked at.
    pub at: Moment,
    /// The start.
    pub start: Start,
    /// How far it has come.
    pub course: Course,
    /// When it ended, if it did.
    pub ended: Option<Moment>,
    /// What is usual for the device, where enough starts are known.
    pub usual: Option<Usual>,
    /// What it may take before it is late: the usual time and its spread, or, where that is not
    /// known, what the rig file allows.
    pub allowed: Duration,
}

impl StartView {
    /// What it took, or has taken so far.
    pub fn took(&self) -> Duration {
        let so_far = || self.ended.unwrap_or(self.at).since(self.start.first);
        self.start.done.unwrap_or_else(so_far)
    }

    /// Whether it takes, or took, longer than it may.
    pub fn late(&self) -> bool {
        self.took() > self.allowed
    }
}

//! One start as it is folded: which of its steps are done, and when. Pure; what the steps mean is
//! said in `view::start`, when they are done is seen in `starts`.

use std::collections::VecDeque;
use std::time::Duration;

use vocab::{ControlPort, Moment};

use crate::view::{Course, Opening, Usual};

/// Echo requests without an answer after which a start goes on without that step.
const ECHO_TRIES: u8 = 3;
/// Complete starts whose times are kept.
const KEPT: usize = 16;

/// A start under way, or the last one.
#[derive(Debug, Clone)]
pub(crate) struct Ladder {
    pub(crate) first: Moment,
    pub(crate) opening: Opening,
    pub(crate) settled: Option<Moment>,
    pub(crate) echo: Option<Moment>,
    /// The ports that answered, each with the time of its first answer.
    pub(crate) ports: Vec<(ControlPort, Moment)>,
    echo_missed: u8,
    pub(crate) course: Course,
    /// When it ended.
    pub(crate) ended: Option<Moment>,
}

impl Ladder {
    /// A start whose first frame was heard at `first`.
    pub(crate) const fn new(first: Moment, opening: Opening) -> Self {
        Self {
            first,
            opening,
            settled: None,
            echo: None,
            ports: Vec::new(),
            echo_missed: 0,
            course: Course::Running,
            ended: None,
        }
    }

    /// Whether it still goes on.
    pub(crate) fn runs(&self) -> bool {
        self.course == Course::Running
    }

    fn fills(&self, at: Moment) -> bool {
        self.runs() && at >= self.first
    }

    /// The address was held at `at`. True if that is new.
    pub(crate) fn settle(&mut self, at: Moment) -> bool {
        let new = self.fills(at) && self.settled.is_none();
        if new {
            self.settled = Some(at);
        }
        new
    }

    /// An echo came back at `at`. True if it is the first.
    pub(crate) fn echo(&mut self, at: Moment) -> bool {
        let new = self.fills(at) && self.echo.is_none();
        if new {
            self.echo = Some(at);
        }
        new
    }

    /// An echo request that was sent at `sent` stayed unanswered.
    pub(crate) fn no_echo(&mut self, sent: Moment) {
        if self.settled.is_some_and(|s| sent >= s) {
            self.echo_missed = self.echo_missed.saturating_add(1);
        }
    }

    /// Whether an echo is still to be asked for.
    pub(crate) fn wants_echo(&self) -> bool {
        self.runs() && self.settled.is_some() && self.echo.is_none() && self.echo_missed < ECHO_TRIES
    }

    /// A control port answered at `at`. True if it is its first answer.
    pub(crate) fn port(&mut self, port: ControlPort, at: Moment) -> bool {
        let new = self.fills(at) && self.answered(port).is_none();
        if new {
            self.ports.push((port, at));
        }
        new
    }

    /// When `port` first answered.
    pub(crate) fn answered(&self, port: ControlPort) -> Option<Moment> {
        self.ports.iter().find(|(p, _)| *p == port).map(|(_, at)| *at)
    }

    /// What the last of its steps took.
    pub(crate) fn done(&self) -> Duration {
        let ports = self.ports.iter().map(|(_, at)| *at);
        let last = ports.chain(self.settled).chain(self.echo).max();
        last.map_or(Duration::ZERO, |at| at.since(self.first))
    }

    /// It ends, one way or the other. True if it had not before.
    pub(crate) fn end(&mut self, course: Course, at: Moment) -> bool {
        let new = self.runs();
        if new {
            self.course = course;
            self.ended = Some(at);
        }
        new
    }
}

/// The starts of one device.
#[derive(Debug, Clone, Default)]
pub(crate) struct Starts {
    /// The latest one.
    pub(crate) latest: Option<Ladder>,
    /// The first frame since it fell silent, if none followed that made a start of it yet.
    pub(crate) stirs: Option<(Moment, Opening)>,
    /// The complete ones, each with its first frame and its end, the latest last.
    pub(crate) complete: VecDeque<(Moment, Moment)>,
    /// When it last asked for an address by DHCP.
    pub(crate) sought: Option<Moment>,
    /// How long they usually take.
    pub(crate) usual: Option<Usual>,
}

impl Starts {
    /// The one that goes on.
    pub(crate) fn running(&self) -> Option<&Ladder> {
        self.latest.as_ref().filter(|l| l.runs())
    }

    /// The one that goes on, to be changed.
    pub(crate) fn running_mut(&mut self) -> Option<&mut Ladder> {
        self.latest.as_mut().filter(|l| l.runs())
    }

    /// What a start may take before it is late, where the file allows `boot`.
    pub(crate) fn allowed(&self, boot: Duration) -> Duration {
        let usual = self.usual.filter(Usual::tells);
        usual.map_or(boot, |u| u.median + u.spread())
    }

    /// One more is complete.
    pub(crate) fn count(&mut self, first: Moment, at: Moment) {
        if self.complete.len() == KEPT {
            self.complete.pop_front();
        }
        self.complete.push_back((first, at));
    }
}

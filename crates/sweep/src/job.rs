//! One question to a control port, as it goes from state to state.

use core::net::Ipv4Addr;
use core::time::Duration;

use link::{Dial, DialId};
use vocab::{ControlPort, ControlState, Fact, Mac, Moment, Text};

use crate::arp::Due;
use crate::busy::{Line, Way};
use crate::listener::{Listener, Question};

/// How long all the tries of one job may be open together, drip or not.
pub(crate) const OPEN_IN_ALL: Duration = Duration::from_secs(5);

/// What a job wants done.
#[derive(Debug)]
pub(crate) enum Act {
    /// Let its next try wait for its frames.
    Queue(u64),
    /// Open this.
    Dial(Dial, Way),
    /// Send this.
    Send(DialId, Vec<u8>, Way),
    /// Close this.
    Close(DialId, Way),
    /// Say this.
    Tell(Fact),
    /// The question put from a borrowed address is over.
    Over(Target),
}

/// Whom to ask, and how.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Target {
    pub(crate) address: Ipv4Addr,
    /// The hardware that the question is bound to, if it is.
    pub(crate) mac: Option<Mac>,
    pub(crate) port: ControlPort,
}

/// What a job waits for.
#[derive(Debug)]
pub(crate) enum State {
    /// For a connection to spare.
    Waiting,
    /// For the device to be free of the last try.
    Resting(Due),
    /// For the frames of a new connection.
    Queued,
    /// For the connection to be accepted.
    Connecting(DialId, Due),
    /// For an answer.
    Talking(DialId, Due, Box<Listener>),
    /// For the frame of the next datagram, which holds nothing at the device; the answer to an earlier
    /// one may still come.
    Again(DialId, Box<Listener>),
}

impl State {
    /// Its connection, if one is open or about to be.
    pub(crate) fn dial(&self) -> Option<DialId> {
        match self {
            Self::Waiting | Self::Resting(_) | Self::Queued => None,
            Self::Connecting(dial, _) | Self::Talking(dial, ..) | Self::Again(dial, _) => Some(*dial),
        }
    }
}

/// A question to a port, with what came of it so far.
#[derive(Debug)]
pub(crate) struct Job {
    pub(crate) target: Target,
    pub(crate) from: Ipv4Addr,
    pub(crate) way: Way,
    /// Whose port it is, as far as that is known.
    pub(crate) host: Option<Mac>,
    pub(crate) nonce: u32,
    /// Which question is under way.
    pub(crate) question: Question,
    /// What came of the first, once the second is: it is told when that is over, so that all of it
    /// is known together.
    pub(crate) detail: Option<Text>,
    pub(crate) state: State,
    pub(crate) tries: u8,
    pub(crate) asked: Option<Moment>,
    /// When the try began that is open now.
    pub(crate) since: Moment,
    /// How long earlier tries were open.
    pub(crate) spent: Duration,
}

impl Job {
    /// Its connection, as far as its count goes.
    pub(crate) const fn line(&self) -> Line {
        Line {
            address: self.target.address,
            host: self.host,
            way: self.way,
        }
    }

    /// Whether its port speaks by datagrams.
    pub(crate) const fn is_udp(&self) -> bool {
        self.target.port.word.is_udp()
    }

    /// A moment of this try, but not beyond what the job may take in all.
    pub(crate) fn due(&self, now: Moment, span: Duration) -> Due {
        let end = self.since + OPEN_IN_ALL.saturating_sub(self.spent);
        Due::new((now + span).min(end))
    }

    /// What is told of it; `None`: there was no way.
    pub(crate) fn outcome(&self, state: Option<ControlState>, detail: Option<Text>) -> Act {
        let Target { address, mac, port } = self.target;
        Act::Tell(match (state, self.asked) {
            (Some(state), Some(asked)) => Fact::Control {
                address,
                mac,
                port,
                state,
                detail,
                asked,
            },
            _ => Fact::ControlNotAsked { address, port },
        })
    }

    /// What the question is in bytes.
    pub(crate) fn bytes(&self) -> Vec<u8> {
        self.question
            .bytes(self.target.port, self.target.address, self.nonce)
    }
}

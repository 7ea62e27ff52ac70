//! Who listens on a connection to a control port: the judge of the first answer, or an ear for the
//! answer to the second question.

use core::net::Ipv4Addr;

use vocab::{ControlPort, Text, Told};
use wire::control::{self, Judge, Verdict};
use wire::follow::{self, Answer, Ear};

/// The questions to one port, in their order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Question {
    /// Does it speak its protocol?
    First,
    /// Is it on, what is it called?
    Second,
}

impl Question {
    /// What to send; nothing where an accepted connection is all that is wanted.
    pub(crate) fn bytes(self, port: ControlPort, host: Ipv4Addr, nonce: u32) -> Vec<u8> {
        match self {
            Self::First => control::request(port, host, nonce).first_bytes,
            Self::Second => follow::request(port, host, nonce).unwrap_or_default(),
        }
    }
}

/// What has come so far.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Heard {
    /// Nothing yet.
    More,
    /// The protocol is spoken; with what the device says of itself, if anything.
    Answered(Option<Text>),
    /// Something else is spoken there.
    Wrong,
    /// The second question is over; with what the device told, if anything.
    Told(Option<Told>),
}

impl From<Answer> for Heard {
    fn from(answer: Answer) -> Self {
        Self::Told(match answer {
            Answer::Told(told) => Some(told),
            Answer::Nothing => None,
        })
    }
}

impl From<Verdict> for Heard {
    fn from(verdict: Verdict) -> Self {
        match verdict {
            Verdict::More => Self::More,
            Verdict::Answered(detail) => Self::Answered(detail),
            Verdict::Wrong => Self::Wrong,
        }
    }
}

/// A listener for the answer to one question.
#[derive(Debug)]
pub(crate) enum Listener {
    First(Judge),
    Second(Ear),
}

impl Listener {
    pub(crate) fn new(question: Question, port: ControlPort, nonce: u32) -> Self {
        match question {
            Question::First => Self::First(Judge::new(port, nonce)),
            Question::Second => Self::Second(Ear::new(port, nonce)),
        }
    }

    /// The connection was accepted.
    pub(crate) fn on_open(&self) -> Heard {
        match self {
            Self::First(judge) => judge.on_open().into(),
            Self::Second(_) => Heard::More,
        }
    }

    /// Bytes came.
    pub(crate) fn feed(&mut self, bytes: &[u8]) -> Heard {
        match self {
            Self::First(judge) => judge.feed(bytes).into(),
            Self::Second(ear) => ear.feed(bytes).map_or(Heard::More, Heard::from),
        }
    }

    /// Nothing more will come.
    pub(crate) fn on_close(&self) -> Heard {
        match self {
            Self::First(judge) => judge.on_close().into(),
            Self::Second(_) => Heard::Told(None),
        }
    }
}

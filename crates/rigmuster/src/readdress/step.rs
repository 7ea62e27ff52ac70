//! What the course of a device is made of: what it is told to do, what comes of it, and how it ends.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{ControlPort, ControlState, Mac};
use wire::onvif::{Interface, NoChoice, Place as Service, Question, Refusal};

use super::follow::{Trail, Verdict};
use super::target::Target;

/// What is to be done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Job {
    /// The device's hardware.
    pub mac: Mac,
    /// Where it is.
    pub at: Ipv4Addr,
    /// What it gets.
    pub to: Target,
    /// Where it may offer the service, the likeliest first.
    pub services: Vec<Service>,
    /// How long its start may take.
    pub boot: Duration,
}

/// What is to be done next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Step {
    /// Ask three times who holds this address; answered by [`Event::Probed`].
    Probe(Ipv4Addr),
    /// Ask the device itself where its service is; answered by [`Event::Sought`].
    Seek,
    /// Put this to the device, with the login if there is one; answered by [`Event::Heard`].
    Put(Service, Question),
    /// Get a login; answered by [`Event::Login`].
    Login,
    /// Show what would change, and ask; answered by [`Event::Confirmed`].
    Confirm,
    /// Look for it; answered by [`Event::Followed`].
    Follow(Trail),
    /// Ask its control ports at the new address, and whether its service speaks there; answered by
    /// [`Event::Tried`].
    Try(Service),
    /// It is over.
    Over(Outcome),
}

/// What came of a step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Event {
    /// Of [`Step::Probe`].
    Probed(Probed),
    /// Of [`Step::Seek`]: where the device says that its service is.
    Sought(Vec<Service>),
    /// Of [`Step::Put`].
    Heard(Result<Answer, Trouble>),
    /// Of [`Step::Login`]: whether there is one.
    Login(bool),
    /// Of [`Step::Confirm`]: whether it may be done.
    Confirmed(bool),
    /// Of [`Step::Follow`].
    Followed(Verdict),
    /// Of [`Step::Try`].
    Tried {
        /// Its control ports.
        ports: Ports,
        /// Whether its service speaks.
        speaks: bool,
    },
    /// Somebody ended it, in the middle of any step.
    Interrupted,
}

/// Control ports as they stand; `None` for one that could not be asked.
pub(crate) type Ports = Vec<(ControlPort, Option<ControlState>)>;

/// What came of asking who holds an address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Probed {
    /// Nobody answered three probes, and nobody was heard there.
    Free,
    /// Somebody holds it.
    Held(Mac),
    /// It could not be asked.
    NotAsked,
}

/// What the device answered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Answer {
    /// Its time, or that it does not tell it.
    Clock,
    /// Its interfaces.
    Interfaces(Vec<Interface>),
    /// That it tells them only after a login.
    WantsLogin,
    /// Its gateways.
    Gateways(Vec<Ipv4Addr>),
    /// That it takes the address.
    TakesAddress {
        /// Whether it must be restarted for it.
        restart: bool,
    },
    /// That it takes the gateway, or restarts.
    Takes,
}

/// Why there is no such answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Trouble {
    /// The device says no, or nothing that makes sense.
    Says(Refusal),
    /// No answer came.
    Mute {
        /// Why.
        why: Why,
        /// Whether the request may have reached the device.
        sent: bool,
    },
}

impl Trouble {
    /// Whether the device may have done what it was told.
    pub(crate) const fn is_unsure(&self) -> bool {
        match self {
            Self::Mute { sent, .. } => *sent,
            // It answered, and what is lost of the answer may have been a yes.
            Self::Says(Refusal::Cut | Refusal::NotHttp | Refusal::NotSoap | Refusal::TooLong) => true,
            Self::Says(Refusal::Missing(_)) => true,
            Self::Says(_) => false,
        }
    }
}

/// Why no answer came.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Why {
    /// It takes no connection there.
    Refused,
    /// It says nothing.
    Silent,
    /// The connection broke.
    Cut,
    /// There is no address to speak from, or the link is down.
    NoWay,
    /// This computer's system gives no chance to make a login of.
    NoChance,
}

/// How the device says that it is set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Settings {
    /// Its interface.
    pub interface: Interface,
    /// Its gateways; `None` where it does not say.
    pub gateways: Option<Vec<Ipv4Addr>>,
}

/// How the device says that it is set, once it has moved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Now {
    /// Like that.
    Told(Settings),
    /// It does not say so.
    Untold(Trouble),
    /// It was not asked: its service did not speak at its new address.
    NotAsked,
}

/// How far something that changes the device got.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Told {
    /// It was not sent.
    #[default]
    No,
    /// It may have reached the device, and no answer came.
    Unsure,
    /// The device took it.
    Yes,
    /// The device said no.
    Refused,
}

/// All that changes the device, and how far each got.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Sent {
    /// The address.
    pub address: Told,
    /// The gateway.
    pub gateway: Told,
    /// The restart.
    pub restart: Told,
}

impl Sent {
    /// Whether the device is as it was.
    pub(crate) fn nothing(self) -> bool {
        [self.address, self.gateway, self.restart]
            .iter()
            .all(|told| matches!(told, Told::No | Told::Refused))
    }
}

/// How it ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Outcome {
    /// It answers at its new address.
    Arrived {
        /// How long that took; `None` where it stayed where it was.
        took: Option<Duration>,
        /// Its control ports.
        ports: Ports,
        /// Why the gateway was not set, if it was not.
        gateway: Option<Trouble>,
        /// How it says that it is set now.
        now: Now,
    },
    /// It is set like that already.
    Already,
    /// It turned up elsewhere, or not at all.
    Astray(Verdict),
    /// Somebody holds the new address; nothing was sent.
    Held(Mac),
    /// It could not be found out whether the new address is free.
    NotProbed,
    /// Where the service may be nobody speaks it.
    NoService,
    /// It wants a login, and there is none.
    NoLogin,
    /// It does not take the login.
    LoginRefused,
    /// Which of its interfaces this is, is not clear.
    Unclear(NoChoice),
    /// None of the addresses that it says it has is the one at which it answers.
    Elsewhere,
    /// It was not asked for in the end.
    NotConfirmed,
    /// A request came to nothing.
    Failed(Question, Trouble),
    /// Somebody ended it.
    Interrupted,
}

//! The device's side of ONVIF's network service: it keeps what it was told, wants a login, and goes wrong where
//! it is planned to. For the simulated venue and for tests; nothing here reads what comes off a wire.

use core::net::Ipv4Addr;
use core::time::Duration;

use vocab::{Ipv4Net, Mac, Moment};

use super::device_words as words;
use crate::head::end_of_head;
use crate::onvif::{Asked, DeviceTime, Setting, Tried};

/// From an answer to what it leads to, so that the answer gets out first (common practice, no source).
const SOON: Duration = Duration::from_millis(500);
/// From an answer's beginning to the end of a device that dies in it.
const DYING: Duration = Duration::from_millis(20);
/// Questions that are kept on record.
const MAX_RECORD: usize = 256;

/// Which login a device wants.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Wants {
    /// None.
    #[default]
    Nothing,
    /// Inside the message, with a time near its own.
    Token,
    /// Beside the message, by MD5.
    DigestMd5,
    /// Beside the message, by SHA-256.
    DigestSha256,
    /// The password as it is.
    Plain,
}

/// When a device takes the address that it is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Takes {
    /// Half a second after its answer.
    #[default]
    Soon,
    /// At once and without an answer: its connection is lost.
    Mute,
    /// It answers and starts again by itself.
    Restarting,
    /// It says that it needs a restart, and waits to be told.
    AtRestart,
}

/// Where a device is after it was told a new address.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ComesUp {
    /// Where it was told.
    #[default]
    There,
    /// Where it was.
    Unmoved,
    /// Somewhere else.
    Elsewhere(Ipv4Net),
    /// Where a DHCP server puts it.
    ByDhcp,
    /// Nowhere: it stays off.
    Never,
}

/// Which interfaces a device tells of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Tells {
    /// Its own.
    #[default]
    Own,
    /// Its own, and a second one with other hardware.
    Two,
    /// Its own without a hardware address.
    Nameless,
    /// One with other hardware.
    Foreign,
    /// Two with its own hardware.
    Twins,
}

/// What goes wrong when a device is asked one question.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trouble {
    /// It refuses with this code of ONVIF's.
    Refuses(&'static str),
    /// It dies without an answer.
    Dies,
    /// It dies in the middle of its answer.
    DiesHalfway,
    /// It dies after its answer, having done nothing of what it promised.
    DiesAfter,
    /// It never answers, and lives.
    Silent,
    /// Its answer comes a few bytes a second.
    Drips,
    /// Its answer is longer than anybody would read.
    Giant,
    /// Its answer is a web page.
    Page,
}

/// What a device with the service is like.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DevicePlan {
    /// Which login it wants.
    pub wants: Wants,
    /// The user and the password that it takes.
    pub login: (String, String),
    /// What its clock shows when the run begins.
    pub clock: DeviceTime,
    /// When it takes a new address.
    pub takes: Takes,
    /// Where it is then.
    pub comes_up: ComesUp,
    /// Which interfaces it tells of.
    pub tells: Tells,
    /// What goes wrong, each at a question by its name in the service.
    pub troubles: Vec<(&'static str, Trouble)>,
}

impl Default for DevicePlan {
    /// A device without a login or a fault, whose clock was never set.
    fn default() -> Self {
        Self {
            wants: Wants::default(),
            login: ("operator".to_owned(), "harbour-7".to_owned()),
            clock: DeviceTime::NEVER_SET,
            takes: Takes::default(),
            comes_up: ComesUp::default(),
            tells: Tells::default(),
            troubles: Vec::new(),
        }
    }
}

impl DevicePlan {
    /// The same with a login.
    #[must_use]
    pub fn wanting(mut self, wants: Wants) -> Self {
        self.wants = wants;
        self
    }

    /// The same with something wrong at a question.
    #[must_use]
    pub fn with(mut self, question: &'static str, trouble: Trouble) -> Self {
        self.troubles.push((question, trouble));
        self
    }
}

/// How its network is set now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct View {
    /// Its hardware address.
    pub mac: Mac,
    /// The address that it holds.
    pub net: Option<Ipv4Net>,
    /// Whether that came by DHCP.
    pub dhcp: bool,
    /// Its gateway.
    pub gateway: Option<Ipv4Addr>,
}

/// What a device does beside answering.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Act {
    /// Has this address from now on, kept over restarts.
    Take(Setting),
    /// Has this gateway.
    Gateway(Ipv4Addr),
    /// Starts again.
    Restart,
    /// Is off for good.
    Die,
}

/// What a device says, and what it does because of what it was told.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Spoken {
    /// The bytes of its answer.
    pub bytes: Vec<u8>,
    /// So many of them at a time, with so much between; all at once without.
    pub pace: Option<(usize, Duration)>,
    /// What it does, and how much later.
    pub acts: Vec<(Duration, Act)>,
}

/// A device with the service.
#[derive(Debug)]
pub struct Device {
    plan: DevicePlan,
    /// Waits for a restart.
    pending: Option<Setting>,
    tried: (u32, u32),
    nonces: u32,
    record: Vec<String>,
}

impl Device {
    /// A device like that.
    pub const fn new(plan: DevicePlan) -> Self {
        Self {
            plan,
            pending: None,
            tried: (0, 0),
            nonces: 0,
            record: Vec::new(),
        }
    }

    /// Logins that it took, and that it refused.
    pub const fn logins(&self) -> (u32, u32) {
        self.tried
    }

    /// The names of the questions that it was asked, in order.
    pub fn asked(&self) -> &[String] {
        &self.record
    }

    /// What it says to all of a stream since the last answer. `None` while the request is unfinished, and where
    /// it is not for the service, or asks for its name, which is the persona's matter.
    pub fn answer(&mut self, request: &[u8], view: &View, now: Moment) -> Option<Spoken> {
        let (head, body) = request.split_at_checked(end_of_head(request)?)?;
        let asked = Asked::read(head, body).filter(|asked| asked.name() != "GetHostname")?;
        if self.record.len() < MAX_RECORD {
            self.record.push(asked.name().to_owned());
        }
        let clock = self.plan.clock.after(Duration::from_micros(now.as_micros()));
        if asked.name() != "GetSystemDateAndTime"
            && let Some(denied) = self.deny(&asked, clock)
        {
            return Some(Spoken {
                bytes: denied,
                ..Spoken::default()
            });
        }
        let trouble = self.plan.troubles.iter().find(|(name, _)| *name == asked.name());
        let trouble = trouble.map(|(_, trouble)| *trouble);
        if let Some(Trouble::Refuses(code)) = trouble {
            return Some(Spoken {
                bytes: words::fault(400, code, ""),
                ..Spoken::default()
            });
        }
        let mut spoken = self.obey(&asked, view, clock);
        match trouble {
            None | Some(Trouble::Refuses(_)) => {}
            Some(Trouble::Silent) => spoken = Spoken::default(),
            Some(Trouble::Dies) => die(&mut spoken, 0),
            Some(Trouble::DiesHalfway) => {
                let half = spoken.bytes.len() / 2;
                die(&mut spoken, half);
            }
            Some(Trouble::DiesAfter) => {
                let all = spoken.bytes.len();
                die(&mut spoken, all);
            }
            Some(Trouble::Drips) => spoken.pace = Some((8, Duration::from_millis(500))),
            Some(Trouble::Giant) => spoken.bytes = words::giant(),
            Some(Trouble::Page) => spoken.bytes = words::page(),
        }
        Some(spoken)
    }

    /// The refusal, unless the login is right.
    fn deny(&mut self, asked: &Asked, clock: DeviceTime) -> Option<Vec<u8>> {
        let (user, password) = &self.plan.login;
        let challenge = words::challenge(self.plan.wants, self.nonces);
        let tried = match self.plan.wants {
            Wants::Nothing => return None,
            Wants::Token => asked.try_token(user, password, clock),
            Wants::DigestMd5 | Wants::DigestSha256 => asked.try_digest(user, password, &challenge),
            Wants::Plain => Tried::NotAtAll,
        };
        match tried {
            Tried::Right => {
                self.tried.0 += 1;
                // Each nonce is good for one answer.
                self.nonces += 1;
                return None;
            }
            Tried::Wrong => self.tried.1 += 1,
            Tried::NotAtAll => {}
        }
        self.nonces += 1;
        Some(match self.plan.wants {
            Wants::Token | Wants::Nothing => words::fault(400, "NotAuthorized", ""),
            Wants::Plain => words::denied("Basic realm=\"device\""),
            Wants::DigestMd5 | Wants::DigestSha256 => {
                words::denied(&words::challenge(self.plan.wants, self.nonces))
            }
        })
    }

    /// Does what it is told.
    fn obey(&mut self, asked: &Asked, view: &View, clock: DeviceTime) -> Spoken {
        let mut acts = Vec::new();
        let inner = match asked.name() {
            "GetSystemDateAndTime" => words::clock(clock),
            "GetNetworkInterfaces" => words::interfaces(self.plan.tells, view),
            "GetNetworkDefaultGateway" => words::gateway(view.gateway),
            "SetNetworkInterfaces" => {
                let Some((token, setting)) = asked.setting() else {
                    return refused("InvalidIPv4Address");
                };
                if token != words::TOKEN {
                    return refused("InvalidNetworkInterface");
                }
                match self.plan.takes {
                    Takes::Soon => acts.extend(self.move_to(setting).map(|act| (SOON, act))),
                    Takes::Mute => {
                        acts.extend(self.move_to(setting).map(|act| (Duration::ZERO, act)));
                        return Spoken {
                            acts,
                            ..Spoken::default()
                        };
                    }
                    Takes::Restarting => {
                        acts.extend(self.move_to(setting).map(|act| (SOON, act)));
                        acts.push((SOON, Act::Restart));
                    }
                    Takes::AtRestart => self.pending = Some(setting),
                }
                words::needs_restart(self.plan.takes == Takes::AtRestart)
            }
            "SetNetworkDefaultGateway" => {
                let Some(gateway) = asked.gateway() else {
                    return refused("InvalidGatewayAddress");
                };
                acts.push((Duration::ZERO, Act::Gateway(gateway)));
                words::gateway_set()
            }
            "SystemReboot" => {
                let pending = self.pending.take();
                acts.extend(
                    pending
                        .and_then(|setting| self.move_to(setting))
                        .map(|act| (SOON, act)),
                );
                acts.push((SOON, Act::Restart));
                words::restarting()
            }
            _ => return refused("ActionNotSupported"),
        };
        Spoken {
            bytes: words::answer(&inner),
            pace: None,
            acts,
        }
    }

    fn move_to(&self, told: Setting) -> Option<Act> {
        match self.plan.comes_up {
            ComesUp::There => Some(Act::Take(told)),
            ComesUp::Unmoved => None,
            ComesUp::Elsewhere(net) => Some(Act::Take(Setting::Manual(net))),
            ComesUp::ByDhcp => Some(Act::Take(Setting::Dhcp)),
            ComesUp::Never => Some(Act::Die),
        }
    }
}

fn refused(code: &str) -> Spoken {
    Spoken {
        bytes: words::fault(400, code, ""),
        ..Spoken::default()
    }
}

/// It dies once so many bytes are out, and does nothing more.
fn die(spoken: &mut Spoken, after: usize) {
    spoken.bytes.truncate(after);
    spoken.acts = vec![(DYING, Act::Die)];
}

#[cfg(test)]
#[path = "device_tests.rs"]
mod tests;

//! The course of giving a device its new address: events in, steps out.
//!
//! It does nothing itself and knows no secret. Each [`Step`] is carried out by somebody else and
//! answered by one [`Event`]; [`Course::go`] says what comes next, until [`Step::Over`].
//!
//! The device is asked by ONVIF Core's device service: its time first (which needs no login), then
//! its interfaces without a login, which shows whether it wants one. A login is tried once: after a
//! refusal nothing more is asked. Once it has moved it is asked how it is set now, with the login that
//! it took before.

use std::time::Duration;

use wire::onvif::{Interface, Place as Service, Question, Refusal, Setting, choose};

use super::follow::{Trail, Verdict};
use super::step::{Answer, Event, Job, Outcome, Ports, Probed, Sent, Settings, Step, Told, Trouble, Why};

/// Added to the time that the device's start may take.
const SPARE: Duration = Duration::from_mins(1);

mod back;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stage {
    /// Whether the new address is free.
    Free,
    /// For the device's own word on where its service is.
    Seeking,
    /// Which service speaks.
    Finding(usize),
    /// What it tells without a login.
    Bare,
    /// For a login.
    Login,
    /// Whether the login is taken.
    First,
    /// Its gateways.
    Gateways,
    /// For the user's word.
    Asking,
    /// Whether the new address is still free.
    StillFree,
    /// The address was sent.
    Address,
    /// The gateway was sent.
    Gateway,
    /// The restart was sent.
    Restart,
    /// Looking for it.
    Following,
    /// The gateway was sent once it had arrived.
    LateGateway,
    /// Its control ports.
    Ports,
    /// How it is set now.
    After,
    /// Its gateways now.
    AfterGateways,
}

/// What a device was asked, and what it said.
type Heard = Result<Answer, Trouble>;

/// The course of one device.
#[derive(Debug)]
pub(crate) struct Course {
    job: Job,
    stage: Stage,
    /// Where its service may be, the likeliest first.
    services: Vec<Service>,
    /// The service that speaks.
    service: Option<Service>,
    /// An answer that broke off before any service spoke.
    broke: Option<Trouble>,
    before: Option<Settings>,
    sent: Sent,
    took: Option<Duration>,
    gateway_trouble: Option<Trouble>,
    /// Its control ports at the new address.
    ports: Ports,
    /// Whether its service speaks there.
    speaks: bool,
    /// How it says that it is set then.
    after: Option<Settings>,
    /// Whether it must be restarted for its new settings.
    restarts: bool,
}

impl Course {
    /// A course, and its first step.
    pub(crate) fn begin(job: Job) -> (Self, Step) {
        let step = Step::Probe(job.to.address());
        let course = Self {
            services: job.services.clone(),
            job,
            stage: Stage::Free,
            service: None,
            broke: None,
            before: None,
            sent: Sent::default(),
            took: None,
            gateway_trouble: None,
            ports: Ports::new(),
            speaks: false,
            after: None,
            restarts: false,
        };
        (course, step)
    }

    /// What is to be done.
    pub(crate) const fn job(&self) -> &Job {
        &self.job
    }

    /// How the device was set, once it said so.
    pub(crate) const fn before(&self) -> Option<&Settings> {
        self.before.as_ref()
    }

    /// How far what changes the device got.
    pub(crate) const fn sent(&self) -> Sent {
        self.sent
    }

    /// Whether its gateway is to be changed.
    pub(crate) fn changes_gateway(&self) -> bool {
        let has = self.before.as_ref().and_then(|b| b.gateways.as_deref());
        let wanted = self.job.to.gateway;
        wanted.is_some_and(|gateway| has != Some(&[gateway]))
    }

    /// Whether its address, mask or DHCP is to be changed.
    pub(crate) fn changes_address(&self) -> bool {
        let has = self.before.as_ref().map(|b| &b.interface);
        has.is_none_or(|i| i.dhcp || !i.manual.contains(&self.job.to.net))
    }

    /// What comes after `event`.
    pub(crate) fn go(&mut self, event: Event) -> Step {
        match (self.stage, event) {
            (Stage::Free | Stage::StillFree, Event::Probed(probed)) => self.probed(probed),
            (Stage::Seeking, Event::Sought(said)) => self.sought(said),
            (Stage::Finding(nth), Event::Heard(heard)) => self.found(nth, &heard),
            (Stage::Bare | Stage::First, Event::Heard(heard)) => self.looked(heard),
            (Stage::Login, Event::Login(true)) => self.put(Stage::First, Question::Interfaces),
            (Stage::Login, Event::Login(false)) => Step::Over(Outcome::NoLogin),
            (Stage::Gateways, Event::Heard(heard)) => self.gateways(heard),
            (Stage::Asking, Event::Confirmed(false)) => Step::Over(Outcome::NotConfirmed),
            (Stage::Asking, Event::Confirmed(true)) if self.changes_address() => {
                self.stage = Stage::StillFree;
                Step::Probe(self.job.to.address())
            }
            (Stage::Asking, Event::Confirmed(true)) => self.set_gateway(Stage::Gateway),
            (Stage::Address, Event::Heard(heard)) => self.address_told(heard),
            (Stage::Gateway, Event::Heard(heard)) => self.gateway_told(heard),
            (Stage::Restart, Event::Heard(heard)) => self.restart_told(heard),
            (Stage::Following, Event::Followed(verdict)) => self.followed(verdict),
            (Stage::Ports, Event::Tried { ports, speaks }) => self.tried(ports, speaks),
            (Stage::LateGateway, Event::Heard(heard)) => {
                (self.sent.gateway, self.gateway_trouble) = told(heard);
                self.look_back()
            }
            (Stage::After, Event::Heard(heard)) => self.looked_back(heard),
            (Stage::AfterGateways, Event::Heard(heard)) => self.gateways_now(heard),
            // An interruption; and if a step were answered by something else, stopping does no harm.
            (_, _) => Step::Over(Outcome::Interrupted),
        }
    }

    fn put(&mut self, stage: Stage, question: Question) -> Step {
        self.stage = stage;
        let told = match question {
            Question::SetInterface(..) => Some(&mut self.sent.address),
            Question::SetGateway(_) => Some(&mut self.sent.gateway),
            Question::Restart => Some(&mut self.sent.restart),
            Question::Clock | Question::Interfaces | Question::Gateway => None,
        };
        if let Some(told) = told {
            *told = Told::Unsure;
        }
        let service = self.service.as_ref().map(|service| match stage {
            Stage::LateGateway | Stage::After | Stage::AfterGateways => service.at(self.job.to.address()),
            _ => service.clone(),
        });
        match (service, &self.broke) {
            (Some(service), _) => Step::Put(service, question),
            // It was about to speak.
            (None, Some(trouble)) => Step::Over(Outcome::Failed(question, trouble.clone())),
            (None, None) => Step::Over(Outcome::NoService),
        }
    }

    fn probed(&mut self, probed: Probed) -> Step {
        match probed {
            Probed::Held(mac) if mac != self.job.mac => Step::Over(Outcome::Held(mac)),
            Probed::NotAsked => Step::Over(Outcome::NotProbed),
            Probed::Free | Probed::Held(_) if self.stage == Stage::Free => {
                self.stage = Stage::Seeking;
                Step::Seek
            }
            Probed::Free | Probed::Held(_) => match &self.before {
                Some(before) => {
                    let token = before.interface.token.clone();
                    let setting = Setting::Manual(self.job.to.net);
                    self.put(Stage::Address, Question::SetInterface(token, setting))
                }
                None => Step::Over(Outcome::Elsewhere),
            },
        }
    }

    /// What the device says itself comes first.
    fn sought(&mut self, said: Vec<Service>) -> Step {
        let here = self.job.at;
        let mut all: Vec<Service> = said.into_iter().filter(|s| s.host == here).collect();
        all.append(&mut self.services);
        for service in all {
            if !self.services.contains(&service) {
                self.services.push(service);
            }
        }
        self.find(0)
    }

    fn find(&mut self, nth: usize) -> Step {
        self.service = self.services.get(nth).cloned();
        self.put(Stage::Finding(nth), Question::Clock)
    }

    fn found(&mut self, nth: usize, heard: &Heard) -> Step {
        match heard {
            // Who tells the time only after a login breaks the standard, but does speak it.
            Ok(_) | Err(Trouble::Says(Refusal::NotAuthorized | Refusal::Fault(_))) => {
                self.put(Stage::Bare, Question::Interfaces)
            }
            Err(trouble @ Trouble::Mute { why: Why::NoWay, .. }) => {
                Step::Over(Outcome::Failed(Question::Clock, trouble.clone()))
            }
            Err(trouble) => {
                if *trouble == Trouble::Says(Refusal::Cut) {
                    self.broke.get_or_insert_with(|| trouble.clone());
                }
                self.find(nth + 1)
            }
        }
    }

    fn looked(&mut self, heard: Heard) -> Step {
        match heard {
            Ok(Answer::Interfaces(all)) => self.choose(&all),
            Ok(Answer::WantsLogin) if self.stage == Stage::Bare => {
                self.stage = Stage::Login;
                Step::Login
            }
            Ok(_) | Err(Trouble::Says(Refusal::NotAuthorized)) => Step::Over(Outcome::LoginRefused),
            Err(trouble) => Step::Over(Outcome::Failed(Question::Interfaces, trouble)),
        }
    }

    /// The interface by which it answers here, if that is clear.
    fn choose(&mut self, all: &[Interface]) -> Step {
        let interface = match choose(all, self.job.mac) {
            Ok(interface) => interface,
            Err(unclear) => return Step::Over(Outcome::Unclear(unclear)),
        };
        let mut says = addresses(interface).peekable();
        // Who says nothing of its addresses says nothing wrong.
        if says.peek().is_some() && !says.any(|net| net.addr() == self.job.at) {
            return Step::Over(Outcome::Elsewhere);
        }
        self.before = Some(Settings {
            interface: interface.clone(),
            gateways: None,
        });
        self.put(Stage::Gateways, Question::Gateway)
    }

    fn gateways(&mut self, heard: Heard) -> Step {
        match heard {
            Ok(Answer::Gateways(all)) => {
                if let Some(before) = &mut self.before {
                    before.gateways = Some(all);
                }
            }
            // It need not know the question: then it is not known.
            Err(Trouble::Says(Refusal::Fault(_) | Refusal::NotOffered | Refusal::Missing(_))) => {}
            Ok(_) => return Step::Over(Outcome::Interrupted),
            Err(trouble) => return Step::Over(Outcome::Failed(Question::Gateway, trouble)),
        }
        if !self.changes_address() && !self.changes_gateway() {
            return Step::Over(Outcome::Already);
        }
        self.stage = Stage::Asking;
        Step::Confirm
    }

    fn set_gateway(&mut self, stage: Stage) -> Step {
        match self.job.to.gateway {
            Some(gateway) => self.put(stage, Question::SetGateway(gateway)),
            None => self.look_back(),
        }
    }

    fn address_told(&mut self, heard: Heard) -> Step {
        match heard {
            Ok(Answer::TakesAddress { restart }) => {
                self.sent.address = Told::Yes;
                self.restarts = restart;
                match (restart, self.changes_gateway()) {
                    // Until it restarts it can still be told where it was.
                    (true, true) => self.set_gateway(Stage::Gateway),
                    (true, false) => self.put(Stage::Restart, Question::Restart),
                    (false, _) => self.follow(),
                }
            }
            Ok(_) => self.follow(),
            // Whoever takes a new address at once often cannot answer from the old one any more.
            Err(trouble) if trouble.is_unsure() => self.follow(),
            Err(trouble) => {
                (self.sent.address, _) = told(Err(trouble.clone()));
                let token = self.before.as_ref().map(|b| b.interface.token.clone());
                let setting = Setting::Manual(self.job.to.net);
                token.map_or(Step::Over(Outcome::Elsewhere), |token| {
                    Step::Over(Outcome::Failed(Question::SetInterface(token, setting), trouble))
                })
            }
        }
    }

    fn gateway_told(&mut self, heard: Heard) -> Step {
        (self.sent.gateway, self.gateway_trouble) = told(heard);
        if self.restarts {
            // A gateway outside its old subnet may be refused now and taken once it has moved.
            return self.put(Stage::Restart, Question::Restart);
        }
        match (self.gateway_trouble.clone(), self.job.to.gateway) {
            (Some(trouble), Some(gateway)) => {
                Step::Over(Outcome::Failed(Question::SetGateway(gateway), trouble))
            }
            _ => self.ports(),
        }
    }

    fn restart_told(&mut self, heard: Heard) -> Step {
        let trouble = match heard {
            Ok(_) => {
                self.sent.restart = Told::Yes;
                return self.follow();
            }
            // It restarts too soon to say so.
            Err(trouble) if trouble.is_unsure() => return self.follow(),
            Err(trouble) => trouble,
        };
        (self.sent.restart, _) = told(Err(trouble.clone()));
        Step::Over(Outcome::Failed(Question::Restart, trouble))
    }

    fn follow(&mut self) -> Step {
        self.stage = Stage::Following;
        Step::Follow(Trail {
            mac: self.job.mac,
            old: self.job.at,
            new: self.job.to.address(),
            within: self.job.boot + SPARE,
        })
    }

    fn followed(&mut self, verdict: Verdict) -> Step {
        let Verdict::Arrived(took) = verdict else {
            return Step::Over(Outcome::Astray(verdict));
        };
        self.took = Some(took);
        self.ports()
    }

    /// Whether it is still to be told its gateway, at the new address.
    fn owes_gateway(&self) -> bool {
        self.took.is_some() && self.changes_gateway() && self.sent.gateway != Told::Yes
    }
}

/// The addresses that a device says an interface has.
pub(super) fn addresses(interface: &Interface) -> impl Iterator<Item = vocab::Ipv4Net> {
    let all = interface.manual.iter().copied();
    all.chain(interface.leased).chain(interface.link_local)
}

/// How far something got that the device was told, and why no further.
fn told(heard: Heard) -> (Told, Option<Trouble>) {
    match heard {
        Ok(_) => (Told::Yes, None),
        Err(trouble) if trouble.is_unsure() => (Told::Unsure, Some(trouble)),
        Err(trouble @ Trouble::Mute { .. }) => (Told::No, Some(trouble)),
        Err(trouble @ Trouble::Says(_)) => (Told::Refused, Some(trouble)),
    }
}

#[cfg(test)]
#[path = "course_tests.rs"]
pub(super) mod tests;

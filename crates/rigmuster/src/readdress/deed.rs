//! The deed: carries out the course over the two handles that every deed has.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{ControlPort, ControlState, ControlWord, Moment};
use wire::onvif::{Login, Place as Service, Question, Refusal, Secret};

use super::asker::Asker;
use super::course::Course;
use super::ending::ending;
use super::look::Look;
use super::order::{Given, Order};
use super::step::{Event, Outcome, Step, Told, Trouble, Why};
use super::whereabouts::whereabouts;
use super::words::{self, settings, settings_after};
use crate::hands::{Desk, End, Place, Reached, Stop, Talk};

/// So long control ports of a device that was not restarted may take.
const SETTLED: Duration = Duration::from_secs(20);
/// From one question to a service that does not speak yet to the next.
const ROUND: Duration = Duration::from_secs(5);
/// Added to the time that a start may take.
const SPARE: Duration = Duration::from_mins(1);

struct Hand {
    desk: Desk,
    talk: Talk,
    order: Order,
    asker: Asker,
    /// The way to it, and whom it leads to.
    way: Option<(Place, Reached)>,
    /// Since when it was told to change.
    since: Option<Moment>,
    /// What ended it before its end.
    stopped: Option<Stop>,
}

/// Gives the device its new address.
pub(crate) async fn readdress(desk: Desk, talk: Talk, order: Order) -> End {
    let now = desk.now();
    let hand = Hand {
        asker: Asker::new(order.utc, now),
        desk,
        talk,
        order,
        way: None,
        since: None,
        stopped: None,
    };
    hand.go().await
}

impl Hand {
    async fn go(mut self) -> End {
        let (mut course, mut step) = Course::begin(self.order.job());
        let outcome = loop {
            if let Step::Put(_, question) = &step
                && question.changes()
            {
                self.begin(&course);
            }
            let event = match step {
                Step::Over(outcome) => break outcome,
                step => match self.carry_out(&course, step).await {
                    Ok(event) => event,
                    Err(stop) => {
                        self.stopped = Some(stop);
                        Event::Interrupted
                    }
                },
            };
            step = course.go(event);
        };
        self.way = None;
        self.talk.progress("");
        self.end(&course, &outcome).await
    }

    async fn carry_out(&mut self, course: &Course, step: Step) -> Result<Event, Stop> {
        Ok(match step {
            Step::Probe(address) => {
                let mac = self.order.place.mac;
                let look = self.look();
                Event::Probed(look.probe(address, mac).await?)
            }
            Step::Put(service, question) => Event::Heard(self.put(&service, &question).await?),
            Step::Login => Event::Login(self.login().await?),
            Step::Confirm => {
                // Nothing is borrowed while somebody thinks.
                self.way = None;
                self.talk.progress("");
                let order = &self.order;
                self.talk.say(words::review(
                    course,
                    &order.who(self.talk.host()),
                    &order.pointers,
                    &order.cautions,
                ));
                let question = "Type yes to change it, anything else to leave it:";
                Event::Confirmed(self.talk.typed("yes", question).await?)
            }
            Step::Follow(trail) => {
                self.way = None;
                Event::Followed(self.look().follow(trail).await?)
            }
            Step::Seek => Event::Sought(self.seek().await?),
            Step::Try(service) => self.try_all(course, &service).await?,
            Step::Over(_) => Event::Interrupted,
        })
    }

    fn look(&self) -> Look<'_> {
        Look {
            desk: &self.desk,
            talk: &self.talk,
            leg: self.order.place.leg,
            name: self.order.place.name.as_deref().unwrap_or("the device"),
        }
    }

    /// The device at this address.
    fn place(&self, address: Ipv4Addr) -> Place {
        Place {
            address,
            shared: false,
            ..self.order.place.clone()
        }
    }

    /// How long its control ports may take from now on.
    fn patience(&self, course: &Course) -> Duration {
        let restarted = !matches!(course.sent().restart, Told::No | Told::Refused);
        let spent = self.since.map_or(Duration::ZERO, |at| self.desk.now().since(at));
        let whole = self.order.boot + SPARE;
        if restarted {
            whole.saturating_sub(spent).max(SETTLED)
        } else {
            SETTLED
        }
    }

    /// Puts a question to the device. Whoever ends it meanwhile has the request cut off.
    async fn put(
        &mut self,
        service: &Service,
        question: &Question,
    ) -> Result<Result<crate::readdress::step::Answer, Trouble>, Stop> {
        self.talk.progress(doing(question));
        if !self.goes_to(service.host).await? {
            return Ok(Err(Trouble::Mute {
                why: Why::NoWay,
                sent: false,
            }));
        }
        let Some((_, way)) = &self.way else {
            return Err(Stop::Interrupted);
        };
        let put = self.asker.put(&self.desk, way, service, question);
        self.talk.unless_stopped(put).await
    }

    /// Opens the way to the device at this address, in place of any other. False where there is none.
    async fn goes_to(&mut self, address: Ipv4Addr) -> Result<bool, Stop> {
        let place = self.place(address);
        if self.way.as_ref().is_none_or(|(to, _)| *to != place) {
            // First the old one, or both would be open.
            self.way = None;
            let way = self.talk.unless_stopped(self.desk.reach(&place)).await?;
            self.way = way.ok().map(|way| (place, way));
        }
        Ok(self.way.is_some())
    }

    /// Where the device itself says that its service is.
    async fn seek(&mut self) -> Result<Vec<Service>, Stop> {
        self.talk
            .progress("asking the device where its service is (WS-Discovery) ...");
        let peer = self.order.place.peer();
        if !self.goes_to(peer.address).await? {
            return Ok(Vec::new());
        }
        let Some((_, way)) = &self.way else {
            return Ok(Vec::new());
        };
        self.talk.unless_stopped(whereabouts(&self.desk, way, peer)).await
    }

    /// Asks its control ports at its new address, and its service, until all answer or their time is over.
    async fn try_all(&mut self, course: &Course, service: &Service) -> Result<Event, Stop> {
        let is_service = |port: &ControlPort| (port.word, port.port) == (ControlWord::Onvif, service.port);
        let until = self.desk.now() + self.patience(course);
        // Asked by its own path, which its control port need not have.
        let state = self.speaks(service, until).await?;
        let others: Vec<ControlPort> = self
            .order
            .ports
            .iter()
            .copied()
            .filter(|p| !is_service(p))
            .collect();
        let left = self.patience(course);
        let others = match &self.way {
            Some((_, way)) => self.look().ports(way, &others, left).await?,
            None => others.into_iter().map(|port| (port, None)).collect(),
        };
        let told = |port: &ControlPort| {
            let other = others.iter().find(|(p, _)| p == port);
            other.map_or(state, |(_, state)| *state)
        };
        Ok(Event::Tried {
            ports: self.order.ports.iter().map(|port| (*port, told(port))).collect(),
            speaks: state == Some(ControlState::Answered),
        })
    }

    /// Whether the service speaks at the device's new address; `None` where it could not be asked.
    async fn speaks(&mut self, service: &Service, until: Moment) -> Result<Option<ControlState>, Stop> {
        loop {
            let state = match self.put(service, &Question::Clock).await? {
                Ok(_) | Err(Trouble::Says(Refusal::NotAuthorized | Refusal::Fault(_))) => {
                    Some(ControlState::Answered)
                }
                Err(Trouble::Mute { why: Why::NoWay, .. }) => return Ok(None),
                Err(Trouble::Mute { why: Why::Silent, .. }) => Some(ControlState::Silent),
                Err(_) => Some(ControlState::Refused),
            };
            if state == Some(ControlState::Answered) || self.desk.now() >= until {
                return Ok(state);
            }
            self.talk.unless_stopped(self.desk.wait(ROUND)).await?;
        }
    }

    /// Gets a login, and says that it is tried once.
    async fn login(&mut self) -> Result<bool, Stop> {
        self.talk.progress("");
        let who = self.order.who(self.talk.host());
        let login = match std::mem::take(&mut self.order.login) {
            Given::Login(login) => Some(login),
            given => {
                if let Given::AskSince(why) = given {
                    self.talk.aside(why);
                }
                self.talk.say(format!(
                    "{} wants a login. It is tried once: many devices lock an account\nafter a few wrong ones.",
                    who.short
                ));
                let user = self
                    .talk
                    .line(format!("User name of {} (empty: none):", who.short))
                    .await?;
                if user.trim().is_empty() {
                    return Ok(false);
                }
                let password = self.talk.secret("Password (not shown while you type):").await?;
                Login::new(user.trim().to_owned(), Secret::new(password.expose().to_owned()))
            }
        };
        Ok(login.map(|login| self.asker.take(login)).is_some())
    }

    /// Notes in the journal that the device is about to be changed, before it is.
    fn begin(&mut self, course: &Course) {
        if self.since.is_some() {
            return;
        }
        self.since = Some(self.desk.now());
        let job = course.job();
        let text = format!(
            "readdress {}: {} to {}",
            self.order.who(self.talk.host()).called,
            job.at,
            job.to.address()
        );
        let basis = format!(
            "before: {}; asked for: {}",
            settings(course.before(), job.at),
            settings_after(job.to)
        );
        self.talk.note(self.order.place.action(true, text, basis));
    }

    async fn end(self, course: &Course, outcome: &Outcome) -> End {
        let who = self.order.who(self.talk.host());
        let told = ending(course, outcome, &who, &self.order.pointers);
        if told.well {
            self.talk.say(told.text);
        } else {
            self.talk.aside(told.text);
        }
        if self.since.is_some() || *outcome == Outcome::LoginRefused {
            let text = format!("readdress {}: {}", who.called, told.note);
            let before = settings(course.before(), course.job().at);
            let basis = format!("before: {before}; after: {}", told.after);
            self.talk.note(self.order.place.action(false, text, basis));
        }
        if told.by_hand && self.stopped.is_none() {
            self.offer().await;
        }
        match (self.stopped, outcome) {
            (Some(stop), _) => End::Stopped(stop),
            (None, Outcome::NotConfirmed | Outcome::NoLogin) => End::Declined,
            (None, _) if told.well => End::Done,
            (None, _) => End::Failed,
        }
    }
}

impl Hand {
    /// Asks whether to open its page here and now, where that can be done. With nobody to ask the command that
    /// was told does.
    async fn offer(&self) {
        let Some(offer) = &self.order.offer else { return };
        let question = format!("Open its page from here now, until {}?", self.talk.host().ends());
        if self.talk.agree(question).await == Ok(true) {
            offer.accept(self.order.place.clone());
        }
    }
}

/// What is going on.
fn doing(question: &Question) -> &'static str {
    match question {
        Question::Clock => "asking the device for its time (ONVIF) ...",
        Question::Interfaces | Question::Gateway => "asking the device how its network is set ...",
        Question::SetInterface(..) => "telling the device its new address ...",
        Question::SetGateway(_) => "telling the device its new gateway ...",
        Question::Restart => "telling the device to restart ...",
    }
}

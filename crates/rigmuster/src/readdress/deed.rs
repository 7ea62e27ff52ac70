//! The deed: carries out the course over the two handles that every deed has.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{ControlPort, ControlWord, Moment};
use wire::onvif::{Login, Place as Service, Question, Secret};

use super::asker::Asker;
use super::course::Course;
use super::ending::ending;
use super::look::Look;
use super::order::{Given, Order};
use super::step::{Event, Outcome, Step, Told, Trouble, Why};
use super::words::{self, settings_after, settings_before};
use crate::hands::{Desk, End, Place, Reached, Stop, Talk};

/// So long control ports of a device that was not restarted may take.
const SETTLED: Duration = Duration::from_secs(20);
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
        self.end(&course, &outcome)
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
                    &order.who(),
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
            Step::Try(service) => {
                self.way = None;
                let to = self.place(self.order.to.address());
                let within = self.patience(course);
                let onvif = service.map(|port| ControlPort {
                    word: ControlWord::Onvif,
                    port,
                });
                let mut ports = self.order.ports.clone();
                ports.extend(onvif.filter(|port| !self.order.ports.contains(port)));
                let look = self.look();
                Event::Tried(look.ports(&to, &ports, within).await?)
            }
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
        let place = self.place(service.host);
        if self.way.as_ref().is_none_or(|(to, _)| *to != place) {
            // First the old one, or both would be open.
            self.way = None;
            match self.talk.unless_stopped(self.desk.reach(&place)).await? {
                Ok(way) => self.way = Some((place, way)),
                Err(_) => {
                    return Ok(Err(Trouble::Mute {
                        why: Why::NoWay,
                        sent: false,
                    }));
                }
            }
        }
        let Some((_, way)) = &self.way else {
            return Err(Stop::Interrupted);
        };
        let put = self.asker.put(&self.desk, way, service, question);
        self.talk.unless_stopped(put).await
    }

    /// Gets a login, and says that it is tried once.
    async fn login(&mut self) -> Result<bool, Stop> {
        self.talk.progress("");
        let who = self.order.who();
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
            self.order.who().called,
            job.at,
            job.to.address()
        );
        let basis = format!(
            "before: {}; asked for: {}",
            settings_before(course.before(), job.at),
            settings_after(job.to)
        );
        self.talk.note(self.order.place.action(true, text, basis));
    }

    fn end(self, course: &Course, outcome: &Outcome) -> End {
        let who = self.order.who();
        let told = ending(course, outcome, &who, &self.order.pointers);
        if told.well {
            self.talk.say(told.text);
        } else {
            self.talk.aside(told.text);
        }
        if self.since.is_some() || *outcome == Outcome::LoginRefused {
            let text = format!("readdress {}: {}", who.called, told.note);
            let before = settings_before(course.before(), course.job().at);
            let basis = format!("before: {before}; after: {}", told.after);
            self.talk.note(self.order.place.action(false, text, basis));
        }
        match (self.stopped, outcome) {
            (Some(stop), _) => End::Stopped(stop),
            (None, Outcome::NotConfirmed | Outcome::NoLogin) => End::Declined,
            (None, _) if told.well => End::Done,
            (None, _) => End::Failed,
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

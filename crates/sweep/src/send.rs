//! Choosing what is sent next, and taking note of what was.

use core::net::Ipv4Addr;
use core::time::Duration;

use link::UserDialer;
use vocab::{ArpForm, Fact, Mac, Mode, Moment, PassId, Rank, SilentTo, Trial, Tried};
use wire::arp;
use wire::icmp::Echo;

use crate::here::is_askable;
use crate::names::{Call, Calls};
use crate::pacer::POKE_FRAMES;
use crate::queue::{Entry, Item, Lane, Queue};
use crate::scanner::Scanner;
use crate::{Hold, Order};

/// After a frame that did not leave, nothing is sent for so long: the link's state follows.
const PAUSE: Duration = Duration::from_millis(100);
/// How often one question is tried again after that.
const FAILURES_MAX: u8 = 3;
/// Addresses of a pass that are looked at in one go before others get their turn.
const PASS_STEPS: usize = 4_096;

/// A paced order whose outcome is not known yet.
#[derive(Debug)]
pub(crate) struct Handed {
    kind: Kind,
}

#[derive(Debug)]
enum Kind {
    Arp {
        entry: Entry,
        address: Ipv4Addr,
        form: ArpForm,
        named: bool,
    },
    Poke {
        entry: Entry,
        address: Ipv4Addr,
    },
    Echo {
        entry: Entry,
        address: Ipv4Addr,
        mac: Option<Mac>,
        sequence: u16,
    },
    Trial {
        entry: Entry,
        to: (Ipv4Addr, Option<Mac>),
        trial: Trial,
        sequence: u16,
    },
    Borrow {
        entry: Entry,
        address: Ipv4Addr,
    },
    Admit(Vec<Ipv4Addr>),
    Discover {
        entry: Entry,
    },
    Call {
        entry: Entry,
        call: Call,
    },
    Dialer(Vec<u8>),
}

/// What is next.
enum Choice {
    Queued(Rank, Lane),
    Pass(PassId, Ipv4Addr),
}

/// Why a question cannot go out at this moment.
enum Wait {
    /// Everything waits for this.
    All(Moment),
    /// It alone may not go before.
    Alone(Moment),
    /// It can never go.
    Never,
}

fn earlier(a: Option<Moment>, b: Option<Moment>) -> Option<Moment> {
    [a, b].into_iter().flatten().min()
}

impl Scanner {
    /// The next thing to do at the port, if there is one now. After a frame, poke or ping
    /// [`Scanner::done`] is to be called before the next one is asked for; where it was not, the
    /// frame counts as lost before it left.
    pub fn next_order(&mut self, now: Moment) -> Option<Order> {
        self.handed = None;
        loop {
            if !self.may_send() {
                self.send_at = None;
                return None;
            }
            if let Some(addresses) = self.loans.admission() {
                let kind = Kind::Admit(addresses.clone());
                self.handed = Some(Handed { kind });
                return Some(Order::Admit(addresses));
            }
            if let Some(order) = self.orders.pop_front() {
                return Some(order);
            }
            if now < self.paused_until {
                self.send_at = Some(self.paused_until);
                return None;
            }
            let frame = self
                .unsent
                .take()
                .or_else(|| self.last_words.pop_front())
                .or_else(|| self.dialer.as_mut().and_then(|d| UserDialer::transmit(d, now)))
                .or_else(|| self.carry_on(now));
            if let Some(frame) = frame {
                self.handed = Some(Handed {
                    kind: Kind::Dialer(frame.clone()),
                });
                return Some(Order::Frame(frame));
            }
            if self.collect_dials(now) {
                continue;
            }
            match self.choose(now) {
                Ok(choice) => {
                    if let Some(order) = self.give(now, &choice) {
                        return Some(order);
                    }
                }
                Err(at) => {
                    self.send_at = at;
                    return None;
                }
            }
        }
    }

    /// The outcome of the last frame, poke or ping. Only what was sent is charged and reported.
    pub fn done(&mut self, now: Moment, outcome: Result<(), Hold>) {
        let Some(Handed { kind }) = self.handed.take() else {
            return;
        };
        self.stir(now);
        if outcome == Err(Hold::Down) && !matches!(kind, Kind::Admit(_)) {
            self.paused_until = now + PAUSE;
        }
        match (kind, outcome) {
            (Kind::Dialer(frame), Err(Hold::Busy)) => self.unsent = Some(frame),
            (Kind::Dialer(_), _) => {}
            (
                Kind::Arp {
                    entry,
                    address,
                    form,
                    named,
                },
                Ok(()),
            ) => {
                self.pacer.take(now, 1, entry.lane == Lane::Watch);
                self.questions.sent(now, address, form, named);
                match (named, entry.passes.is_empty()) {
                    (true, _) => {}
                    (false, true) => self.manners.asked(now, address),
                    (false, false) => self.manners.passed(now, address),
                }
                self.sent(now, &entry, address, SilentTo::Arp(form));
            }
            (Kind::Poke { entry, address }, Ok(())) => {
                self.pacer.take(now, POKE_FRAMES, entry.lane == Lane::Watch);
                self.pokes.sent(now, address);
                if self.can_ping && self.pokes.is_known(address) {
                    self.queue
                        .push(Item::Echo(address, None), entry.rank, Lane::Plain);
                }
                self.sent(now, &entry, address, SilentTo::Arp(ArpForm::Broadcast));
            }
            (
                Kind::Echo {
                    entry,
                    address,
                    mac,
                    sequence,
                },
                Ok(()),
            ) => {
                self.pacer.take(now, 1, false);
                self.echoes.sent(now, (address, mac), sequence, None);
                self.sent(now, &entry, address, SilentTo::Echo(mac));
            }
            (
                Kind::Trial {
                    to, trial, sequence, ..
                },
                Ok(()),
            ) => {
                self.pacer.take(now, 1, false);
                self.turn = self.turn.wrapping_add(1);
                self.echoes.sent(now, to, sequence, Some(trial));
                self.tell_trial(now, to.0, trial, Tried::Sent);
            }
            // It is not tried again: how often it was is what counts.
            (Kind::Trial { to, trial, .. }, Err(Hold::Down)) => {
                self.tell_trial(now, to.0, trial, Tried::NotSent);
            }
            (Kind::Admit(addresses), _) => {
                self.loans.admitted(addresses, outcome.is_ok());
                self.lend(now);
            }
            (Kind::Borrow { entry, address }, Ok(())) => {
                self.pacer.take(now, 1, entry.lane == Lane::Watch);
                self.turn = self.turn.wrapping_add(1);
                self.manners.asked(now, address);
                self.loans.probed(now, address);
            }
            (Kind::Discover { .. }, Ok(())) => {
                self.pacer.take(now, 1, true);
                self.turn = self.turn.wrapping_add(1);
                let again = self.discovery.sent(now);
                self.say(now, Fact::DhcpAsked { again });
            }
            (Kind::Call { entry, call }, Ok(())) => {
                self.pacer.take(now, 1, entry.lane == Lane::Watch);
                self.turn = self.turn.wrapping_add(1);
                self.calls.sent(now, call);
                if matches!(call, Call::Types | Call::Offers) && self.calls.has_more() {
                    self.queue
                        .push(Item::Call(Call::Offers), Rank::Heard, Lane::Watch);
                }
            }
            (
                Kind::Arp { mut entry, .. }
                | Kind::Poke { mut entry, .. }
                | Kind::Echo { mut entry, .. }
                | Kind::Trial { mut entry, .. }
                | Kind::Borrow { mut entry, .. }
                | Kind::Discover { mut entry }
                | Kind::Call { mut entry, .. },
                Err(hold),
            ) => {
                entry.failures += u8::from(hold == Hold::Down);
                if entry.failures > FAILURES_MAX {
                    match (entry.item, self.config.mode) {
                        // The system refuses it: there is no route.
                        (Item::Echo(address, _), Mode::Routed) => self.no_way(now, address),
                        (Item::Discover, _) => self.discovery.give_up(),
                        (Item::Borrow(address), _) => self.loans.failed(address),
                        _ => {}
                    }
                    self.let_go(now, &entry);
                } else {
                    self.queue.put_back(entry);
                }
            }
        }
    }

    fn sent(&mut self, now: Moment, entry: &Entry, address: Ipv4Addr, what: SilentTo) {
        self.turn = self.turn.wrapping_add(1);
        self.say(now, Fact::Sent { address, what });
        self.let_go(now, entry);
    }

    /// An entry is through, sent or not: its passes go on.
    fn let_go(&mut self, now: Moment, entry: &Entry) {
        for id in &entry.passes {
            if let Some(fact) = self.passes.asked(now, *id) {
                self.say(now, fact);
            }
        }
    }

    /// The ranks in the order of this turn. At a slow pace the watch on the rig alone could fill
    /// it, so there every fourth turn is for the rest, and another of eight for those heard.
    fn ranks(&self) -> [Rank; 3] {
        match self.turn % 8 {
            3 | 7 if self.pacer.is_slow() => [Rank::Rest, Rank::Heard, Rank::Rig],
            1 if self.pacer.is_slow() => [Rank::Heard, Rank::Rig, Rank::Rest],
            _ => [Rank::Rig, Rank::Heard, Rank::Rest],
        }
    }

    /// What goes next, or when to look again.
    fn choose(&mut self, now: Moment) -> Result<Choice, Option<Moment>> {
        self.queue.release_due(now);
        let mut again = None;
        for rank in self.ranks() {
            loop {
                let watch = self.queue.first(rank, Lane::Watch);
                let broadcast_at = self.pacer.broadcast_at();
                if watch.is_some() && broadcast_at > now {
                    again = earlier(again, Some(broadcast_at));
                }
                let watch = watch.filter(|_| broadcast_at <= now);
                let plain = self.queue.first(rank, Lane::Plain);
                let Some(entry) = [plain, watch]
                    .into_iter()
                    .flatten()
                    .min_by_key(|e| Queue::order(e))
                else {
                    break;
                };
                let (item, lane) = (entry.item, entry.lane);
                match self.wait(now, item) {
                    None => return Ok(Choice::Queued(rank, lane)),
                    Some(Wait::All(at)) => {
                        return Err(earlier(earlier(again, self.queue.next_release()), Some(at)));
                    }
                    Some(Wait::Alone(until)) => {
                        if let Some(entry) = self.queue.take(rank, lane) {
                            self.queue.hold(entry, until);
                        }
                    }
                    Some(Wait::Never) => {
                        if let Some(entry) = self.queue.take(rank, lane) {
                            if let Item::Trial(address, _, trial) = entry.item {
                                self.tell_trial(now, address, trial, Tried::NotSent);
                            }
                            self.let_go(now, &entry);
                        }
                    }
                }
            }
            if rank == Rank::Rest {
                match self.choose_of_passes(now) {
                    Ok(choice) => return Ok(choice),
                    Err((at, all)) => {
                        again = earlier(again, at);
                        if all {
                            return Err(earlier(again, self.queue.next_release()));
                        }
                    }
                }
            }
        }
        Err(earlier(again, self.queue.next_release()))
    }

    /// The next address of a pass, or when to look again, and whether all must wait for that.
    fn choose_of_passes(&mut self, now: Moment) -> Result<Choice, (Option<Moment>, bool)> {
        for _ in 0..PASS_STEPS {
            let Some((id, address)) = self.passes.peek() else {
                return Err((None, false));
            };
            let form = self.here.form(address, ArpForm::Broadcast);
            let quiet_until = self.newborns.quiet_until();
            if form == ArpForm::Nobody && quiet_until > now {
                return Err((Some(quiet_until), false));
            }
            let item = Item::Arp(address, form);
            if self.queue.join(item, id) {
                self.passes.advance(id);
                continue;
            }
            match self.wait(now, item) {
                None => return Ok(Choice::Pass(id, address)),
                Some(Wait::All(at)) => return Err((Some(at), true)),
                Some(Wait::Alone(until)) if self.queue.has_room() => {
                    self.passes.advance(id);
                    let mut entry = self.queue.entry(item, Rank::Rest, Lane::Plain);
                    entry.passes.push(id);
                    self.queue.hold(entry, until);
                }
                Some(Wait::Alone(until)) => return Err((Some(until), false)),
                Some(Wait::Never) => {
                    self.passes.advance(id);
                    if let Some(fact) = self.passes.asked(now, id) {
                        self.say(now, fact);
                    }
                }
            }
        }
        Err((Some(now + Duration::from_millis(1)), false))
    }

    /// Whether a question can go now, and if not, why.
    fn wait(&self, now: Moment, item: Item) -> Option<Wait> {
        let plain = self.config.mode == Mode::Unprivileged;
        let all = |at: Moment| (at > now).then_some(Wait::All(at));
        match item {
            Item::Arp(address, form) => {
                let form = self.here.form(address, form);
                if !is_askable(address) || plain && !self.can_poke(address, form) {
                    return Some(Wait::Never);
                }
                if plain {
                    return all(self.pokes.ready_at().max(self.pacer.ready_at(POKE_FRAMES)));
                }
                let named = form != ArpForm::Nobody && self.here.sender_for(address).is_some();
                let polite_at = self.manners.earliest(address);
                if !named && polite_at > now {
                    return Some(Wait::Alone(polite_at));
                }
                all(self.questions.ready_at().max(self.pacer.ready_at(1)))
            }
            Item::Trial(address, mac, _) => {
                if !self.can_try(address, mac) {
                    return Some(Wait::Never);
                }
                all(self.echoes.ready_at().max(self.pacer.ready_at(1)))
            }
            Item::Echo(address, mac) => {
                let framed = self.config.mode.sees_frames();
                if self.sender_to(address).is_none() || framed && mac.is_none() {
                    return Some(Wait::Never);
                }
                all(self.echoes.ready_at().max(self.pacer.ready_at(1)))
            }
            Item::Discover => match self.discovery.earliest() {
                None => Some(Wait::Never),
                Some(at) if at > now => Some(Wait::Alone(at)),
                Some(_) => all(self.pacer.ready_at(1)),
            },
            Item::Call(call) if !self.config.mode.sees_frames() || !Calls::can_send(call, &self.here) => {
                Some(Wait::Never)
            }
            Item::Call(call) => {
                let at = self.calls.earliest(call);
                if at > now {
                    return Some(Wait::Alone(at));
                }
                all(self.pacer.ready_at(1))
            }
            Item::Borrow(address) => match self.loans.probe(address) {
                None => Some(Wait::Never),
                // The three belong together: only the first waits for the manners.
                Some(0) if self.polite_at(address) > now => Some(Wait::Alone(self.polite_at(address))),
                Some(_) => all(self.pacer.ready_at(1)),
            },
            Item::Control(job) => match self.controls.cost(job) {
                None => Some(Wait::Never),
                Some(frames) => all(self.pacer.ready_at(frames)),
            },
        }
    }

    /// Takes what was chosen and makes an order of it; a dial only sets other things in motion.
    fn give(&mut self, now: Moment, choice: &Choice) -> Option<Order> {
        let entry = match *choice {
            Choice::Queued(rank, lane) => self.queue.take(rank, lane)?,
            Choice::Pass(id, address) => {
                self.passes.advance(id);
                let item = Item::Arp(address, self.here.form(address, ArpForm::Broadcast));
                let mut entry = self.queue.entry(item, Rank::Rest, Lane::Plain);
                entry.passes.push(id);
                entry
            }
        };
        let plain = self.config.mode == Mode::Unprivileged;
        let (kind, order) = match entry.item {
            Item::Control(job) => {
                let frames = self.controls.cost(job)?;
                self.pacer.take(now, frames, false);
                self.turn = self.turn.wrapping_add(1);
                self.controls.try_now(now, job);
                self.carry_out(now);
                return None;
            }
            Item::Arp(address, _) if plain => (Kind::Poke { entry, address }, Order::Poke(address)),
            Item::Arp(address, form) => {
                let form = self.here.form(address, form);
                let from = self.here.sender_for(address).filter(|_| form != ArpForm::Nobody);
                let own = self.here.mac()?;
                let to = if let ArpForm::Unicast(mac) = form {
                    mac
                } else {
                    Mac::BROADCAST
                };
                let frame = match from {
                    Some(from) => arp::request_frame(own, from, address, to),
                    None => arp::probe_frame(own, address, to),
                };
                (
                    Kind::Arp {
                        entry,
                        address,
                        form,
                        named: from.is_some(),
                    },
                    Order::Frame(frame),
                )
            }
            Item::Borrow(address) => {
                let frame = arp::probe_frame(self.here.mac()?, address, Mac::BROADCAST);
                (Kind::Borrow { entry, address }, Order::Frame(frame))
            }
            Item::Discover => {
                let frame = self.discovery.frame(self.here.mac()?);
                (Kind::Discover { entry }, Order::Frame(frame))
            }
            Item::Call(call) => {
                let frame = self.calls.frame(call, &self.here, self.echoes.identifier())?;
                (Kind::Call { entry, call }, Order::Frame(frame))
            }
            Item::Echo(address, mac) => {
                let sequence = self.echoes.next_sequence()?;
                let order = if self.config.mode.sees_frames() {
                    Order::Frame(self.echo_frame((address, mac), sequence, Echo::OWN_DATA)?)
                } else {
                    Order::Ping(address, sequence)
                };
                (
                    Kind::Echo {
                        entry,
                        address,
                        mac,
                        sequence,
                    },
                    order,
                )
            }
            Item::Trial(address, mac, trial) => {
                let sequence = self.echoes.next_sequence()?;
                let to = (address, mac);
                let order = if self.config.mode.sees_frames() {
                    Order::Frame(self.echo_frame(to, sequence, Echo::trial_data(trial.size))?)
                } else {
                    Order::PingSized(address, sequence, trial.size)
                };
                (
                    Kind::Trial {
                        entry,
                        to,
                        trial,
                        sequence,
                    },
                    order,
                )
            }
        };
        self.handed = Some(Handed { kind });
        Some(order)
    }
}

//! Open ARP questions: which reply answers which, and when a silence is one.
//!
//! Replies are matched on the sender fields only, because old kernels put wrong target fields into
//! their answers to probes. The target address still tells *which* of two open questions it
//! answers: our own address is never repeated to somebody who asked in nobody's name. A proxy may
//! answer up to 0.8 s late, so a question stays open for 1 s though its silence is told after 0.3 s.

use core::net::Ipv4Addr;
use core::time::Duration;
use std::collections::{BTreeMap, BTreeSet, VecDeque};

use vocab::{ArpForm, Mac, Moment};

/// When a silence is told.
pub(crate) const PATIENCE: Duration = Duration::from_millis(300);
/// How long replies are still matched.
const WINDOW: Duration = Duration::from_secs(1);
/// Looked at so long after its time, a silence may be our own stall …
const STALL: Duration = Duration::from_millis(100);
/// … and gets this much more time, once.
const GRACE: Duration = Duration::from_millis(50);
/// Unanswered questions that may be on their way at once where nobody says how many answers find room until
/// they are read: a small receive buffer holds so many.
const FLIGHT: usize = 200;
/// As many as that may always be, and no more than that, whatever room there is.
const FLIGHT_RANGE: core::ops::RangeInclusive<usize> = 32..=1_024;
/// How long a question counts as on its way.
const IN_FLIGHT: Duration = Duration::from_millis(2);
/// Open questions in all. Reached only far above the usual paces.
const OPEN_MAX: usize = 1 << 17;

/// A moment that has been waited for, with one grace if we come to it much too late.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Due {
    at: Moment,
    graced: bool,
}

impl Due {
    pub(crate) const fn new(at: Moment) -> Self {
        Self { at, graced: false }
    }

    pub(crate) const fn at(self) -> Moment {
        self.at
    }

    /// Whether it is over. Much too late for the first time it is put off instead.
    pub(crate) fn is_over(&mut self, now: Moment) -> bool {
        if now < self.at {
            return false;
        }
        if !self.graced && now > self.at + STALL {
            *self = Self {
                at: now + GRACE,
                graced: true,
            };
            return false;
        }
        true
    }
}

/// A question that went out.
#[derive(Debug)]
struct Open {
    form: ArpForm,
    /// In whose name it went out.
    named: bool,
    sent: Moment,
    silence: Option<Due>,
    in_flight: bool,
    answered_by: Vec<Mac>,
}

/// A reply, as far as matching goes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Reply {
    /// Sender protocol address.
    pub(crate) address: Ipv4Addr,
    /// Sender hardware address.
    pub(crate) sender: Mac,
    /// Its target protocol address is somebody's who asked: one of ours, or one that was until a moment ago (and not
    /// what was asked for).
    pub(crate) names_us: bool,
    /// The frame came from the sender itself, so that it may end a silence.
    pub(crate) proves: bool,
}

/// A silence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Silence {
    pub(crate) address: Ipv4Addr,
    pub(crate) form: ArpForm,
    pub(crate) sent: Moment,
}

/// The question that a reply answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Answer {
    /// The form in which it went out.
    pub(crate) form: ArpForm,
    /// Whether with our own address as sender.
    pub(crate) named: bool,
    /// The time since it was sent.
    pub(crate) after: Duration,
}

type Id = (Ipv4Addr, u64);

/// How many unanswered questions may be on their way at once.
#[derive(Debug, Clone, Copy)]
struct Window(usize);

impl Default for Window {
    fn default() -> Self {
        Self(FLIGHT)
    }
}

/// All open questions.
#[derive(Debug, Default)]
pub(crate) struct Questions {
    window: Window,
    open: BTreeMap<Id, Open>,
    /// When the silence of each is told.
    silences: BTreeSet<(Moment, Id)>,
    /// When each is closed, in the order of sending. Nothing is told then, so nobody wakes for it.
    closes: VecDeque<(Due, Id)>,
    flight: VecDeque<(Moment, Id)>,
    in_flight: usize,
    serial: u64,
}

impl Questions {
    /// How many are open.
    #[cfg(test)]
    pub(crate) fn open(&self) -> usize {
        self.open.len()
    }

    /// So many answers find room until they are read.
    pub(crate) fn set_room(&mut self, answers: usize) {
        self.window = Window(answers.clamp(*FLIGHT_RANGE.start(), *FLIGHT_RANGE.end()));
    }

    /// From when on another question may go out, as far as those on their way allow.
    pub(crate) fn ready_at(&self) -> Moment {
        let first = self.flight.front().map(|(at, _)| *at);
        if self.in_flight >= self.window.0 {
            first.unwrap_or(Moment::ZERO)
        } else if self.open.len() >= OPEN_MAX {
            self.closes.front().map_or(Moment::ZERO, |(due, _)| due.at())
        } else {
            Moment::ZERO
        }
    }

    /// One went out. `named`: with our own address as sender.
    pub(crate) fn sent(&mut self, now: Moment, address: Ipv4Addr, form: ArpForm, named: bool) {
        self.serial += 1;
        let id = (address, self.serial);
        let silence = Due::new(now + PATIENCE);
        self.silences.insert((silence.at(), id));
        self.closes.push_back((Due::new(now + WINDOW), id));
        self.flight.push_back((now + IN_FLIGHT, id));
        self.in_flight += 1;
        let open = Open {
            form,
            named,
            sent: now,
            silence: Some(silence),
            in_flight: true,
            answered_by: Vec::new(),
        };
        self.open.insert(id, open);
    }

    /// The question that a reply answers: of those it fits, the latest that this sender has not
    /// answered yet.
    pub(crate) fn answer(&mut self, now: Moment, reply: Reply) -> Option<Answer> {
        let of_address = (reply.address, 0)..=(reply.address, u64::MAX);
        let fit = |open: &Open| {
            let other = matches!(open.form, ArpForm::Unicast(to) if to != reply.sender);
            (
                open.named == reply.names_us,
                !other,
                !open.answered_by.contains(&reply.sender),
            )
        };
        let (&id, _) = self
            .open
            .range(of_address)
            // A reply that names us is never one to a question in nobody's name.
            .filter(|(_, open)| open.named || !reply.names_us)
            .max_by_key(|(id, open)| (fit(open), id.1))?;
        let open = self.open.get_mut(&id)?;
        if open.in_flight {
            open.in_flight = false;
            self.in_flight -= 1;
        }
        if reply.proves {
            if open.answered_by.len() < 8 {
                open.answered_by.push(reply.sender);
            }
            if let Some(silence) = open.silence.take() {
                self.silences.remove(&(silence.at(), id));
            }
        }
        Some(Answer {
            form: open.form,
            named: open.named,
            after: now.since(open.sent),
        })
    }

    /// Lets time pass; what nobody answered in time is told to `silent`, the earliest first.
    pub(crate) fn tick(&mut self, now: Moment, mut silent: impl FnMut(Silence)) {
        while let Some(&(at, id)) = self.flight.front() {
            if at > now {
                break;
            }
            self.flight.pop_front();
            if let Some(open) = self.open.get_mut(&id).filter(|open| open.in_flight) {
                open.in_flight = false;
                self.in_flight -= 1;
            }
        }
        while let Some(&(at, id)) = self.silences.first() {
            if at > now {
                break;
            }
            self.silences.pop_first();
            let Some(open) = self.open.get_mut(&id) else {
                continue;
            };
            let Some(silence) = &mut open.silence else {
                continue;
            };
            if silence.is_over(now) {
                silent(Silence {
                    address: id.0,
                    form: open.form,
                    sent: open.sent,
                });
                open.silence = None;
            } else {
                self.silences.insert((silence.at(), id));
            }
        }
        while let Some((due, id)) = self.closes.front_mut() {
            let told = self.open.get(id).is_none_or(|open| open.silence.is_none());
            if !told || !due.is_over(now) {
                break;
            }
            self.open.remove(id);
            self.closes.pop_front();
        }
    }

    /// When [`Questions::tick`] next has something to tell.
    pub(crate) fn next_wake(&self) -> Option<Moment> {
        self.silences.first().map(|(at, _)| *at)
    }

    /// Forgets all of them, without a word.
    pub(crate) fn clear(&mut self) {
        self.open.clear();
        self.silences.clear();
        self.closes.clear();
        self.flight.clear();
        self.in_flight = 0;
    }
}

#[cfg(test)]
#[path = "arp_tests.rs"]
mod tests;

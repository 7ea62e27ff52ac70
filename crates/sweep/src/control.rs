//! Control ports: does it speak its protocol?
//!
//! Each question is a job of up to three tries. A job waits until its host and the whole have a
//! connection to spare, then its tries wait in the queue for their frames like everything else.
//! Many devices take only one or a few clients, so a connection ends as soon as it is judged. Where
//! a second question follows, a job goes on to it: over TCP at once on the same connection, by
//! datagram for one more frame, and to ONVIF on a connection of its own. All is told together.

use core::net::{Ipv4Addr, SocketAddrV4};
use core::time::Duration;
use std::collections::{BTreeMap, VecDeque};

use link::{Dial, DialEvent, DialId, Transport};
use vocab::{ControlState, Fact, Mac, Moment, Text, Told};
use wire::follow;

use crate::arp::Due;
use crate::busy::{Busy, Way};
use crate::job::{Act, Job, OPEN_IN_ALL, State, Target};
use crate::listener::{Heard, Listener, Question};
use crate::pacer::{TCP_FRAMES, UDP_FRAMES};

/// Jobs that may wait.
const JOBS_MAX: usize = 4_096;
/// Tries of one job.
const TRIES: u8 = 3;
/// How long a datagram's answer is waited for, and the second one on a connection that gave the first:
/// nobody else may get in meanwhile.
const SOON: Duration = Duration::from_millis(500);
/// How long a connection may take to be accepted.
const TCP_CONNECT: Duration = Duration::from_secs(1);
/// How long an accepted connection may take to answer.
const TCP_ANSWER: Duration = Duration::from_millis(1_500);
/// Time for a device that takes one client only to be free of the last try.
const REST: Duration = Duration::from_millis(100);

/// All jobs.
#[derive(Debug)]
pub(crate) struct Controls {
    jobs: BTreeMap<u64, Job>,
    dials: BTreeMap<DialId, u64>,
    numbers: u64,
    nonces: u64,
    acts: VecDeque<Act>,
}

impl Controls {
    pub(crate) fn new(seed: u64) -> Self {
        Self {
            jobs: BTreeMap::new(),
            dials: BTreeMap::new(),
            numbers: 0,
            nonces: seed,
            acts: VecDeque::new(),
        }
    }

    /// What is to be done now.
    pub(crate) fn act(&mut self) -> Option<Act> {
        self.acts.pop_front()
    }

    /// Takes a question to `host`, unless the same is under way. False if nothing will be told of it
    /// this way: too many wait, or the same is under way by another.
    pub(crate) fn ask(&mut self, target: Target, host: Option<Mac>, from: Ipv4Addr, way: Way) -> bool {
        if let Some(job) = self.jobs.values().find(|job| job.target == target) {
            return job.way == way;
        }
        if self.jobs.len() >= JOBS_MAX {
            return false;
        }
        let nonce = self.nonce();
        self.numbers += 1;
        let job = Job {
            target,
            from,
            way,
            host,
            nonce,
            question: Question::First,
            detail: None,
            state: State::Waiting,
            tries: 0,
            asked: None,
            since: Moment::ZERO,
            spent: Duration::ZERO,
        };
        self.jobs.insert(self.numbers, job);
        self.start();
        true
    }

    /// The next number of the `splitmix64` sequence (Steele, Lea and Flood 2014; constants from memory).
    fn nonce(&mut self) -> u32 {
        self.nonces = self.nonces.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.nonces;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^= z >> 31;
        (z >> 32) as u32
    }

    /// Starts what has a connection to spare, in the order of asking.
    fn start(&mut self) {
        let mut busy = Busy::default();
        let open = |job: &&Job| !matches!(job.state, State::Waiting);
        self.jobs
            .values()
            .filter(open)
            .for_each(|job| busy.add(job.line()));
        for (id, job) in &mut self.jobs {
            if matches!(job.state, State::Waiting) && busy.has_room(job.line()) {
                busy.add(job.line());
                job.state = State::Queued;
                self.acts.push_back(Act::Queue(*id));
            }
        }
    }

    /// What the next try costs in frames; `None` if it needs none any more.
    pub(crate) fn cost(&self, id: u64) -> Option<u64> {
        let job = self.jobs.get(&id)?;
        match job.state {
            State::Queued if job.is_udp() => Some(UDP_FRAMES + job.way.first_extra()),
            State::Queued => Some(TCP_FRAMES + job.way.first_extra()),
            State::Again(..) => Some(UDP_FRAMES),
            State::Waiting | State::Resting(_) | State::Connecting(..) | State::Talking(..) => None,
        }
    }

    /// Makes the next try; its frames are paid.
    pub(crate) fn try_now(&mut self, now: Moment, id: u64) {
        let Some(job) = self.jobs.get_mut(&id) else { return };
        job.tries += 1;
        job.asked.get_or_insert(now);
        job.since = now;
        if let State::Again(dial, judge) = std::mem::replace(&mut job.state, State::Waiting) {
            job.state = State::Talking(dial, job.due(now, SOON), judge);
            self.acts.push_back(Act::Send(dial, job.bytes(), job.way));
            return;
        }
        self.numbers += 1;
        let dial = DialId(self.numbers);
        job.state = State::Connecting(dial, job.due(now, TCP_CONNECT));
        let udp = job.is_udp();
        self.dials.insert(dial, id);
        let open = Dial {
            id: dial,
            to: SocketAddrV4::new(job.target.address, job.target.port.port),
            transport: if udp { Transport::Udp } else { Transport::Tcp },
            mac: job.target.mac,
            from: Some(job.from),
        };
        self.acts.push_back(Act::Dial(open, job.way));
    }

    /// Takes what happened on a connection.
    pub(crate) fn event(&mut self, now: Moment, dial: DialId, event: &DialEvent) {
        let Some(&id) = self.dials.get(&dial) else { return };
        let Some(job) = self.jobs.get_mut(&id) else { return };
        match event {
            DialEvent::Opened if matches!(job.state, State::Connecting(..)) => {
                let judge = Box::new(Listener::new(job.question, job.target.port, job.nonce));
                let verdict = judge.on_open();
                let span = if job.is_udp() { SOON } else { TCP_ANSWER };
                job.state = State::Talking(dial, job.due(now, span), judge);
                if verdict == Heard::More {
                    self.acts.push_back(Act::Send(dial, job.bytes(), job.way));
                }
                self.conclude(now, id, verdict);
            }
            DialEvent::Opened => {}
            DialEvent::Data(bytes) => {
                let (State::Talking(_, _, judge) | State::Again(_, judge)) = &mut job.state else {
                    return;
                };
                let verdict = judge.feed(bytes);
                self.conclude(now, id, verdict);
            }
            DialEvent::Refused => {
                self.dials.remove(&dial);
                self.finish(id, Some(ControlState::Refused), None);
            }
            DialEvent::NoWay => {
                self.dials.remove(&dial);
                self.finish(id, None, None);
            }
            DialEvent::Closed => {
                self.dials.remove(&dial);
                self.over(now, id, ControlState::Refused);
            }
        }
    }

    /// Ends the job, or goes on to its second question, if the verdict is one. True if it did.
    fn conclude(&mut self, now: Moment, id: u64, verdict: Heard) -> bool {
        match verdict {
            Heard::More => return false,
            Heard::Answered(detail) => self.answered(now, id, detail),
            Heard::Wrong => self.finish(id, Some(ControlState::Refused), None),
            Heard::Told(told) => {
                self.tell_second(id, told);
                self.finish(id, None, None);
            }
        }
        true
    }

    /// The first question is answered; where there is a second one, it comes now.
    fn answered(&mut self, now: Moment, id: u64, detail: Option<Text>) {
        let Some(job) = self.jobs.get_mut(&id) else { return };
        let Target { address, port, .. } = job.target;
        if follow::request(port, address, job.nonce).is_none() {
            return self.finish(id, Some(ControlState::Answered), detail);
        }
        job.detail = detail;
        job.question = Question::Second;
        let open = job.state.dial().filter(|dial| self.dials.contains_key(dial));
        match open {
            Some(dial) if follow::same_connection(port) => {
                let ear = Box::new(Listener::new(Question::Second, port, job.nonce));
                if !job.is_udp() {
                    // Its frames are paid with the connection, and many devices take one client only:
                    // it does not wait in the queue while the connection is held.
                    job.state = State::Talking(dial, job.due(now, SOON), ear);
                    self.acts.push_back(Act::Send(dial, job.bytes(), job.way));
                    return;
                }
                // One whose next try waits already needs no other place in the queue.
                if !matches!(job.state, State::Again(..)) {
                    self.acts.push_back(Act::Queue(id));
                }
                job.state = State::Again(dial, ear);
            }
            None if follow::same_connection(port) => self.finish(id, None, None),
            _ => {
                if let Some(dial) = open {
                    self.dials.remove(&dial);
                    self.acts.push_back(Act::Close(dial, job.way));
                }
                job.state = State::Resting(Due::new(now + REST));
            }
        }
    }

    /// What the second question brought.
    fn tell_second(&mut self, id: u64, told: Option<Told>) {
        if let (Some(job), Some(what)) = (self.jobs.get(&id), told) {
            let Target { address, mac, .. } = job.target;
            self.acts.push_back(Act::Tell(Fact::Told { address, mac, what }));
        }
    }

    /// A try is over: what came so far may do; else another one, or `last` is the outcome.
    fn over(&mut self, now: Moment, id: u64, last: ControlState) {
        let so_far = match self.jobs.get(&id).map(|job| &job.state) {
            Some(State::Talking(_, _, judge) | State::Again(_, judge)) => judge.on_close(),
            _ => Heard::More,
        };
        if self.conclude(now, id, so_far) {
            return;
        }
        let Some(job) = self.jobs.get_mut(&id) else { return };
        if job.question == Question::Second {
            // It is no matter of life: once is enough.
            return self.finish(id, None, None);
        }
        if !matches!(job.state, State::Again(..)) {
            job.spent += now.since(job.since);
        }
        if job.tries >= TRIES || job.spent >= OPEN_IN_ALL {
            self.finish(id, Some(last), None);
            return;
        }
        job.state = match std::mem::replace(&mut job.state, State::Queued) {
            State::Talking(dial, _, judge) if job.is_udp() && self.dials.contains_key(&dial) => {
                self.acts.push_back(Act::Queue(id));
                State::Again(dial, judge)
            }
            old => {
                if let Some(dial) = old.dial()
                    && self.dials.remove(&dial).is_some()
                {
                    self.acts.push_back(Act::Close(dial, job.way));
                }
                State::Resting(Due::new(now + REST))
            }
        };
    }

    /// Ends a job: closes what is open, tells the outcome (`None`: there was no way), lets others start.
    fn finish(&mut self, id: u64, state: Option<ControlState>, detail: Option<Text>) {
        let Some(job) = self.jobs.remove(&id) else { return };
        if let Some(dial) = job.state.dial()
            && self.dials.remove(&dial).is_some()
        {
            self.acts.push_back(Act::Close(dial, job.way));
        }
        self.acts.push_back(match job.question {
            Question::First => job.outcome(state, detail),
            // Whatever came of the second, the first was answered.
            Question::Second => job.outcome(Some(ControlState::Answered), job.detail.clone()),
        });
        if job.way == Way::Borrowed {
            self.acts.push_back(Act::Over(job.target));
        }
        self.start();
    }

    /// Ends all that speaks from `from`, a borrowed address, without a word.
    pub(crate) fn withdraw(&mut self, from: Ipv4Addr) {
        self.withdraw_where(|job| job.from == from);
    }

    /// Ends all that speaks from any borrowed address, without a word.
    pub(crate) fn withdraw_all(&mut self) {
        self.withdraw_where(|_| true);
    }

    fn withdraw_where(&mut self, such: impl Fn(&Job) -> bool) {
        let over = |job: &Job| job.way == Way::Borrowed && such(job);
        for job in self.jobs.values().filter(|job| over(job)) {
            if let Some(dial) = job.state.dial()
                && self.dials.remove(&dial).is_some()
            {
                self.acts.push_back(Act::Close(dial, job.way));
            }
        }
        self.jobs.retain(|_, job| !over(job));
        self.start();
    }

    /// Lets time pass. All that arrived up to `now` must have been handed over before.
    pub(crate) fn tick(&mut self, now: Moment) {
        let mut over = Vec::new();
        for (id, job) in &mut self.jobs {
            let (due, resting) = match &mut job.state {
                State::Connecting(_, due) | State::Talking(_, due, _) => (due, false),
                State::Resting(due) => (due, true),
                State::Waiting | State::Queued | State::Again(..) => continue,
            };
            if !due.is_over(now) {
                continue;
            }
            if resting {
                job.state = State::Queued;
                self.acts.push_back(Act::Queue(*id));
            } else {
                over.push(*id);
            }
        }
        for id in over {
            self.over(now, id, ControlState::Silent);
        }
    }

    pub(crate) fn next_wake(&self) -> Option<Moment> {
        let due = |job: &Job| match &job.state {
            State::Connecting(_, due) | State::Talking(_, due, _) | State::Resting(due) => Some(due.at()),
            State::Waiting | State::Queued | State::Again(..) => None,
        };
        self.jobs.values().filter_map(due).min()
    }

    /// Forgets all jobs without a word; gives the dials that are open.
    pub(crate) fn clear(&mut self) -> Vec<DialId> {
        self.jobs.clear();
        self.acts.clear();
        std::mem::take(&mut self.dials).into_keys().collect()
    }
}

#[cfg(test)]
#[path = "control_tests.rs"]
mod tests;

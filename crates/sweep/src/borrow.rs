//! Borrowed addresses: how a host on a foreign subnet is spoken to where it is.
//!
//! Its answers need an address of its own subnet to go to. One is borrowed for as long as the
//! questions take: it is asked for three times in nobody's name (an RFC 5227 probe), and where
//! nobody answers the user-space stack speaks from it to that host alone.
//!
//! The check is shorter than RFC 5227's, which sends its three probes 1 to 2 s apart, waits 2 s
//! more and takes 4 to 7 s in all (section 1.1): ours go 0.5 s apart with 0.5 s after the last, 1.5 s
//! in all. A running host answers within milliseconds, so that this finds everybody whom the longer
//! one would find on a wire that passes frames. What the longer one is for besides, two hosts that
//! start at the same moment and ports that do not pass yet, is met otherwise: a loan is never
//! announced and never defended, lasts seconds, and ends at the first frame by which anybody else
//! claims the address or probes for it.
//!
//! Tunnels hold their loan for as long as they stand ([`Loans::hold`]), and are lent another address
//! when somebody shows up at the first.
//!
//! It never is an address that anybody was heard to use or to look for, nor one outside the
//! ranges that the question brings along, which leave out all that the rig file names.

use core::net::Ipv4Addr;
use core::time::Duration;
use std::collections::{BTreeMap, BTreeSet, VecDeque};

use vocab::{AddressRange, Mac, Moment};

use crate::arp::Due;
use crate::job::Target;

/// Probes before an address is taken for free: `PROBE_NUM` of RFC 5227 section 1.1.
const PROBES: u8 = 3;
/// From a probe to the next, and from the last to the loan.
const APART: Duration = Duration::from_millis(500);
/// Addresses tried one after the other, before there is no way.
const TRIES: usize = 3;
/// How long it is waited for an address that may be probed for.
const SEEK: Duration = Duration::from_secs(30);
/// Loans at one time: each is let in by the link's filter.
const LOANS_MAX: usize = link::MAX_DIALS;
/// Questions that one loan serves at one time.
const TARGETS_MAX: usize = 1_024;
/// Where in a /24 an address is borrowed by preference: above the usual lease pools, below the
/// usual routers (common practice, no source).
const BEST: core::ops::RangeInclusive<u8> = 201..=249;
/// Never: the network, its broadcast address, and where routers usually are (common practice, no
/// source).
const NEVER: [u8; 4] = [0, 1, 254, 255];

/// The host at the other end of a tunnel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Peer {
    /// Where it is.
    pub address: Ipv4Addr,
    /// Its hardware: nobody else at that address is spoken to.
    pub mac: Mac,
}

/// What a loan wants done.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Act {
    /// Probe for this address.
    Probe(Ipv4Addr),
    /// Say that this address is borrowed from now on.
    Say(Ipv4Addr),
    /// Put this question, from this address.
    Ask(Target, Ipv4Addr),
    /// Let the tunnel to this host speak from this address.
    Lend(Peer, Ipv4Addr),
    /// End all that speaks from this address, without a word.
    Withdraw(Ipv4Addr),
    /// There is no way to put this question.
    NoWay(Target),
    /// There is no address for the tunnel.
    NoLoan(Peer),
}

#[derive(Debug)]
enum State {
    /// For an address that may be probed for, from then on.
    Seeking(Moment),
    /// For its next probe to leave, after so many.
    Asking(Ipv4Addr, u8),
    /// So many probes left; for an answer to the last.
    Listening(Ipv4Addr, u8, Due),
    /// Free; for the link to let its frames in.
    Opening(Ipv4Addr),
    /// Borrowed.
    Standing(Ipv4Addr),
}

impl State {
    const fn address(&self) -> Option<Ipv4Addr> {
        match self {
            Self::Seeking(_) => None,
            Self::Asking(a, _) | Self::Listening(a, ..) | Self::Opening(a) | Self::Standing(a) => Some(*a),
        }
    }
}

#[derive(Debug)]
struct Loan {
    state: State,
    since: Moment,
    ranges: Vec<AddressRange>,
    tried: Vec<Ipv4Addr>,
    waiting: BTreeSet<Target>,
    asked: BTreeSet<Target>,
    /// The hosts of the tunnels that it is for, and whether each speaks from it.
    hold: BTreeMap<Peer, bool>,
}

/// All loans, one for each foreign /24.
#[derive(Debug)]
pub(crate) struct Loans {
    list: BTreeMap<[u8; 3], Loan>,
    seed: u64,
    acts: VecDeque<Act>,
    /// What the link lets in.
    let_in: Vec<Ipv4Addr>,
}

const fn net(address: Ipv4Addr) -> [u8; 3] {
    let [a, b, c, _] = address.octets();
    [a, b, c]
}

impl Loans {
    pub(crate) const fn new(seed: u64) -> Self {
        Self {
            list: BTreeMap::new(),
            seed,
            acts: VecDeque::new(),
            let_in: Vec::new(),
        }
    }

    /// What is to be done now.
    pub(crate) fn act(&mut self) -> Option<Act> {
        self.acts.pop_front()
    }

    /// Takes a question to a host on a foreign subnet; `ranges` are what may be borrowed.
    pub(crate) fn want(&mut self, now: Moment, target: Target, ranges: Vec<AddressRange>) {
        let key = net(target.address);
        let Some(loan) = self.loan(now, key) else {
            return self.acts.push_back(Act::NoWay(target));
        };
        if loan.asked.contains(&target) {
            return;
        }
        if loan.waiting.len() + loan.asked.len() >= TARGETS_MAX {
            return self.acts.push_back(Act::NoWay(target));
        }
        loan.waiting.insert(target);
        self.lend_within(now, target.address, ranges);
    }

    /// Takes a tunnel to a host: it holds the loan until [`Loans::let_go`].
    pub(crate) fn hold(&mut self, now: Moment, peer: Peer, ranges: Vec<AddressRange>) {
        let Some(loan) = self.loan(now, net(peer.address)) else {
            return self.acts.push_back(Act::NoLoan(peer));
        };
        loan.hold.insert(peer, false);
        self.lend_within(now, peer.address, ranges);
    }

    /// The tunnel to a host is over.
    pub(crate) fn let_go(&mut self, peer: Peer) {
        let key = net(peer.address);
        if let Some(loan) = self.list.get_mut(&key) {
            loan.hold.remove(&peer);
            self.drop_idle(key);
        }
    }

    /// The loan in a network, a new one where there is none; `None` with too many.
    fn loan(&mut self, now: Moment, key: [u8; 3]) -> Option<&mut Loan> {
        if !self.list.contains_key(&key) && self.list.len() >= LOANS_MAX {
            return None;
        }
        Some(self.list.entry(key).or_insert_with(|| Loan {
            state: State::Seeking(now),
            since: now,
            ranges: Vec::new(),
            tried: Vec::new(),
            waiting: BTreeSet::new(),
            asked: BTreeSet::new(),
            hold: BTreeMap::new(),
        }))
    }

    /// Gives what is borrowed to whoever waits for it, or seeks another address where it is not
    /// among `ranges`, or is `host` itself.
    fn lend_within(&mut self, now: Moment, host: Ipv4Addr, ranges: Vec<AddressRange>) {
        let key = net(host);
        let Some(loan) = self.list.get_mut(&key) else {
            return;
        };
        loan.ranges = ranges;
        let address = loan.state.address();
        let barred = |a: &Ipv4Addr| *a == host || !loan.ranges.iter().any(|r| r.contains(*a));
        if let Some(address) = address.filter(barred) {
            self.taken(now, address);
        } else if let State::Standing(from) = loan.state {
            self.hand_out(key, from);
        }
    }

    /// Whether a probe for it waits to be sent, and if so, after how many others.
    pub(crate) fn probe(&self, address: Ipv4Addr) -> Option<u8> {
        match self.list.get(&net(address))?.state {
            State::Asking(a, sent) if a == address => Some(sent),
            _ => None,
        }
    }

    /// A probe left.
    pub(crate) fn probed(&mut self, now: Moment, address: Ipv4Addr) {
        if let Some(sent) = self.probe(address)
            && let Some(loan) = self.list.get_mut(&net(address))
        {
            loan.state = State::Listening(address, sent + 1, Due::new(now + APART));
        }
    }

    /// A probe could not be sent.
    pub(crate) fn failed(&mut self, address: Ipv4Addr) {
        if self.probe(address).is_some() {
            self.give_up(net(address));
        }
    }

    /// The addresses that the link is to let in, where that is not what it does.
    pub(crate) fn admission(&self) -> Option<Vec<Ipv4Addr>> {
        let wanted: Vec<Ipv4Addr> = self.open().collect();
        (self.let_in != wanted).then_some(wanted)
    }

    fn open(&self) -> impl Iterator<Item = Ipv4Addr> {
        self.list.values().filter_map(|loan| match loan.state {
            State::Opening(a) | State::Standing(a) => Some(a),
            _ => None,
        })
    }

    /// The link lets these in from now on, or could not be told to.
    pub(crate) fn admitted(&mut self, addresses: Vec<Ipv4Addr>, done: bool) {
        let opening: Vec<([u8; 3], Ipv4Addr)> = self
            .list
            .iter()
            .filter_map(|(key, loan)| match loan.state {
                State::Opening(a) if addresses.contains(&a) => Some((*key, a)),
                _ => None,
            })
            .collect();
        self.let_in = addresses;
        for (key, address) in opening {
            if !done {
                self.give_up(key);
            } else if let Some(loan) = self.list.get_mut(&key) {
                loan.state = State::Standing(address);
                self.acts.push_back(Act::Say(address));
                self.hand_out(key, address);
            }
        }
        if !done {
            self.let_in = self.open().collect();
        }
    }

    fn hand_out(&mut self, key: [u8; 3], from: Ipv4Addr) {
        if let Some(loan) = self.list.get_mut(&key) {
            for target in std::mem::take(&mut loan.waiting) {
                loan.asked.insert(target);
                self.acts.push_back(Act::Ask(target, from));
            }
            for (peer, lent) in loan.hold.iter_mut().filter(|(_, lent)| !**lent) {
                *lent = true;
                self.acts.push_back(Act::Lend(*peer, from));
            }
        }
    }

    /// Whether it is borrowed now.
    pub(crate) fn holds(&self, address: Ipv4Addr) -> bool {
        let loan = self.list.get(&net(address));
        loan.is_some_and(|l| matches!(l.state, State::Standing(a) if a == address))
    }

    /// Somebody else claims the address, or probes for it: another one is sought at once.
    pub(crate) fn taken(&mut self, now: Moment, address: Ipv4Addr) {
        let key = net(address);
        let Some(loan) = self
            .list
            .get_mut(&key)
            .filter(|l| l.state.address() == Some(address))
        else {
            return;
        };
        // What was to be done with it is not done any more.
        self.acts.retain(|act| {
            !matches!(act, Act::Probe(a) | Act::Say(a) | Act::Ask(_, a) | Act::Lend(_, a) | Act::Withdraw(a)
                if *a == address)
        });
        if matches!(loan.state, State::Standing(_)) {
            self.acts.push_back(Act::Withdraw(address));
        }
        let lent = loan.hold.values_mut().filter(|lent| **lent);
        if lent.map(|lent| *lent = false).count() > 0 {
            // A tunnel may stand for hours: only what happens at one go counts.
            loan.tried.clear();
        }
        loan.waiting.append(&mut loan.asked);
        loan.tried.push(address);
        loan.state = State::Seeking(now);
        loan.since = now;
        if loan.tried.len() >= TRIES {
            self.give_up(key);
        }
    }

    /// A question that was handed out is over, or was not taken. The last one ends the loan.
    pub(crate) fn over(&mut self, target: &Target) {
        let key = net(target.address);
        if let Some(loan) = self.list.get_mut(&key)
            && loan.asked.remove(target)
        {
            self.drop_idle(key);
        }
    }

    /// Ends a loan that nobody needs any more.
    fn drop_idle(&mut self, key: [u8; 3]) {
        let idle = |loan: &Loan| loan.asked.is_empty() && loan.waiting.is_empty() && loan.hold.is_empty();
        if self.list.get(&key).is_some_and(idle) {
            self.list.remove(&key);
        }
    }

    fn give_up(&mut self, key: [u8; 3]) {
        if let Some(loan) = self.list.remove(&key) {
            let all = loan.waiting.into_iter().chain(loan.asked);
            self.acts.extend(all.map(Act::NoWay));
            self.acts.extend(loan.hold.into_keys().map(Act::NoLoan));
        }
    }

    /// Lets time pass. `free` says from when on an address may be probed for, or `None`: never.
    /// All that arrived up to `now` must have been handed over before.
    pub(crate) fn tick(&mut self, now: Moment, free: impl Fn(Ipv4Addr) -> Option<Moment>) {
        let mut hopeless = Vec::new();
        for (key, loan) in &mut self.list {
            let next = match &mut loan.state {
                State::Listening(address, sent, due) => {
                    let (address, sent) = (*address, *sent);
                    let next = if sent < PROBES {
                        State::Asking(address, sent)
                    } else {
                        State::Opening(address)
                    };
                    due.is_over(now).then_some(next)
                }
                State::Seeking(at) if *at <= now => match candidate(*key, loan, self.seed, now, &free) {
                    Some((address, from)) if from <= now => Some(State::Asking(address, 0)),
                    Some((_, from)) if from <= loan.since + SEEK => Some(State::Seeking(from)),
                    _ => {
                        hopeless.push(*key);
                        None
                    }
                },
                _ => None,
            };
            if let Some(next) = next {
                if let State::Asking(address, _) = next {
                    self.acts.push_back(Act::Probe(address));
                }
                loan.state = next;
            }
        }
        for key in hopeless {
            self.give_up(key);
        }
    }

    pub(crate) fn next_wake(&self) -> Option<Moment> {
        let due = |loan: &Loan| match &loan.state {
            State::Seeking(at) => Some(*at),
            State::Listening(_, _, due) => Some(due.at()),
            State::Asking(..) | State::Opening(_) | State::Standing(_) => None,
        };
        self.list.values().filter_map(due).min()
    }

    /// Ends all loans without a word. What the link lets in is to be told it again.
    pub(crate) fn clear(&mut self) {
        self.list.clear();
        self.acts.clear();
    }
}

/// The address to try next, and from when on it may be probed for: the best of those that may be
/// now, else the one that may be first. Which is as good as chance for each network and run.
fn candidate(
    [a, b, c]: [u8; 3],
    loan: &Loan,
    seed: u64,
    now: Moment,
    free: impl Fn(Ipv4Addr) -> Option<Moment>,
) -> Option<(Ipv4Addr, Moment)> {
    // Knuth's multiplicative hash (constant from memory): it only has to scatter.
    let mixed = (seed ^ u64::from(u32::from_be_bytes([0, a, b, c]))).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    let first = (mixed >> 56) as u8;
    (0..=u8::MAX)
        .map(|n| first.wrapping_add(n))
        .filter(|d| !NEVER.contains(d))
        .map(|d| Ipv4Addr::new(a, b, c, d))
        .filter(|x| loan.ranges.iter().any(|r| r.contains(*x)) && !loan.tried.contains(x))
        .filter(|x| loan.waiting.iter().all(|t| t.address != *x))
        .filter(|x| loan.hold.keys().all(|peer| peer.address != *x))
        .filter_map(|x| free(x).map(|at| (x, at.max(now))))
        .min_by_key(|(x, at)| (*at, !BEST.contains(&x.octets()[3])))
}

#[cfg(test)]
#[path = "borrow_tests.rs"]
mod tests;

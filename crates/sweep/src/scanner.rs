//! The scanner's face: everything it can be told and asked.

use core::net::Ipv4Addr;
use core::time::Duration;
use std::collections::{BTreeMap, VecDeque};

use link::{DialEvent, DialId, UserDialer};
use vocab::{ArpForm, Fact, Gap, Mac, Mode, Moment, Pace, Rank, Sighting, SilentTo, Station};

use crate::Order;
use crate::arp::Questions;
use crate::borrow::{Loans, Peer};
use crate::control::Controls;
use crate::discover::{Discovery, Next};
use crate::echo::{self, Echoes};
use crate::here::{Here, is_askable};
use crate::known::Known;
use crate::manners::Manners;
use crate::names::Calls;
use crate::newborn::Newborns;
use crate::pacer::Pacer;
use crate::passes::Passes;
use crate::plain::Pokes;
use crate::queue::{Item, Lane, Queue};
use crate::send::Handed;
use crate::sparing::Sparing;
use crate::tunnel::{Tunnel, TunnelNews};

/// How often frames that are only counted are told of.
const TELL_COUNTED_EVERY: Duration = Duration::from_secs(1);
/// Sightings that may wait to be fetched before unasked ones are left out.
const SIGHTINGS_MAX: usize = 1 << 16;

/// Who opens connections to control ports.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dialing {
    /// The system's sockets: dials go out as orders.
    Os,
    /// A stack inside the scanner that speaks over frames; needs the peer's hardware address.
    User,
}

/// How a scanner is to work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Config {
    /// How fast it may ask.
    pub pace: Pace,
    /// Nothing at all is sent.
    pub listen_only: bool,
    /// Frames, or the unprivileged way.
    pub mode: Mode,
    /// Who opens connections.
    pub dialing: Dialing,
    /// Where its identifiers and nonces come from; the same seed and input give the same output.
    pub seed: u64,
}

/// Frames that are only counted, and told of now and then.
#[derive(Debug, Default)]
struct Tally {
    total: u64,
    told: u64,
    told_at: Option<Moment>,
}

impl Tally {
    /// When they are to be told of, if any were not yet.
    fn due(&self) -> Option<Moment> {
        (self.total > self.told).then(|| self.told_at.map_or(Moment::ZERO, |at| at + TELL_COUNTED_EVERY))
    }

    /// How many there are, if that is to be told now.
    fn tell(&mut self, now: Moment) -> Option<u64> {
        self.due().filter(|at| *at <= now)?;
        self.told = self.total;
        self.told_at = Some(now);
        Some(self.total)
    }
}

/// Carries out asks, listens, and reports sightings. It does no input or output of its own.
///
/// Whoever drives it hands over all that arrived, then calls [`Scanner::tick`], then carries out
/// what [`Scanner::next_order`] gives until it gives nothing, and comes back at
/// [`Scanner::next_wake`] or when something arrives.
pub struct Scanner {
    pub(crate) config: Config,
    pub(crate) here: Here,
    pub(crate) pacer: Pacer,
    pub(crate) queue: Queue,
    pub(crate) manners: Manners,
    pub(crate) newborns: Newborns,
    pub(crate) calls: Calls,
    pub(crate) questions: Questions,
    pub(crate) echoes: Echoes,
    pub(crate) passes: Passes,
    pub(crate) pokes: Pokes,
    pub(crate) controls: Controls,
    pub(crate) loans: Loans,
    pub(crate) known: Known,
    pub(crate) discovery: Discovery,
    pub(crate) dialer: Option<UserDialer>,
    pub(crate) tunnels: BTreeMap<Peer, Tunnel>,
    /// What became of their addresses.
    pub(crate) tunnel_news: VecDeque<(Peer, TunnelNews)>,
    /// Frames of a tunnel's end.
    pub(crate) last_words: VecDeque<Vec<u8>>,
    /// Orders that need no pace: their frames are paid, or they send none.
    pub(crate) orders: VecDeque<Order>,
    /// The paced order whose outcome is not known yet.
    pub(crate) handed: Option<Handed>,
    /// A frame of the dialer's that the port would not take at once.
    pub(crate) unsent: Option<Vec<u8>>,
    /// After a failed send nothing is sent before.
    pub(crate) paused_until: Moment,
    /// When there may be something to send; `None` until something changes.
    pub(crate) send_at: Option<Moment>,
    /// The system lets us send echo requests (unprivileged mode).
    pub(crate) can_ping: bool,
    /// Orders given at a slow pace, for the share of the lower ranks.
    pub(crate) turn: u8,
    /// While only watching: who was asked when.
    pub(crate) sparing: Option<Sparing>,
    abandoned: VecDeque<DialId>,
    malformed: Tally,
    /// Frames that have our own hardware address as their source.
    returned: Tally,
    dropped: u64,
    sightings: VecDeque<Sighting>,
}

impl core::fmt::Debug for Scanner {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.debug_struct("Scanner")
            .field("config", &self.config)
            .field("here", &self.here)
            .finish_non_exhaustive()
    }
}

impl Scanner {
    /// A scanner that knows no station yet, and so sends nothing.
    pub fn new(config: Config) -> Self {
        Self {
            config,
            here: Here::default(),
            pacer: Pacer::new(config.pace),
            queue: Queue::default(),
            manners: Manners::default(),
            newborns: Newborns::default(),
            calls: Calls::new(config.seed),
            questions: Questions::default(),
            // Any 16 bits do: they only tell our replies from those to other programs.
            echoes: Echoes::new(
                (config.seed ^ (config.seed >> 16) ^ 0x5243) as u16,
                match config.mode {
                    Mode::Routed => echo::THROUGH_ROUTERS,
                    Mode::Raw | Mode::Unprivileged | Mode::Simulated => echo::ON_A_WIRE,
                },
            ),
            passes: Passes::default(),
            pokes: Pokes::new(),
            controls: Controls::new(config.seed),
            loans: Loans::new(config.seed),
            known: Known::default(),
            discovery: Discovery::new(config.seed),
            dialer: None,
            tunnels: BTreeMap::new(),
            tunnel_news: VecDeque::new(),
            last_words: VecDeque::new(),
            orders: VecDeque::new(),
            handed: None,
            unsent: None,
            paused_until: Moment::ZERO,
            send_at: None,
            can_ping: true,
            turn: 0,
            sparing: None,
            abandoned: VecDeque::new(),
            malformed: Tally::default(),
            returned: Tally::default(),
            dropped: 0,
            sightings: VecDeque::new(),
        }
    }

    /// This computer's interface as it is from now on. Where the link does not carry, or is other
    /// hardware than before, all that waits to be sent or answered is dropped without a word.
    pub fn set_station(&mut self, now: Moment, station: Station) {
        let moved = self.here.has_other_addresses(&station);
        if self.here.set(station.clone()) {
            self.drop_all();
            self.lose(now);
        } else if moved {
            // What was foreign may be ours now, and what was free another port's.
            self.end_loans(now);
        }
        self.paused_until = Moment::ZERO;
        self.stir(now);
        self.say(now, Fact::Station(station));
    }

    /// Begins or ends listen-only. When it begins, all that waits is dropped without a word, and
    /// no order is given out until it ends; see [`Scanner::next_abandoned`].
    pub fn set_listen_only(&mut self, now: Moment, on: bool) {
        self.config.listen_only = on;
        if on {
            self.drop_all();
            self.lose(now);
        }
        self.stir(now);
        self.say(now, Fact::ListenOnly(on));
    }

    /// The program did not live through a while: whatever waits or is on its way is forgotten, for nobody
    /// knows what became of the answers.
    pub fn gap(&mut self, now: Moment, gap: Gap) {
        self.drop_all();
        self.lose(now);
        self.stir(now);
        self.say(now, Fact::Gap(gap));
    }

    /// Whether nothing at all is sent, by the user's word.
    pub const fn is_listen_only(&self) -> bool {
        self.config.listen_only
    }

    /// Changes the pace.
    pub fn set_pace(&mut self, now: Moment, pace: Pace) {
        self.config.pace = pace;
        self.pacer.set(now, pace);
        self.stir(now);
    }

    /// How many answers find room at the port until they are read: no more questions than that are on their way
    /// at once. Without a word, 200.
    pub fn set_room(&mut self, answers: usize) {
        self.questions.set_room(answers);
    }

    /// Whether the system lets us send echo requests in the unprivileged mode; without a word, it does.
    pub fn set_can_ping(&mut self, can: bool) {
        self.can_ping = can;
    }

    /// Takes what happened on a connection of the system's.
    #[expect(clippy::needless_pass_by_value, reason = "an event is handed over, not lent")]
    pub fn dial_event(&mut self, now: Moment, id: DialId, event: DialEvent) {
        self.controls.event(now, id, &event);
        self.carry_out(now);
        self.stir(now);
    }

    /// Takes an echo reply with so many bytes of data (unprivileged mode, or through routers).
    pub fn echo_reply(&mut self, now: Moment, address: Ipv4Addr, sequence: u16, data: usize) {
        if let Some(reply) = self.echoes.answer(now, address, sequence, data) {
            self.pokes.ponged(address);
            self.tell_reply(now, address, &reply, None);
        }
    }

    /// Takes the system's word that questions to `address` did not leave for want of a way.
    pub fn no_way(&mut self, now: Moment, address: Ipv4Addr) {
        self.echoes.give_back(address);
        self.say(now, Fact::NoWay { address });
        self.stir(now);
    }

    /// Takes the kernel's word on a neighbour (unprivileged mode): its hardware, or that nobody answered.
    pub fn neighbour(&mut self, now: Moment, address: Ipv4Addr, mac: Option<Mac>) {
        if let Some(mac) = mac {
            let rtt = self.pokes.resolved(now, address);
            self.say(now, Fact::Neighbour { address, mac, rtt });
        } else if let Some(sent) = self.pokes.failed(address) {
            let what = SilentTo::Arp(ArpForm::Broadcast);
            self.say(now, Fact::Silent { address, what, sent });
        }
        self.stir(now);
    }

    /// Takes the count of frames that the kernel dropped since the start.
    pub fn dropped(&mut self, now: Moment, total: u64) {
        if total != self.dropped {
            self.dropped = total;
            self.say(now, Fact::Dropped { total });
        }
    }

    /// Lets time pass: silences, ends of passes, control ports given up. All that arrived up to
    /// `now` must have been handed over before, or a silence may be told that is none; what comes
    /// more than 100 ms after its time is given 50 ms more once, as the stall may be our own.
    pub fn tick(&mut self, now: Moment) {
        let mut told = Vec::new();
        self.questions.tick(now, |s| {
            let what = SilentTo::Arp(s.form);
            told.push(Fact::Silent {
                address: s.address,
                what,
                sent: s.sent,
            });
        });
        self.echoes.tick(now, |fact| told.push(fact));
        let mut doubtful = Vec::new();
        self.pokes.tick(now, |address, sent| match sent {
            Some(sent) => {
                let what = SilentTo::Arp(ArpForm::Broadcast);
                told.push(Fact::Silent { address, what, sent });
            }
            None => doubtful.push(address),
        });
        for address in doubtful {
            if self.can_ping {
                self.queue
                    .push(Item::Echo(address, None), Rank::Heard, Lane::Plain);
                self.stir(now);
            }
        }
        self.passes.tick(now, |fact| told.push(fact));
        match self.discovery.tick(now) {
            Some(Next::Again) => {
                self.queue.push_always(Item::Discover, Rank::Rig, Lane::Plain);
                self.stir(now);
            }
            Some(Next::Over(sent)) => told.push(Fact::DhcpOver { sent }),
            None => {}
        }
        for fact in told {
            self.say(now, fact);
        }
        self.manners.tick(now);
        self.tick_tunnels(now);
        self.tick_loans(now);
        self.controls.tick(now);
        self.carry_out(now);
        self.tell_counted(now);
    }

    /// When [`Scanner::tick`] and [`Scanner::next_order`] should next be called, if ever.
    pub fn next_wake(&self) -> Option<Moment> {
        let sending = if self.may_send() {
            let dialer = self.dialer.as_ref().and_then(UserDialer::next_wake);
            let carrier = self.tunnels.values().filter_map(Tunnel::next_wake).min();
            let any = [self.send_at, dialer, carrier].into_iter().flatten().min();
            any.map(|at| at.max(self.paused_until))
        } else {
            None
        };
        [
            sending,
            self.malformed.due(),
            self.returned.due(),
            self.questions.next_wake(),
            self.echoes.next_wake(),
            self.pokes.next_wake(),
            self.passes.next_wake(),
            self.controls.next_wake(),
            self.loans.next_wake(),
            self.tunnel_wake(),
            self.discovery.next_wake(),
        ]
        .into_iter()
        .flatten()
        .min()
    }

    /// A dial of the system's that must be closed at once, though no order may be given out: ask
    /// until it gives nothing after listen-only began or the station changed.
    pub fn next_abandoned(&mut self) -> Option<DialId> {
        self.abandoned.pop_front()
    }

    /// The next thing seen.
    pub fn next_sighting(&mut self) -> Option<Sighting> {
        self.sightings.pop_front()
    }

    /// Whether anything may be sent at all.
    pub(crate) fn may_send(&self) -> bool {
        !self.config.listen_only && self.here.is_up()
    }

    /// The address that we speak to `address` from: on a wire ours in its subnet, through routers
    /// whichever the system takes (0.0.0.0). `None` where there is no way to ask it.
    pub(crate) fn sender_to(&self, address: Ipv4Addr) -> Option<Ipv4Addr> {
        if !is_askable(address) {
            return None;
        }
        match self.config.mode {
            Mode::Routed => (!self.here.owns(address)).then_some(Ipv4Addr::UNSPECIFIED),
            Mode::Raw | Mode::Unprivileged | Mode::Simulated => self.here.sender_for(address),
        }
    }

    /// Whether the kernel would ask for it.
    pub(crate) fn can_poke(&self, address: Ipv4Addr, form: ArpForm) -> bool {
        form != ArpForm::Nobody && self.here.sender_for(address).is_some()
    }

    /// There may be something to send.
    pub(crate) fn stir(&mut self, now: Moment) {
        self.send_at = Some(now);
    }

    /// Reports a fact. What nobody asked for is left out when far too many wait to be fetched.
    pub(crate) fn say(&mut self, at: Moment, fact: Fact) {
        let unasked = match &fact {
            Fact::Arp(seen) => seen.answers.is_none(),
            Fact::Wakes { .. }
            | Fact::Named { .. }
            | Fact::GroupQuery { .. }
            | Fact::SleepProxy { .. }
            | Fact::Plugged(_)
            | Fact::Ipv6 { .. }
            | Fact::Mask { .. }
            | Fact::Serves { .. }
            | Fact::Address { .. }
            | Fact::DhcpClient { .. } => true,
            _ => false,
        };
        if !unasked || self.sightings.len() < SIGHTINGS_MAX {
            self.sightings.push_back(Sighting { at, fact });
        }
    }

    /// A frame made no sense.
    pub(crate) fn count_malformed(&mut self, now: Moment) {
        self.malformed.total += 1;
        self.tell_counted(now);
    }

    /// A frame of our own came back, or somebody sends by our hardware address.
    pub(crate) fn count_returned(&mut self, now: Moment) {
        self.returned.total += 1;
        self.tell_counted(now);
    }

    fn tell_counted(&mut self, now: Moment) {
        if let Some(total) = self.malformed.tell(now) {
            self.say(now, Fact::Malformed { total });
        }
        if let Some(total) = self.returned.tell(now) {
            self.say(now, Fact::Returned { total });
        }
    }

    /// Drops all that waits to be sent or answered.
    pub(crate) fn drop_all(&mut self) {
        self.queue.clear();
        self.passes.clear();
        self.questions.clear();
        self.echoes.clear();
        self.pokes.clear();
        self.discovery.clear();
        self.loans.clear();
        let open = self.controls.clear();
        if self.config.dialing == Dialing::Os {
            // One that was never given out, or is closed already, is closed once more in vain.
            self.abandoned.extend(open);
            self.abandoned
                .extend(self.orders.iter().filter_map(|order| match order {
                    Order::DialClose(id) => Some(*id),
                    _ => None,
                }));
        }
        self.orders.clear();
        self.dialer = None;
        self.handed = None;
        self.unsent = None;
        self.last_words.clear();
    }
}

#[cfg(test)]
mod tests;

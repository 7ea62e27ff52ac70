//! One claim: that a host holds an address. Kept with what proves it and what speaks against it.

use std::cmp::Ordering;
use std::hash::{Hash, Hasher};
use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{Mac, Moment};

use crate::Proof;
use crate::judging::detect::Bar;

/// The least time from the first of the unanswered questions in a row to the end of the last, so
/// that one short disturbance of the wire takes nobody off it: the losses in it are not independent.
const SPREAD: Duration = Duration::from_secs(1);

/// Who is on the wire: hardware, or an address alone where the mode shows no hardware.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum HostId {
    /// Hardware.
    Mac(Mac),
    /// Something that answers at this address.
    Only(Ipv4Addr),
}

/// By hardware, then those without by address.
impl Ord for HostId {
    fn cmp(&self, other: &Self) -> Ordering {
        self.number().cmp(&other.number())
    }
}

impl Hash for HostId {
    fn hash<H: Hasher>(&self, state: &mut H) {
        state.write_u64(self.number());
    }
}

impl PartialOrd for HostId {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl HostId {
    /// All of it as one number: maps of hosts are ordered by little else.
    fn number(self) -> u64 {
        match self {
            Self::Mac(mac) => mac.number(),
            Self::Only(address) => 1 << 48 | u64::from(u32::from(address)),
        }
    }

    /// Its hardware, where known.
    pub(crate) const fn mac(self) -> Option<Mac> {
        match self {
            Self::Mac(mac) => Some(mac),
            Self::Only(_) => None,
        }
    }

    /// The first and the last shared hardware address of virtual routers, 00:00:5e:00:01:xx
    /// (RFC 9568 section 7.3), which by design stand beside a router's own.
    pub(crate) const VIRTUAL_ROUTERS: [Mac; 2] = [
        Mac::new([0, 0, 0x5e, 0, 1, 0]),
        Mac::new([0, 0, 0x5e, 0, 1, 0xff]),
    ];

    /// Whether it is one of those.
    pub(crate) fn is_virtual_router(self) -> bool {
        let [first, last] = Self::VIRTUAL_ROUTERS;
        self.mac().is_some_and(|m| (first..=last).contains(&m))
    }
}

/// Whether a claim holds now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Life {
    /// Heard, and not unanswered since.
    Alive,
    /// Asked, provably sent, and unanswered.
    Gone,
    /// Heard before our own link or our own silence left a gap: says nothing about now.
    Stale,
}

/// Unanswered questions in a row.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Misses {
    count: u8,
    wide: bool,
    first: Moment,
    /// When the latest of the questions left.
    sent: Moment,
    /// When the question left that made them enough.
    enough: Moment,
    /// When the last of them was given up.
    ended: Moment,
}

/// What unanswered questions come to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Verdict {
    /// Too few so far.
    Open,
    /// Enough, but our own port may be what failed.
    Doubtful,
    /// Enough.
    Gone,
}

impl Misses {
    /// Nothing is unanswered.
    pub(crate) const NONE: Self = Self {
        count: 0,
        wide: false,
        first: Moment::ZERO,
        sent: Moment::ZERO,
        enough: Moment::ZERO,
        ended: Moment::ZERO,
    };

    /// One more question, sent at `sent` and given up at `at`, went unanswered. `wide`: it went to
    /// everybody.
    pub(crate) fn add(&mut self, sent: Moment, at: Moment, wide: bool, bar: Bar) {
        if self.count == 0 {
            self.first = sent;
        }
        if self.count < bar.run {
            self.enough = sent;
        }
        self.count = self.count.saturating_add(1);
        self.wide |= wide;
        self.sent = self.sent.max(sent);
        self.ended = at;
    }

    /// How many of them were lost, now that an answer to a question sent at `question` (`None`: a
    /// word without a question) shows that the device was there all the while. One that was given
    /// up too early is late, not lost.
    pub(crate) fn lost(&self, question: Option<Moment>) -> u8 {
        let late = question.is_some_and(|q| q <= self.sent);
        self.count.saturating_sub(u8::from(late))
    }

    /// When the first of them left.
    pub(crate) const fn began(&self) -> Moment {
        self.first
    }

    /// How many there are, and from the first of them to the end of the last.
    pub(crate) fn run(&self) -> (u8, Duration) {
        (self.count, self.ended.since(self.first))
    }

    /// Whether that settles the matter, if our own port vouches for it.
    pub(crate) fn settle(&self, now: Moment, bar: Bar) -> Verdict {
        let enough = self.count >= bar.run && self.wide && self.ended.since(self.first) >= SPREAD;
        match enough {
            false => Verdict::Open,
            true if bar.port.vouches(self.enough, now) => Verdict::Gone,
            true => Verdict::Doubtful,
        }
    }

    /// Whether any question is unanswered.
    pub(crate) const fn any(&self) -> bool {
        self.count > 0
    }
}

/// A host's claim to an address.
#[derive(Debug, Clone)]
pub(crate) struct Claim {
    /// The address.
    pub(crate) address: Ipv4Addr,
    /// When it was first heard.
    pub(crate) first: Moment,
    /// When it was last heard.
    pub(crate) last: Moment,
    /// When this life of it began.
    pub(crate) since: Moment,
    /// When it was announced once more while several held it and it was open who lives there.
    pub(crate) again: Option<Moment>,
    /// Whether it holds now.
    pub(crate) life: Life,
    /// The best of what it is known by.
    pub(crate) by: Proof,
    /// Whether the host answers there for one that is asleep, by its own word that it does such things.
    pub(crate) lent: bool,
    /// 0.0.0.0 probes that others or none answered, those soon after another aside.
    pub(crate) nobody_missed: u8,
    /// All of them in a row, and when the latest of those that count left.
    pub(crate) probes_missed: u8,
    counted: Option<Moment>,
    /// When the question left that it answered last.
    pub(crate) question: Option<Moment>,
    /// Since when its host may have given it up, and answer for it as a proxy: only an answer to a probe, or its own
    /// word, tells.
    pub(crate) doubted: Option<Moment>,
    /// That was so already as this life of it began.
    resumed: bool,
    /// Questions that it was asked in vain while it had answered none.
    vain: u8,
    /// It answered an echo itself there, and nobody passed the answer on.
    pub(crate) stood: bool,
    /// When the latest question left that went to it alone and that it answered itself.
    alone: Option<Moment>,
    /// When the latest questions left that went to everybody and that it answered.
    to_all: [Option<Moment>; TO_ALL],
    /// The latest round-trip time.
    pub(crate) rtt: Option<Duration>,
    /// What stayed unanswered since it was last heard.
    pub(crate) misses: Misses,
    /// When it was last heard after it had left questions unanswered, or its host had said that it is elsewhere.
    lapsed: Option<Moment>,
}

impl Claim {
    /// A claim that is first heard at `at`, by `by`.
    pub(crate) const fn new(address: Ipv4Addr, at: Moment, by: Proof) -> Self {
        Self {
            address,
            first: at,
            last: at,
            since: at,
            again: None,
            life: Life::Stale,
            by,
            lent: false,
            nobody_missed: 0,
            probes_missed: 0,
            counted: None,
            question: None,
            doubted: None,
            resumed: false,
            vain: 0,
            stood: false,
            alone: None,
            to_all: [None; TO_ALL],
            rtt: None,
            misses: Misses::NONE,
            lapsed: None,
        }
    }

    /// Heard again. Returns how many questions before were lost on the way, if it was there then.
    pub(crate) fn hear(&mut self, at: Moment, proof: Proof, rtt: Option<Duration>) -> u8 {
        let lost = match self.life {
            Life::Alive => self.misses.lost(rtt.map(|rtt| at - rtt)),
            Life::Gone | Life::Stale => 0,
        };
        let back = self.life != Life::Alive;
        if back {
            self.life = Life::Alive;
            self.since = at;
            self.again = None;
            self.question = None;
            self.alone = None;
            self.to_all = [None; TO_ALL];
            // A proxy does not become an owner by coming back, nor does an owner become a proxy:
            // what it is known by stays.
        }
        self.last = self.last.max(at);
        let doubted = self.doubted.filter(|_| !proof.is_owners());
        if self.misses.any() || doubted != self.doubted {
            self.lapsed = Some(at);
        }
        self.misses = Misses::NONE;
        self.by = self.by.max(proof);
        self.doubted = doubted;
        self.resumed = self.doubted.is_some() && (back || self.resumed);
        if proof == Proof::Nobody {
            self.nobody_missed = 0;
            self.probes_missed = 0;
        }
        if let Some(rtt) = rtt {
            let question = at - rtt;
            self.vain = 0;
            self.rtt = Some(rtt);
            self.question = Some(question);
            match proof {
                Proof::Unicast => self.answers_alone(question),
                Proof::Real | Proof::Nobody if self.to_all[0].is_none_or(|q| q < question) => {
                    self.to_all.rotate_right(1);
                    self.to_all[0] = Some(question);
                }
                _ => {}
            }
        }
        lost
    }

    /// It answered itself what went to it alone and left at `question`.
    pub(crate) fn answers_alone(&mut self, question: Moment) {
        self.alone = self.alone.max(Some(question));
    }

    /// It did not answer a 0.0.0.0 probe that left at `sent`.
    pub(crate) fn miss_probe(&mut self, sent: Moment) {
        self.probes_missed = self.probes_missed.saturating_add(1);
        if self.counted.is_none_or(|last| sent.since(last) >= COUNTED) {
            self.counted = Some(sent);
            self.nobody_missed = self.nobody_missed.saturating_add(1);
        }
        if self.doubted.is_some() && self.probes_missed >= PROBES {
            // What it showed it showed before it gave the address up.
            self.doubted = None;
            self.stood = false;
            self.by = Proof::Real;
        }
    }

    /// Its host may have given it up by `at`, since it showed that it owns it: probes are to tell. True if that is
    /// news.
    pub(crate) fn doubt(&mut self, at: Moment) -> bool {
        let news = self.alive() && self.is_sure();
        if news {
            self.doubted = Some(at);
            (self.nobody_missed, self.probes_missed) = (0, 0);
        }
        news
    }

    /// The same of one that came back at `at`, of a host that answers for others.
    pub(crate) fn doubt_back(&mut self, at: Moment) {
        self.doubt(at);
        self.resumed = self.doubted.is_some();
    }

    /// A probe for an address of ours, which left at `sent`, was answered by nobody.
    pub(crate) fn miss_ours(&mut self, sent: Moment) {
        if self.question.is_none() && self.since <= sent {
            self.vain = VAIN;
        }
    }

    /// A question stayed unanswered by this claimant. The claim may end by it.
    pub(crate) fn miss(&mut self, sent: Moment, at: Moment, wide: bool, bar: Bar) -> Verdict {
        if self.question.is_none() && self.since <= sent {
            self.vain = self.vain.saturating_add(1);
        }
        if self.life == Life::Alive && self.last < sent {
            self.misses.add(sent, at, wide, bar);
        }
        self.settle(at, bar)
    }

    /// Ends the claim if what stayed unanswered is enough for it.
    pub(crate) fn settle(&mut self, now: Moment, bar: Bar) -> Verdict {
        if self.life != Life::Alive {
            return Verdict::Open;
        }
        let verdict = self.misses.settle(now, bar);
        if verdict == Verdict::Gone {
            self.life = Life::Gone;
            if self.question.is_none() {
                self.vain = VAIN;
            }
        }
        verdict
    }

    /// From when on it is to be shown that it lives there beside others.
    pub(crate) fn began(&self) -> Moment {
        self.again.unwrap_or(self.since)
    }

    /// Whether it holds now.
    pub(crate) fn alive(&self) -> bool {
        self.life == Life::Alive
    }

    /// When the first of the questions left that it has not answered since it was last heard.
    pub(crate) fn silent_since(&self) -> Option<Moment> {
        self.misses.any().then(|| self.misses.began())
    }

    /// Whether it may have been away at any time since `at`: what something on it kept silent to that was asked then is
    /// no news of that.
    pub(crate) fn lapsed_since(&self, at: Moment) -> bool {
        self.lapsed.is_some_and(|back| back >= at)
    }

    /// Whether the host proved to be an owner, not a proxy.
    pub(crate) const fn proven(&self) -> bool {
        self.by.is_owners()
    }

    /// Whether it ever answered a 0.0.0.0 probe.
    pub(crate) const fn answers_nobody(&self) -> bool {
        matches!(self.by, Proof::Nobody)
    }

    /// Whether it answers for an address that it does not own, as far as is known.
    pub(crate) const fn proxied(&self) -> bool {
        self.lent || self.missed_probe()
    }

    /// Whether it has shown no sign of an owner, and kept silent to a 0.0.0.0 probe.
    pub(crate) const fn missed_probe(&self) -> bool {
        !self.proven() && !self.stood && self.nobody_missed > 0
    }

    /// Whether the host is known to be an owner.
    pub(crate) const fn owned(&self) -> bool {
        self.proven() && !self.lent
    }

    /// Whether it is known to be an owner where several claim to be: a reply to an echo that no router passed
    /// on shows it too.
    pub(crate) const fn is_owner(&self) -> bool {
        (self.proven() || self.stood) && !self.lent
    }

    /// Whether nothing speaks against its being an owner's.
    pub(crate) const fn is_sure(&self) -> bool {
        self.is_owner() && self.doubted.is_none()
    }

    /// Whether a probe that it does not answer tells a proxy: who gave an address up and is none falls silent
    /// there altogether.
    pub(crate) fn is_tried_by_probe(&self) -> bool {
        match self.doubted {
            Some(since) => self.question >= Some(since),
            None => !self.proven() && !self.stood,
        }
    }

    /// Whether its host said that it is elsewhere, and has answered nothing here since. A proxy does, but late.
    pub(crate) fn seems_left(&self) -> bool {
        self.doubted.is_some_and(|since| self.question < Some(since)) && self.misses.count >= LEFT
    }

    /// Whether it came back in doubt, and nothing has told since: what it showed it showed in an earlier life.
    pub(crate) const fn resumed(&self) -> bool {
        self.resumed && self.doubted.is_some()
    }

    /// Whether it is still open if it is an owner's.
    pub(crate) fn pending(&self) -> bool {
        let open = !self.proven() || self.resumed();
        self.alive() && open && !self.lent && self.nobody_missed == 0
    }

    /// Whether it may not be an owner, however often it is asked: it answers for a sleeper, or it let so
    /// many probes pass in a row that this was no loss.
    pub(crate) const fn no_owner(&self) -> bool {
        !self.is_owner() && (self.lent || self.probes_missed >= PROBES)
    }

    /// Whether it was asked in vain and has answered nothing about this address since: what it says unasked counts
    /// for nothing.
    pub(crate) const fn hollow(&self) -> bool {
        self.vain >= VAIN
    }

    /// Whether it answered by itself a question that left no sooner than `start` and went to it alone.
    pub(crate) fn lives_since(&self, start: Moment) -> bool {
        self.alone.is_some_and(|question| question >= start)
    }

    /// Whether it answered so many questions to everybody since `start` that it is there, though it answers
    /// nothing that goes to it alone.
    pub(crate) fn answers_all_since(&self, start: Moment) -> bool {
        self.to_all.iter().all(|q| q.is_some_and(|q| q >= start))
    }
}

/// So many questions in vain are no loss, where the one who was asked keeps saying that he is there.
const VAIN: u8 = 4;
/// So many questions in vain show that one who said that he is elsewhere is no proxy that answers late.
const LEFT: u8 = 3;
/// Questions to everybody that one who answers no others has to answer.
const TO_ALL: usize = 3;
/// Probes in a row that a claimant is sent before it is taken as no owner, where another is one.
pub(crate) const PROBES: u8 = 2;
/// Probes sooner than this after another count once: they are lost together.
const COUNTED: Duration = Duration::from_secs(5);

#[cfg(test)]
mod tests;

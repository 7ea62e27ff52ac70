//! Questions on their way: each kind of question about one address has a lane with at most one
//! under way, and the next is due only when that one is sent and closed. So a slow pace makes
//! questions rarer, and never looks like loss.

use std::cmp::Ordering;
use std::collections::BTreeSet;
use std::hash::{Hash, Hasher};
use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{ControlPort, Mac, Moment, PassId, RollCall};

use crate::asking::beat::step_from;
use crate::shelf::Shelf;

/// A question that has not left after this long is taken as lost by the way.
const LOST_WAITING: Duration = Duration::from_mins(1);
/// A question that left and of which no end was told after this long is closed by us.
const LOST_SENT: Duration = Duration::from_secs(15);

/// One kind of question about one address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Key {
    /// To everybody, in our own name.
    Broadcast(Ipv4Addr),
    /// To everybody, in nobody's name.
    Nobody(Ipv4Addr),
    /// To one.
    Unicast(Ipv4Addr, Mac),
    /// Does a control port speak?
    Port(Ipv4Addr, Option<Mac>, ControlPort),
    /// An echo.
    Echo(Ipv4Addr),
    /// An echo to one of several who hold an address.
    EchoTo(Ipv4Addr, Mac),
    /// Which DHCP servers are there?
    Dhcp,
    /// A pass over a range.
    Pass(PassId),
    /// What is everybody called?
    Roll(RollCall),
}

impl Key {
    /// Kind and address, and hardware, as two numbers.
    fn numbers(&self) -> (u64, u64) {
        let about = |kind: u8, address: Ipv4Addr, mac: Option<Mac>| {
            let mac = mac.map_or(0, |m| 1 << 48 | m.number());
            (u64::from(kind) << 32 | u64::from(u32::from(address)), mac)
        };
        match *self {
            Self::Broadcast(address) => about(0, address, None),
            Self::Nobody(address) => about(1, address, None),
            Self::Unicast(address, mac) => about(2, address, Some(mac)),
            Self::Port(address, mac, _) => about(3, address, mac),
            Self::Echo(address) => about(4, address, None),
            Self::Pass(id) => about(5, Ipv4Addr::from(id.0), None),
            Self::Dhcp => about(6, Ipv4Addr::UNSPECIFIED, None),
            Self::EchoTo(address, mac) => about(8, address, Some(mac)),
            Self::Roll(which) => about(7, Ipv4Addr::from(which as u32), None),
        }
    }
}

/// A key with its numbers at hand: lanes are looked up by comparing more often than anything else.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Slot {
    numbers: (u64, u64),
    key: Key,
}

impl From<Key> for Slot {
    fn from(key: Key) -> Self {
        let numbers = key.numbers();
        Self { numbers, key }
    }
}

impl Ord for Slot {
    fn cmp(&self, other: &Self) -> Ordering {
        self.numbers
            .cmp(&other.numbers)
            .then_with(|| match (self.key, other.key) {
                (Key::Port(_, _, a), Key::Port(_, _, b)) => a.cmp(&b),
                _ => Ordering::Equal,
            })
    }
}

impl Hash for Slot {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.numbers.hash(state);
    }
}

impl PartialOrd for Slot {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Key {
    fn cmp(&self, other: &Self) -> Ordering {
        Slot::from(*self).cmp(&Slot::from(*other))
    }
}

impl PartialOrd for Key {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

/// How far a question is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Phase {
    /// None is under way.
    Rest,
    /// Handed out then, not yet sent.
    Waiting(Moment),
    /// Sent then.
    Out(Moment),
}

/// The state of one lane.
#[derive(Debug, Clone, Copy)]
struct Lane {
    phase: Phase,
    /// When the next question is due: its place in [`Lanes::due`].
    due: Option<Moment>,
    /// When it is looked at whether the question is lost: its place in [`Lanes::looks`].
    look: Option<Moment>,
    taken: Option<Moment>,
    sent: Option<Moment>,
    closed: Option<Moment>,
}

impl Lane {
    const NEW: Self = Self {
        phase: Phase::Rest,
        due: None,
        look: None,
        taken: None,
        sent: None,
        closed: None,
    };

    /// When the question under way is given up.
    fn lost_at(&self) -> Option<Moment> {
        match self.phase {
            Phase::Rest => None,
            Phase::Waiting(at) => Some(at + LOST_WAITING),
            Phase::Out(at) => Some(at + LOST_SENT),
        }
    }
}

/// All lanes.
#[derive(Debug, Default)]
pub(crate) struct Lanes {
    map: Shelf<Slot, Lane>,
    due: BTreeSet<(Moment, Slot)>,
    /// When to look whether a question is lost. Most are not and leave their place here to the
    /// next, so that it changes seldom.
    looks: BTreeSet<(Moment, Slot)>,
}

impl Lanes {
    /// The next question of this lane shall go at `at`, or none shall. While one is under way
    /// nothing changes; the lane is planned again when it closes.
    pub(crate) fn want(&mut self, key: Key, at: Option<Moment>) {
        let slot = Slot::from(key);
        let lane = match at {
            Some(_) => self.map.or_insert_with(slot, || Lane::NEW),
            None => match self.map.get_mut(&slot) {
                Some(lane) => lane,
                None => return,
            },
        };
        if lane.phase == Phase::Rest && lane.due != at {
            if let Some(old) = lane.due {
                self.due.remove(&(old, slot));
            }
            lane.due = at;
            self.due.extend(at.map(|at| (at, slot)));
        }
    }

    /// Forgets a lane.
    pub(crate) fn remove(&mut self, key: Key) {
        let slot = Slot::from(key);
        if let Some(lane) = self.map.remove(&slot) {
            if let Some(at) = lane.due {
                self.due.remove(&(at, slot));
            }
            if let Some(at) = lane.look {
                self.looks.remove(&(at, slot));
            }
        }
    }

    /// Forgets all lanes.
    pub(crate) fn clear(&mut self) {
        self.map.clear();
        self.due.clear();
        self.looks.clear();
    }

    /// Whether there is such a lane.
    pub(crate) fn has(&self, key: Key) -> bool {
        self.map.contains_key(&key.into())
    }

    /// Whether a question of it is handed out and not closed.
    pub(crate) fn busy(&self, key: Key) -> bool {
        self.map.get(&key.into()).is_some_and(|l| l.phase != Phase::Rest)
    }

    /// When the question left that is under way.
    pub(crate) fn out_since(&self, key: Key) -> Option<Moment> {
        match self.map.get(&key.into())?.phase {
            Phase::Out(at) => Some(at),
            Phase::Rest | Phase::Waiting(_) => None,
        }
    }

    /// When its next question is due.
    pub(crate) fn due_at(&self, key: Key) -> Option<Moment> {
        self.map.get(&key.into()).and_then(|l| l.due)
    }

    /// When its last question was closed.
    pub(crate) fn closed_at(&self, key: Key) -> Option<Moment> {
        self.map.get(&key.into()).and_then(|l| l.closed)
    }

    /// When its last question left.
    pub(crate) fn sent_at(&self, key: Key) -> Option<Moment> {
        self.map.get(&key.into()).and_then(|l| l.sent)
    }

    /// When its last question was handed out or left.
    pub(crate) fn used_at(&self, key: Key) -> Option<Moment> {
        self.map.get(&key.into()).and_then(|l| l.sent.max(l.taken))
    }

    /// When any question was last handed out or left.
    pub(crate) fn latest(&self) -> Option<Moment> {
        self.map.values().filter_map(|l| l.sent.max(l.taken)).max()
    }

    /// The MACs that `address` has unicast lanes to.
    pub(crate) fn unicasts(&self, address: Ipv4Addr) -> impl Iterator<Item = Mac> {
        let [from, to] = [Mac::ZERO, Mac::BROADCAST].map(|mac| Slot::from(Key::Unicast(address, mac)));
        self.map.keys_in(from..=to).filter_map(|slot| match slot.key {
            Key::Unicast(_, mac) => Some(mac),
            _ => None,
        })
    }

    /// The MACs that `address` has lanes of any sort to.
    pub(crate) fn about(&self, address: Ipv4Addr) -> impl Iterator<Item = Mac> {
        let [from, to] = [Mac::ZERO, Mac::BROADCAST].map(|mac| Slot::from(Key::EchoTo(address, mac)));
        let echoes = self.map.keys_in(from..=to).filter_map(|slot| match slot.key {
            Key::EchoTo(_, mac) => Some(mac),
            _ => None,
        });
        self.unicasts(address).chain(echoes)
    }

    /// Hands out one question that is due.
    pub(crate) fn take(&mut self, now: Moment) -> Option<Key> {
        let &(at, slot) = self.due.first()?;
        if at > now {
            return None;
        }
        self.due.pop_first();
        let key = slot.key;
        if let Some(lane) = self.map.get_mut(&slot) {
            lane.due = None;
            lane.phase = Phase::Waiting(now);
            lane.taken = Some(now);
            if lane.look.is_none() {
                // No question is lost earlier, however soon it leaves.
                let look = step_from(now + LOST_SENT);
                lane.look = Some(look);
                self.looks.insert((look, slot));
            }
        }
        if matches!(key, Key::Pass(_) | Key::Dhcp | Key::Roll(_)) {
            // These tell their own progress and may take minutes; nobody has to answer a roll call.
            self.remove(key);
        }
        Some(key)
    }

    /// A question that was just handed out is not asked yet, but at `at`.
    pub(crate) fn put_back(&mut self, key: Key, at: Moment) {
        let slot = Slot::from(key);
        if let Some(lane) = self.map.get_mut(&slot) {
            lane.phase = Phase::Rest;
            lane.taken = None;
            lane.due = Some(at);
            self.due.insert((at, slot));
        }
    }

    /// A question left, if one is under way.
    pub(crate) fn sent(&mut self, key: Key, at: Moment) {
        if let Some(lane) = self.map.get_mut(&key.into())
            && lane.phase != Phase::Rest
        {
            lane.phase = Phase::Out(at);
            lane.sent = Some(at);
        }
    }

    /// The question was answered, or the time for an answer is over. `false` if none was under way.
    pub(crate) fn close(&mut self, key: Key, at: Moment) -> bool {
        let Some(lane) = self.map.get_mut(&key.into()) else {
            return false;
        };
        if lane.phase == Phase::Rest {
            return false;
        }
        lane.phase = Phase::Rest;
        lane.closed = Some(at);
        true
    }

    /// Closes one question of which nothing was told for too long.
    pub(crate) fn close_lost(&mut self, now: Moment) -> Option<Key> {
        while let Some(&(at, slot)) = self.looks.first() {
            if at > now {
                break;
            }
            self.looks.pop_first();
            let lost = self.map.get(&slot).and_then(Lane::lost_at).map(step_from);
            let look = lost.filter(|at| *at > now);
            if let Some(lane) = self.map.get_mut(&slot) {
                lane.look = look;
            }
            self.looks.extend(look.map(|at| (at, slot)));
            if look.is_none() && self.close(slot.key, now) {
                return Some(slot.key);
            }
        }
        None
    }

    /// When a question is next due.
    pub(crate) fn next_due(&self) -> Option<Moment> {
        self.due.first().map(|(at, _)| *at)
    }

    /// When it is next looked at whether a question is lost.
    pub(crate) fn next_look(&self) -> Option<Moment> {
        self.looks.first().map(|(at, _)| *at)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const KEY: Key = Key::Broadcast(Ipv4Addr::new(10, 40, 8, 21));

    #[test]
    fn nothing_more_is_handed_out_while_one_is_under_way() {
        let mut lanes = Lanes::default();
        lanes.want(KEY, Some(Moment::ZERO));
        assert_eq!(lanes.take(Moment::ZERO), Some(KEY));
        lanes.want(KEY, Some(Moment::ZERO));
        assert_eq!(lanes.take(Moment::from_secs(9)), None);
        lanes.sent(KEY, Moment::from_secs(9));
        lanes.want(KEY, Some(Moment::ZERO));
        assert_eq!(lanes.take(Moment::from_secs(9)), None);
        assert!(lanes.close(KEY, Moment::from_secs(10)) && !lanes.close(KEY, Moment::from_secs(10)));
        lanes.want(KEY, Some(Moment::from_secs(11)));
        assert_eq!(lanes.take(Moment::from_secs(11)), Some(KEY));
    }

    #[test]
    fn a_question_lost_by_the_way_frees_its_lane() {
        let mut lanes = Lanes::default();
        lanes.want(KEY, Some(Moment::ZERO));
        lanes.take(Moment::ZERO);
        assert_eq!(lanes.close_lost(Moment::from_secs(59)), None);
        assert_eq!(lanes.close_lost(Moment::from_secs(60)), Some(KEY));
        assert!(!lanes.busy(KEY));
    }

    #[test]
    fn a_question_that_left_and_is_never_told_of_frees_its_lane_sooner() {
        let mut lanes = Lanes::default();
        lanes.want(KEY, Some(Moment::ZERO));
        lanes.take(Moment::ZERO);
        lanes.sent(KEY, Moment::from_secs(5));
        assert_eq!(lanes.next_look(), Some(Moment::from_secs(15)));
        assert_eq!(lanes.close_lost(Moment::from_millis(19_999)), None);
        assert_eq!(lanes.next_look(), Some(Moment::from_secs(20)));
        assert_eq!(lanes.close_lost(Moment::from_secs(20)), Some(KEY));
        assert_eq!(lanes.next_look(), None);
    }

    #[test]
    fn a_closed_question_is_not_lost_and_the_next_has_its_own_time() {
        let mut lanes = Lanes::default();
        for at in [0, 10] {
            let at = Moment::from_secs(at);
            lanes.want(KEY, Some(at));
            lanes.take(at);
            lanes.sent(KEY, at);
            lanes.close(KEY, at);
        }
        assert_eq!(lanes.close_lost(Moment::from_secs(15)), None);
        assert_eq!(lanes.next_look(), None);
        lanes.remove(KEY);
        assert_eq!((lanes.next_due(), lanes.has(KEY)), (None, false));
    }

    #[test]
    fn keys_are_told_apart_by_all_that_they_hold() {
        let a = Ipv4Addr::new(10, 40, 8, 21);
        let b = Ipv4Addr::new(10, 40, 8, 22);
        let port = |word: &str| word.parse::<ControlPort>().unwrap();
        let all = [
            Key::Broadcast(a),
            Key::Broadcast(b),
            Key::Nobody(a),
            Key::Unicast(a, Mac::ZERO),
            Key::Unicast(a, Mac::BROADCAST),
            Key::Unicast(b, Mac::ZERO),
            Key::Port(a, None, port("http")),
            Key::Port(a, None, port("http:8080")),
            Key::Port(a, Some(Mac::ZERO), port("http")),
            Key::Echo(a),
            Key::EchoTo(a, Mac::ZERO),
            Key::EchoTo(a, Mac::BROADCAST),
            Key::Pass(PassId(0)),
            Key::Pass(PassId(1)),
        ];
        for (i, x) in all.iter().enumerate() {
            for (j, y) in all.iter().enumerate() {
                assert_eq!(x.cmp(y) == Ordering::Equal, i == j, "{x:?} {y:?}");
                assert_eq!(x.cmp(y), y.cmp(x).reverse());
            }
        }
    }
}

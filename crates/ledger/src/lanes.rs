//! Questions on their way: each kind of question about one address has a lane with at most one
//! under way, and the next is due only when that one is sent and closed. So a slow pace makes
//! questions rarer, and never looks like loss.

use std::collections::BTreeMap;
use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{ControlPort, Mac, Moment, PassId};

use crate::agenda::Agenda;

/// A question that has not left after this long is taken as lost by the way.
const LOST_WAITING: Duration = Duration::from_mins(1);
/// A question that left and of which no end was told after this long is closed by us.
const LOST_SENT: Duration = Duration::from_secs(15);

/// One kind of question about one address.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
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
    /// A pass over a range.
    Pass(PassId),
}

/// How far a question is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Phase {
    /// None is under way.
    Rest,
    /// Handed out, not yet sent.
    Waiting,
    /// Sent then.
    Out(Moment),
}

/// The state of one lane.
#[derive(Debug, Clone, Copy)]
struct Lane {
    phase: Phase,
    sent: Option<Moment>,
    closed: Option<Moment>,
}

/// All lanes.
#[derive(Debug, Default)]
pub(crate) struct Lanes {
    map: BTreeMap<Key, Lane>,
    due: Agenda<Key>,
    lost: Agenda<Key>,
}

impl Lanes {
    /// The next question of this lane shall go at `at`, or none shall. While one is under way
    /// nothing changes; the lane is planned again when it closes.
    pub(crate) fn want(&mut self, key: Key, at: Option<Moment>) {
        let lane = match at {
            Some(_) => self.map.entry(key).or_insert(Lane {
                phase: Phase::Rest,
                sent: None,
                closed: None,
            }),
            None => match self.map.get_mut(&key) {
                Some(lane) => lane,
                None => return,
            },
        };
        if lane.phase == Phase::Rest {
            self.due.set(key, at);
        }
    }

    /// Forgets a lane.
    pub(crate) fn remove(&mut self, key: Key) {
        self.map.remove(&key);
        self.due.set(key, None);
        self.lost.set(key, None);
    }

    /// Forgets all lanes.
    pub(crate) fn clear(&mut self) {
        self.map.clear();
        self.due.clear();
        self.lost.clear();
    }

    /// Whether there is such a lane.
    pub(crate) fn has(&self, key: Key) -> bool {
        self.map.contains_key(&key)
    }

    /// Whether a question of it is handed out and not closed.
    pub(crate) fn busy(&self, key: Key) -> bool {
        self.map.get(&key).is_some_and(|l| l.phase != Phase::Rest)
    }

    /// When its next question is due.
    pub(crate) fn due_at(&self, key: Key) -> Option<Moment> {
        self.due.get(key)
    }

    /// When its last question was closed.
    pub(crate) fn closed_at(&self, key: Key) -> Option<Moment> {
        self.map.get(&key).and_then(|l| l.closed)
    }

    /// When its last question left.
    pub(crate) fn sent_at(&self, key: Key) -> Option<Moment> {
        self.map.get(&key).and_then(|l| l.sent)
    }

    /// The MACs that `address` has unicast lanes to.
    pub(crate) fn unicasts(&self, address: Ipv4Addr) -> impl Iterator<Item = Mac> {
        let all = Key::Unicast(address, Mac::ZERO)..=Key::Unicast(address, Mac::BROADCAST);
        self.map.range(all).filter_map(|(k, _)| match k {
            Key::Unicast(_, mac) => Some(*mac),
            _ => None,
        })
    }

    /// Hands out one question that is due.
    pub(crate) fn take(&mut self, now: Moment) -> Option<Key> {
        let key = self.due.pop_due(now)?;
        if let Some(lane) = self.map.get_mut(&key) {
            lane.phase = Phase::Waiting;
            self.lost.set(key, Some(now + LOST_WAITING));
        }
        if matches!(key, Key::Pass(_)) {
            // A pass tells its own progress and may take minutes.
            self.remove(key);
        }
        Some(key)
    }

    /// A question left.
    pub(crate) fn sent(&mut self, key: Key, at: Moment) {
        if let Some(lane) = self.map.get_mut(&key) {
            lane.phase = Phase::Out(at);
            lane.sent = Some(at);
            self.due.set(key, None);
            self.lost.set(key, Some(at + LOST_SENT));
        }
    }

    /// The question was answered, or the time for an answer is over. `false` if none was under way.
    pub(crate) fn close(&mut self, key: Key, at: Moment) -> bool {
        let Some(lane) = self.map.get_mut(&key) else {
            return false;
        };
        if lane.phase == Phase::Rest {
            return false;
        }
        lane.phase = Phase::Rest;
        lane.closed = Some(at);
        self.lost.set(key, None);
        true
    }

    /// Closes one question of which nothing was told for too long.
    pub(crate) fn close_lost(&mut self, now: Moment) -> Option<Key> {
        let key = self.lost.pop_due(now)?;
        self.close(key, now);
        Some(key)
    }

    /// When a question is next due.
    pub(crate) fn next_due(&self) -> Option<Moment> {
        self.due.first()
    }

    /// When a question would next be given up.
    pub(crate) fn next_lost(&self) -> Option<Moment> {
        self.lost.first()
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
}

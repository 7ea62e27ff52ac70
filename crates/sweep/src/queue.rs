//! What waits to be sent: by rank, then in the order of asking, each question once.

use core::net::Ipv4Addr;
use std::collections::BTreeMap;

use vocab::{ArpForm, Mac, Moment, PassId, Rank, Trial};

use crate::names::Call;

/// The most single questions that wait at one time.
pub(crate) const QUEUE_MAX: usize = 8_192;

/// A question without its circumstances: two alike are one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Item {
    /// Who holds the address?
    Arp(Ipv4Addr, ArpForm),
    /// Are you there?
    Echo(Ipv4Addr, Option<Mac>),
    /// An echo of a cable check.
    Trial(Ipv4Addr, Option<Mac>, Trial),
    /// Does nobody hold the address, so that it can be borrowed?
    Borrow(Ipv4Addr),
    /// The next try of a control job.
    Control(u64),
    /// Which DHCP servers are there?
    Discover,
    /// What is everybody called?
    Call(Call),
}

impl Item {
    /// Whether somebody waits for it who would wait for ever if it made room. There are few of them.
    const fn stays(self) -> bool {
        matches!(
            self,
            Self::Borrow(_) | Self::Control(_) | Self::Discover | Self::Trial(..)
        )
    }
}

/// Whether the sustained rate of broadcasts holds it back.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Lane {
    /// Only the pace does.
    Plain,
    /// A broadcast of watching.
    Watch,
}

/// A question that waits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Entry {
    /// What to ask.
    pub(crate) item: Item,
    /// Who goes first.
    pub(crate) rank: Rank,
    /// What holds it back.
    pub(crate) lane: Lane,
    /// Passes that it belongs to.
    pub(crate) passes: Vec<PassId>,
    /// How often the port would not send it.
    pub(crate) failures: u8,
    seq: u64,
}

type Key = (Rank, Lane, u64);

#[derive(Debug, Clone, Copy)]
enum Place {
    Ready(Key),
    Held(Moment, u64),
}

/// All that waits.
#[derive(Debug, Default)]
pub(crate) struct Queue {
    ready: BTreeMap<Key, Entry>,
    held: BTreeMap<(Moment, u64), Entry>,
    places: BTreeMap<Item, Place>,
    next_seq: u64,
}

impl Queue {
    /// Whether another question finds room.
    pub(crate) fn has_room(&self) -> bool {
        self.places.len() < QUEUE_MAX
    }

    /// Adds a question. One that waits already keeps its place, or moves up if it is now asked at
    /// a better rank or out of a better allowance. When all is full a lower rank makes room.
    /// False if it found none.
    pub(crate) fn push(&mut self, item: Item, rank: Rank, lane: Lane) -> bool {
        match self.places.get(&item).copied() {
            Some(Place::Ready(old)) => {
                if (rank, lane) < (old.0, old.1)
                    && let Some(mut entry) = self.ready.remove(&old)
                {
                    entry.rank = rank.min(old.0);
                    entry.lane = lane.min(old.1);
                    self.place(entry);
                }
                return true;
            }
            Some(Place::Held(until, seq)) => {
                if let Some(entry) = self.held.get_mut(&(until, seq)) {
                    entry.rank = entry.rank.min(rank);
                    entry.lane = entry.lane.min(lane);
                }
                return true;
            }
            None => {}
        }
        if !self.has_room() && !self.make_room(rank) {
            return false;
        }
        let entry = self.entry(item, rank, lane);
        self.place(entry);
        true
    }

    /// Adds a question whose number is bounded elsewhere, full or not.
    pub(crate) fn push_always(&mut self, item: Item, rank: Rank, lane: Lane) {
        if !self.places.contains_key(&item) {
            let entry = self.entry(item, rank, lane);
            self.place(entry);
        }
    }

    /// A new entry, not yet in the queue.
    pub(crate) fn entry(&mut self, item: Item, rank: Rank, lane: Lane) -> Entry {
        self.next_seq += 1;
        Entry {
            item,
            rank,
            lane,
            passes: Vec::new(),
            failures: 0,
            seq: self.next_seq,
        }
    }

    /// Makes a waiting question part of a pass. False if it does not wait.
    pub(crate) fn join(&mut self, item: Item, pass: PassId) -> bool {
        let entry = match self.places.get(&item) {
            Some(Place::Ready(key)) => self.ready.get_mut(key),
            Some(Place::Held(until, seq)) => self.held.get_mut(&(*until, *seq)),
            None => None,
        };
        entry.map(|e| e.passes.push(pass)).is_some()
    }

    fn make_room(&mut self, rank: Rank) -> bool {
        let lower = self.ready.iter().rev().take_while(|(key, _)| key.0 > rank);
        let last = lower
            .map(|(key, entry)| (*key, entry))
            .find(|(_, e)| !e.item.stays());
        let Some((key, _)) = last.filter(|(_, entry)| entry.passes.is_empty()) else {
            return false;
        };
        if let Some(entry) = self.ready.remove(&key) {
            self.places.remove(&entry.item);
        }
        true
    }

    fn place(&mut self, entry: Entry) {
        let key = (entry.rank, entry.lane, entry.seq);
        self.places.insert(entry.item, Place::Ready(key));
        self.ready.insert(key, entry);
    }

    /// The first of a rank and lane.
    pub(crate) fn first(&self, rank: Rank, lane: Lane) -> Option<&Entry> {
        self.ready
            .range((rank, lane, 0)..=(rank, lane, u64::MAX))
            .next()
            .map(|(_, e)| e)
    }

    /// The sequence number of `entry`: lower was asked earlier.
    pub(crate) fn order(entry: &Entry) -> u64 {
        entry.seq
    }

    /// Takes the first of a rank and lane out.
    pub(crate) fn take(&mut self, rank: Rank, lane: Lane) -> Option<Entry> {
        let key = *self
            .ready
            .range((rank, lane, 0)..=(rank, lane, u64::MAX))
            .next()?
            .0;
        let entry = self.ready.remove(&key)?;
        self.places.remove(&entry.item);
        Some(entry)
    }

    /// Puts an entry back where it was. If the same was asked again meanwhile, the two become one.
    pub(crate) fn put_back(&mut self, mut entry: Entry) {
        match self.places.get(&entry.item).copied() {
            Some(Place::Ready(key)) => {
                if let Some(other) = self.ready.remove(&key) {
                    entry.rank = entry.rank.min(other.rank);
                    entry.lane = entry.lane.min(other.lane);
                    entry.passes.extend(other.passes);
                }
                self.place(entry);
            }
            Some(Place::Held(until, seq)) => {
                if let Some(other) = self.held.get_mut(&(until, seq)) {
                    other.passes.extend(entry.passes);
                }
            }
            None => self.place(entry),
        }
    }

    /// Keeps an entry until a moment.
    pub(crate) fn hold(&mut self, entry: Entry, until: Moment) {
        self.places.insert(entry.item, Place::Held(until, entry.seq));
        self.held.insert((until, entry.seq), entry);
    }

    /// Brings back what was held until `now`.
    pub(crate) fn release_due(&mut self, now: Moment) {
        while let Some(first) = self.held.first_entry() {
            if first.key().0 > now {
                break;
            }
            let entry = first.remove();
            self.place(entry);
        }
    }

    /// Brings back what is held for one question, as its reason may have gone.
    pub(crate) fn release(&mut self, item: Item) {
        if let Some(Place::Held(until, seq)) = self.places.get(&item).copied()
            && let Some(entry) = self.held.remove(&(until, seq))
        {
            self.place(entry);
        }
    }

    /// When the next held question comes back.
    pub(crate) fn next_release(&self) -> Option<Moment> {
        self.held.first_key_value().map(|((at, _), _)| *at)
    }

    /// Forgets everything.
    pub(crate) fn clear(&mut self) {
        self.ready.clear();
        self.held.clear();
        self.places.clear();
    }

    /// How many wait.
    #[cfg(test)]
    pub(crate) fn len(&self) -> usize {
        self.places.len()
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn arp(n: u32) -> Item {
        Item::Arp(Ipv4Addr::from(0x0a28_0800 + n), ArpForm::Broadcast)
    }

    fn next(queue: &mut Queue) -> Option<Entry> {
        [Rank::Rig, Rank::Heard, Rank::Rest]
            .into_iter()
            .find_map(|rank| queue.take(rank, Lane::Plain))
    }

    #[test]
    fn the_same_question_waits_once_and_moves_up_with_a_better_rank() {
        let mut queue = Queue::default();
        assert!(queue.push(arp(1), Rank::Heard, Lane::Plain));
        assert!(queue.push(arp(2), Rank::Rest, Lane::Watch));
        assert!(queue.push(arp(2), Rank::Rig, Lane::Plain));
        assert!(queue.push(arp(2), Rank::Rest, Lane::Plain));
        assert_eq!(queue.len(), 2);
        assert_eq!(
            next(&mut queue).map(|e| (e.item, e.rank)),
            Some((arp(2), Rank::Rig))
        );
        assert_eq!(next(&mut queue).map(|e| e.item), Some(arp(1)));
        assert_eq!(next(&mut queue), None);
        assert_eq!(queue.len(), 0);
    }

    #[test]
    fn what_is_held_comes_back_in_its_old_place() {
        let mut queue = Queue::default();
        let first = queue.entry(arp(1), Rank::Rig, Lane::Plain);
        queue.hold(first, Moment::from_secs(1));
        queue.push(arp(2), Rank::Rig, Lane::Plain);
        assert_eq!(queue.next_release(), Some(Moment::from_secs(1)));
        queue.release_due(Moment::from_millis(999));
        assert_eq!(queue.first(Rank::Rig, Lane::Plain).map(|e| e.item), Some(arp(2)));
        queue.release_due(Moment::from_secs(1));
        assert_eq!(next(&mut queue).map(|e| e.item), Some(arp(1)));
    }

    #[test]
    fn a_full_queue_drops_the_lowest_rank_first() {
        let mut queue = Queue::default();
        for n in 0..QUEUE_MAX as u32 {
            assert!(queue.push(arp(n), Rank::Heard, Lane::Plain));
        }
        assert!(!queue.push(arp(70_000), Rank::Heard, Lane::Plain));
        assert!(queue.push(arp(70_000), Rank::Rig, Lane::Plain));
        assert_eq!(queue.len(), QUEUE_MAX);
        assert_eq!(next(&mut queue).map(|e| e.item), Some(arp(70_000)));
    }

    #[test]
    fn what_somebody_waits_for_makes_no_room_and_others_do_in_its_place() {
        let mut queue = Queue::default();
        for n in 0..QUEUE_MAX as u32 {
            queue.push(arp(n), Rank::Heard, Lane::Plain);
        }
        let borrow = Item::Borrow(Ipv4Addr::new(192, 168, 0, 211));
        queue.push_always(borrow, Rank::Heard, Lane::Watch);
        assert_eq!(queue.len(), QUEUE_MAX + 1);
        for n in 0..=QUEUE_MAX as u32 {
            queue.push(arp(70_000 + n), Rank::Rig, Lane::Plain);
        }
        let first = queue.first(Rank::Heard, Lane::Watch);
        assert_eq!(first.map(|e| e.item), Some(borrow));
        assert_eq!(queue.first(Rank::Heard, Lane::Plain), None, "they made room");
    }

    proptest! {
        /// By rank, then by the order of the first asking; each once.
        #[test]
        fn order_holds_for_any_asks(asks in prop::collection::vec((0_u32..40, 0_u8..3), 0..200)) {
            let mut queue = Queue::default();
            let mut expected: BTreeMap<u32, (Rank, usize)> = BTreeMap::new();
            for (i, (n, rank)) in asks.iter().enumerate() {
                let rank = [Rank::Rig, Rank::Heard, Rank::Rest][usize::from(*rank)];
                queue.push(arp(*n), rank, Lane::Plain);
                let best = expected.entry(*n).or_insert((rank, i));
                best.0 = best.0.min(rank);
            }
            let mut expected: Vec<_> = expected.into_iter().map(|(n, (rank, i))| (rank, i, arp(n))).collect();
            expected.sort();
            for (_, _, item) in expected {
                prop_assert_eq!(next(&mut queue).map(|e| e.item), Some(item));
            }
            prop_assert_eq!(next(&mut queue), None);
            prop_assert_eq!(queue.len(), 0);
        }
    }
}

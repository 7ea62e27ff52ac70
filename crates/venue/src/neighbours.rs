//! A host's table of who has which address, and what waits for an answer (RFC 826).

use std::collections::BTreeMap;
use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{Mac, Moment};

/// How long an entry is used without being confirmed (60 s, as the Linux kernel's `gc_stale_time`).
const FRESH: Duration = Duration::from_mins(1);
/// So long a new entry stands against other answers (Linux's `locktime`, 1 s by arp(7), from
/// memory): a proxy's late answer does not drive out the owner's.
const LOCKED: Duration = Duration::from_secs(1);
/// How long a host waits for an answer, and how often it asks (Linux: 1 s, three times).
const RETRY: Duration = Duration::from_secs(1);
const TRIES: u8 = 3;

/// Bounds of a table.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Room {
    /// Entries.
    known: usize,
    /// Addresses waited for.
    waited: usize,
    /// What waits for one of them.
    each: usize,
}

impl Room {
    /// A device's.
    pub(crate) const HOST: Self = Self {
        known: 64,
        waited: 16,
        each: 3,
    };
    /// A router's: as many entries as Linux keeps (`gc_thresh3`, from memory).
    pub(crate) const ROUTER: Self = Self {
        known: 1_024,
        waited: 1_024,
        each: 16,
    };
}

#[derive(Debug)]
struct Waiting<P> {
    packets: Vec<P>,
    tries: u8,
    next: Moment,
}

/// The table; `P` waits for an answer.
#[derive(Debug)]
pub(crate) struct Neighbours<P> {
    room: Room,
    known: BTreeMap<Ipv4Addr, (Mac, Moment)>,
    waiting: BTreeMap<Ipv4Addr, Waiting<P>>,
}

impl<P> Neighbours<P> {
    /// An empty table.
    pub(crate) const fn new(room: Room) -> Self {
        Self {
            room,
            known: BTreeMap::new(),
            waiting: BTreeMap::new(),
        }
    }

    /// Whether an answer about `address` is waited for, or there is an entry, however old.
    pub(crate) fn has(&self, address: Ipv4Addr) -> bool {
        self.known.contains_key(&address) || self.waiting.contains_key(&address)
    }

    /// Drops of what waits all that is not to be `kept`.
    pub(crate) fn keep(&mut self, kept: impl Fn(&P) -> bool) {
        for waiting in self.waiting.values_mut() {
            waiting.packets.retain(&kept);
        }
    }

    /// Who has `address`, if that was heard lately.
    pub(crate) fn get(&self, address: Ipv4Addr, now: Moment) -> Option<Mac> {
        self.known
            .get(&address)
            .filter(|(_, until)| *until > now)
            .map(|(mac, _)| *mac)
    }

    /// Whether there is an entry, however old, with other hardware than `mac`.
    pub(crate) fn differs(&self, address: Ipv4Addr, mac: Mac) -> bool {
        !self.known.is_empty() && self.known.get(&address).is_some_and(|(known, _)| *known != mac)
    }

    fn is_locked(&self, address: Ipv4Addr, now: Moment) -> bool {
        self.known
            .get(&address)
            .is_some_and(|(_, until)| now + FRESH < *until + LOCKED)
    }

    /// Corrects an entry that is there already, as RFC 826 wants it for every packet that passes.
    /// One that was right is not made fresher by that: only its own answer confirms it.
    pub(crate) fn correct(&mut self, address: Ipv4Addr, mac: Mac, now: Moment) {
        if self.differs(address, mac) && !self.is_locked(address, now) {
            self.known.insert(address, (mac, now + FRESH));
        }
    }

    /// Enters a pair and hands over the packets that waited for it.
    pub(crate) fn learn(&mut self, address: Ipv4Addr, mac: Mac, now: Moment) -> Vec<P> {
        if self.known.len() >= self.room.known && !self.known.contains_key(&address) {
            let oldest = self
                .known
                .iter()
                .min_by_key(|(_, (_, until))| *until)
                .map(|(a, _)| *a);
            if let Some(oldest) = oldest {
                self.known.remove(&oldest);
            }
        }
        if !(self.differs(address, mac) && self.is_locked(address, now)) {
            self.known.insert(address, (mac, now + FRESH));
        }
        self.waiting.remove(&address).map_or_else(Vec::new, |w| w.packets)
    }

    /// Lets `packet` wait for an answer. True if `address` has to be asked for now.
    pub(crate) fn wait(&mut self, address: Ipv4Addr, packet: P, now: Moment) -> bool {
        if let Some(waiting) = self.waiting.get_mut(&address) {
            if waiting.packets.len() == self.room.each {
                waiting.packets.remove(0);
            }
            waiting.packets.push(packet);
            return false;
        }
        if self.waiting.len() >= self.room.waited {
            return false;
        }
        let waiting = Waiting {
            packets: vec![packet],
            tries: 1,
            next: now + RETRY,
        };
        self.waiting.insert(address, waiting);
        true
    }

    /// The addresses to be asked for again; those asked often enough are given up.
    pub(crate) fn retry(&mut self, now: Moment) -> Vec<Ipv4Addr> {
        self.waiting.retain(|_, w| w.next > now || w.tries < TRIES);
        let mut again = Vec::new();
        for (address, waiting) in &mut self.waiting {
            if waiting.next <= now {
                waiting.tries += 1;
                waiting.next = now + RETRY;
                again.push(*address);
            }
        }
        again
    }

    /// When [`Neighbours::retry`] has something to do.
    pub(crate) fn due(&self) -> Option<Moment> {
        self.waiting.values().map(|w| w.next).min()
    }

    /// Forgets everything.
    pub(crate) fn clear(&mut self) {
        *self = Self::new(self.room);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const A: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);

    fn mac(n: u8) -> Mac {
        Mac::new([0x02, 0x52, 0x43, 0, 0, n])
    }

    #[test]
    fn packets_wait_for_the_answer_and_are_given_up_after_three_tries() {
        let mut table: Neighbours<Vec<u8>> = Neighbours::new(Room::HOST);
        assert!(table.wait(A, vec![1], Moment::ZERO));
        for n in 2..=4 {
            assert!(!table.wait(A, vec![n], Moment::ZERO));
        }
        assert_eq!(table.retry(Moment::from_secs(1)), [A]);
        assert_eq!(table.learn(A, mac(1), Moment::from_secs(1)), [[2], [3], [4]]);
        assert!(table.wait(A, vec![9], Moment::from_secs(2)));
        assert_eq!(table.retry(Moment::from_secs(3)), [A]);
        assert_eq!(table.retry(Moment::from_secs(4)), [A]);
        assert!(table.retry(Moment::from_secs(5)).is_empty());
        assert_eq!(table.due(), None);
    }

    #[test]
    fn entries_grow_stale_and_only_known_ones_are_corrected() {
        let mut table: Neighbours<Vec<u8>> = Neighbours::new(Room::HOST);
        table.correct(A, mac(1), Moment::ZERO);
        assert_eq!(table.get(A, Moment::ZERO), None);
        table.learn(A, mac(1), Moment::ZERO);
        table.correct(A, mac(2), Moment::from_secs(30));
        assert_eq!(table.get(A, Moment::from_secs(89)), Some(mac(2)));
        assert_eq!(table.get(A, Moment::from_secs(90)), None);
    }

    #[test]
    fn a_late_second_answer_does_not_drive_out_the_first() {
        let mut table: Neighbours<Vec<u8>> = Neighbours::new(Room::HOST);
        table.learn(A, mac(1), Moment::ZERO);
        table.learn(A, mac(2), Moment::from_millis(800));
        assert_eq!(table.get(A, Moment::from_secs(1)), Some(mac(1)));
        table.learn(A, mac(2), Moment::from_millis(1000));
        assert_eq!(table.get(A, Moment::from_secs(1)), Some(mac(2)));
    }

    #[test]
    fn the_table_is_bounded() {
        let mut table: Neighbours<Vec<u8>> = Neighbours::new(Room::HOST);
        for n in 0..1000_u32 {
            table.learn(Ipv4Addr::from(n), mac(1), Moment::from_secs(u64::from(n)));
            table.wait(Ipv4Addr::from(n), vec![0; 9], Moment::ZERO);
        }
        assert!(table.known.len() <= Room::HOST.known && table.waiting.len() <= Room::HOST.waited);
        assert!(table.get(Ipv4Addr::from(999), Moment::from_secs(1000)).is_some());
    }
}

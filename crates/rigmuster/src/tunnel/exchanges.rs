//! Exchanges of datagrams: which client of which port is carried by which flow.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::time::Duration;

use link::DialId;
use vocab::Moment;

/// The most exchanges at one time; one more takes the place of the one that was quiet longest.
pub(crate) const MOST: usize = 32;
/// An exchange that is quiet for so long is over.
const IDLE: Duration = Duration::from_mins(1);

/// A port of the device, and the client that speaks with it.
pub(crate) type Key = (u16, SocketAddr);

/// The table.
#[derive(Debug, Default)]
pub(crate) struct Exchanges(BTreeMap<Key, (DialId, Moment)>);

impl Exchanges {
    /// The flow of an exchange in which something happens now.
    pub(crate) fn touch(&mut self, now: Moment, key: Key) -> Option<DialId> {
        let (id, last) = self.0.get_mut(&key)?;
        *last = now;
        Some(*id)
    }

    /// A new one. The flow that must make room for it, if one must.
    pub(crate) fn put(&mut self, now: Moment, key: Key, id: DialId) -> Option<DialId> {
        let full = self.0.len() >= MOST && !self.0.contains_key(&key);
        let oldest = self.0.iter().min_by_key(|(_, (_, last))| *last);
        let oldest = oldest.map(|(key, _)| *key).filter(|_| full);
        let removed = oldest.and_then(|key| self.0.remove(&key)).map(|(id, _)| id);
        let replaced = self.0.insert(key, (id, now)).map(|(id, _)| id);
        removed.or(replaced)
    }

    /// All of them.
    pub(crate) fn all(&self) -> impl Iterator<Item = (Key, DialId)> {
        self.0.iter().map(|(key, (id, _))| (*key, *id))
    }

    /// How many there are.
    pub(crate) fn len(&self) -> usize {
        self.0.len()
    }

    /// Those that are over now.
    pub(crate) fn expire(&mut self, now: Moment) -> Vec<DialId> {
        let over = |last: Moment| now >= last + IDLE;
        let ids = self.0.values().filter(|(_, last)| over(*last)).map(|(id, _)| *id);
        let ids = ids.collect();
        self.0.retain(|_, (_, last)| !over(*last));
        ids
    }

    /// Forgets them all.
    pub(crate) fn clear(&mut self) {
        self.0.clear();
    }

    /// When the next is over.
    pub(crate) fn next_wake(&self) -> Option<Moment> {
        self.0.values().map(|(_, last)| *last + IDLE).min()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(n: u16) -> Key {
        (52_381, SocketAddr::from(([127, 0, 0, 1], n)))
    }

    #[test]
    fn an_exchange_lives_while_something_happens_in_it() {
        let mut table = Exchanges::default();
        let at = Moment::from_secs;
        assert_eq!(table.touch(at(0), key(1)), None);
        assert_eq!(table.put(at(0), key(1), DialId(1)), None);
        assert_eq!(table.put(at(10), key(2), DialId(2)), None);
        assert_eq!(table.next_wake(), Some(at(60)));
        assert_eq!(table.touch(at(50), key(1)), Some(DialId(1)));
        assert_eq!(table.expire(at(69)), []);
        assert_eq!(table.expire(at(70)), [DialId(2)]);
        assert_eq!(table.expire(at(110)), [DialId(1)]);
        assert_eq!((table.len(), table.next_wake()), (0, None));
    }

    #[test]
    fn one_too_many_takes_the_place_of_the_quietest() {
        let mut table = Exchanges::default();
        for n in 0..MOST as u16 {
            table.put(Moment::from_secs(u64::from(n)), key(n), DialId(u64::from(n)));
        }
        table.touch(Moment::from_secs(40), key(0));
        assert_eq!(
            table.put(Moment::from_secs(41), key(99), DialId(99)),
            Some(DialId(1))
        );
        assert_eq!(table.len(), MOST);
        assert_eq!(
            table.put(Moment::from_secs(42), key(99), DialId(100)),
            Some(DialId(99))
        );
        assert_eq!(table.len(), MOST);
    }
}

//! A map that is searched in one step and gone through in order.
//!
//! Every sighting is looked up some thirty times, and in an ordered map of thousands each time costs a walk down
//! a tree. Order is needed where all are gone through, so that the same sightings always lead to the same
//! verdicts, and seldom. So values are found by hash, and the keys stand in order beside them. Hashes are salted
//! anew in each run: nobody on the wire can choose keys that collide, and no order follows from them.

use core::borrow::Borrow;
use core::hash::Hash;
use core::ops::RangeBounds;
use std::collections::{BTreeSet, HashMap};

use foldhash::fast::RandomState;

/// The map.
#[derive(Debug, Clone)]
pub(crate) struct Shelf<K, V> {
    found: HashMap<K, V, RandomState>,
    order: BTreeSet<K>,
}

impl<K, V> Default for Shelf<K, V> {
    fn default() -> Self {
        Self {
            found: HashMap::default(),
            order: BTreeSet::new(),
        }
    }
}

impl<K: Copy + Ord + Hash, V> Shelf<K, V> {
    /// The value of `key`.
    pub(crate) fn get(&self, key: &K) -> Option<&V> {
        self.found.get(key)
    }

    /// The value of `key`, to be changed.
    pub(crate) fn get_mut(&mut self, key: &K) -> Option<&mut V> {
        self.found.get_mut(key)
    }

    /// Whether there is a value of `key`.
    pub(crate) fn contains_key(&self, key: &K) -> bool {
        self.found.contains_key(key)
    }

    /// The value of `key`, made now if there is none.
    pub(crate) fn or_insert_with(&mut self, key: K, make: impl FnOnce() -> V) -> &mut V {
        self.found.entry(key).or_insert_with(|| {
            self.order.insert(key);
            make()
        })
    }

    /// Puts a value in place of what `key` had.
    pub(crate) fn insert(&mut self, key: K, value: V) {
        if self.found.insert(key, value).is_none() {
            self.order.insert(key);
        }
    }

    /// Takes the value of `key` out.
    pub(crate) fn remove(&mut self, key: &K) -> Option<V> {
        let value = self.found.remove(key)?;
        self.order.remove(key);
        Some(value)
    }

    /// Takes everything out.
    pub(crate) fn clear(&mut self) {
        self.found.clear();
        self.order.clear();
    }

    /// How many there are.
    pub(crate) fn len(&self) -> usize {
        self.found.len()
    }

    /// All keys, in order.
    pub(crate) fn keys(&self) -> impl Iterator<Item = &K> {
        self.order.iter()
    }

    /// The keys in a range, in order.
    pub(crate) fn keys_in(&self, range: impl RangeBounds<K>) -> impl Iterator<Item = &K> {
        self.order.range(range)
    }

    /// All of them, in the order of their keys.
    pub(crate) fn iter(&self) -> impl Iterator<Item = (&K, &V)> {
        self.order.iter().filter_map(|key| self.found.get_key_value(key))
    }

    /// All values, in the order of their keys.
    pub(crate) fn values(&self) -> impl Iterator<Item = &V> {
        self.order.iter().filter_map(|key| self.found.get(key))
    }

    /// Shows every value to `change`, in the order of their keys.
    pub(crate) fn each_mut(&mut self, mut change: impl FnMut(&mut V)) {
        for key in &self.order {
            if let Some(value) = self.found.get_mut(key.borrow()) {
                change(value);
            }
        }
    }
}

impl<K: Copy + Ord + Hash, V> FromIterator<(K, V)> for Shelf<K, V> {
    /// The later of two with the same key stays.
    fn from_iter<I: IntoIterator<Item = (K, V)>>(all: I) -> Self {
        let mut shelf = Self::default();
        for (key, value) in all {
            shelf.insert(key, value);
        }
        shelf
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use proptest::prelude::*;

    use super::*;

    proptest! {
        /// The same as an ordered map, whatever is put in and taken out.
        #[test]
        fn it_agrees_with_an_ordered_map(steps in prop::collection::vec((0_u8..3, 0_u32..20, 0_u32..100), 0..200)) {
            let mut shelf = Shelf::default();
            let mut map = BTreeMap::new();
            for (what, key, value) in steps {
                match what {
                    0 => {
                        shelf.insert(key, value);
                        map.insert(key, value);
                    }
                    1 => prop_assert_eq!(shelf.remove(&key), map.remove(&key)),
                    _ => {
                        let (a, b) = (shelf.or_insert_with(key, || value), map.entry(key).or_insert(value));
                        *a += 1;
                        *b += 1;
                    }
                }
                prop_assert_eq!(shelf.get(&key), map.get(&key));
                prop_assert_eq!(shelf.len(), map.len());
            }
            prop_assert!(shelf.iter().eq(&map));
            prop_assert!(shelf.keys().eq(map.keys()) && shelf.values().eq(map.values()));
            prop_assert!(shelf.keys_in(5..=9).eq(map.range(5..=9).map(|(k, _)| k)));
            let mut seen = Vec::new();
            shelf.each_mut(|value| seen.push(*value));
            prop_assert!(seen.iter().eq(map.values()));
        }
    }
}

//! Things to do, each with its time.

use std::collections::{BTreeMap, BTreeSet};

use vocab::Moment;

/// A set of items, each due at one moment.
#[derive(Debug, Clone)]
pub(crate) struct Agenda<T> {
    by_time: BTreeSet<(Moment, T)>,
    at: BTreeMap<T, Moment>,
}

impl<T: Ord + Copy> Default for Agenda<T> {
    fn default() -> Self {
        Self {
            by_time: BTreeSet::new(),
            at: BTreeMap::new(),
        }
    }
}

impl<T: Ord + Copy> Agenda<T> {
    /// Puts `item` at `at` in place of its earlier time, or takes it off.
    pub(crate) fn set(&mut self, item: T, at: Option<Moment>) {
        let old = match at {
            Some(at) => self.at.insert(item, at),
            None => self.at.remove(&item),
        };
        if old == at {
            return;
        }
        if let Some(old) = old {
            self.by_time.remove(&(old, item));
        }
        if let Some(at) = at {
            self.by_time.insert((at, item));
        }
    }

    /// When `item` is due.
    pub(crate) fn get(&self, item: T) -> Option<Moment> {
        self.at.get(&item).copied()
    }

    /// The first time at which anything is due.
    pub(crate) fn first(&self) -> Option<Moment> {
        self.by_time.first().map(|(at, _)| *at)
    }

    /// Takes off one item that is due at `now`.
    pub(crate) fn pop_due(&mut self, now: Moment) -> Option<T> {
        let &(at, item) = self.by_time.first()?;
        if at > now {
            return None;
        }
        self.by_time.pop_first();
        self.at.remove(&item);
        Some(item)
    }

    /// Takes off everything.
    pub(crate) fn clear(&mut self) {
        self.by_time.clear();
        self.at.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_latest_time_of_an_item_holds_and_each_is_taken_once() {
        let mut agenda = Agenda::default();
        agenda.set('a', Some(Moment::from_secs(5)));
        agenda.set('b', Some(Moment::from_secs(2)));
        agenda.set('a', Some(Moment::from_secs(1)));
        assert_eq!(agenda.first(), Some(Moment::from_secs(1)));
        assert_eq!(agenda.pop_due(Moment::from_secs(1)), Some('a'));
        assert_eq!(agenda.pop_due(Moment::from_secs(1)), None);
        agenda.set('b', None);
        assert_eq!(agenda.first(), None);
    }
}

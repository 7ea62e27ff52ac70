//! The addresses whose answers decide a verdict.

use std::net::Ipv4Addr;

use crate::asking::target::Target;
use crate::shelf::Shelf;

/// All of them, each with its address.
#[derive(Debug, Default)]
pub(crate) struct Targets {
    all: Shelf<Ipv4Addr, Target>,
    /// How many of them are unanswered: asked for at every plan of such a one, so it is kept.
    unanswered: usize,
}

#[expect(
    clippy::trivially_copy_pass_by_ref,
    reason = "asked as any map is, whose place it takes"
)]
impl Targets {
    /// That at `address`.
    pub(crate) fn get(&self, address: &Ipv4Addr) -> Option<&Target> {
        self.all.get(address)
    }

    /// Whether `address` matters.
    pub(crate) fn contains_key(&self, address: &Ipv4Addr) -> bool {
        self.all.contains_key(address)
    }

    /// How many there are.
    pub(crate) fn len(&self) -> usize {
        self.all.len()
    }

    /// How many of them are asked for in vain.
    pub(crate) const fn unanswered(&self) -> usize {
        self.unanswered
    }

    /// Their addresses, in order.
    pub(crate) fn keys(&self) -> impl Iterator<Item = &Ipv4Addr> {
        self.all.keys()
    }

    /// All, in the order of their addresses.
    pub(crate) fn values(&self) -> impl Iterator<Item = &Target> {
        self.all.values()
    }

    /// Puts one in place of what stood at its address.
    pub(crate) fn insert(&mut self, target: Target) {
        self.remove(&target.address);
        self.unanswered += usize::from(target.unanswered);
        self.all.insert(target.address, target);
    }

    /// Takes one out.
    pub(crate) fn remove(&mut self, address: &Ipv4Addr) {
        let gone = self.all.remove(address);
        self.unanswered -= usize::from(gone.is_some_and(|t| t.unanswered));
    }

    /// Takes all out, in the order of their addresses.
    pub(crate) fn take_all(&mut self) -> Vec<Target> {
        let all = self.values().cloned().collect();
        self.clear();
        all
    }

    /// Forgets all.
    pub(crate) fn clear(&mut self) {
        self.all.clear();
        self.unanswered = 0;
    }

    /// Changes that at `address`; `None` if there is none.
    pub(crate) fn change<R>(
        &mut self,
        address: &Ipv4Addr,
        change: impl FnOnce(&mut Target) -> R,
    ) -> Option<R> {
        let target = self.all.get_mut(address)?;
        self.unanswered -= usize::from(target.unanswered);
        let result = change(target);
        self.unanswered += usize::from(target.unanswered);
        Some(result)
    }

    /// A pass over all of them begins at `at`.
    pub(crate) fn pass_begins(&mut self, at: vocab::Moment) {
        self.all.each_mut(|target| {
            target.goal = target.rounds.saturating_add(2);
            target.start = at;
        });
    }
}

#[cfg(test)]
mod tests {
    use vocab::Moment;

    use super::*;
    use crate::asking::target::Kind;

    #[test]
    fn those_asked_for_in_vain_are_counted_whatever_becomes_of_them() {
        let mut targets = Targets::default();
        let new = |n: u8| Target::new(Ipv4Addr::new(10, 40, 8, n), Kind::Gateway, Moment::ZERO);
        for n in 1..=4 {
            targets.insert(new(n));
            targets.change(&new(n).address, |t| t.unanswered = true);
        }
        assert_eq!(targets.unanswered(), 4);
        targets.change(&new(1).address, Target::heard);
        targets.insert(new(2));
        targets.remove(&new(3).address);
        targets.remove(&new(9).address);
        assert_eq!((targets.unanswered(), targets.len()), (1, 3));
        let all = targets.take_all();
        assert_eq!((targets.unanswered(), targets.len()), (0, 0));
        for target in all {
            targets.insert(target);
        }
        assert_eq!((targets.unanswered(), targets.len()), (1, 3));
    }
}

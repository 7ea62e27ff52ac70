//! The order of the moves, so that no two devices share an address at any step.
//!
//! A device may go to its new address when nobody of the rig holds it any more. Where each of a ring
//! of devices waits for the next, one of them goes to a parking address first.

use std::cmp::Reverse;
use std::collections::{BTreeSet, BinaryHeap, HashMap, HashSet};
use std::net::Ipv4Addr;

/// A device on its way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Mover {
    /// Where it is; `None` where nobody knows, or it holds none.
    pub(super) from: Option<Ipv4Addr>,
    /// Where it goes; the same as `from` if only its mask or gateway changes.
    pub(super) to: Ipv4Addr,
    /// Lower ones go first where there is a choice.
    pub(super) rank: u8,
    /// Whether it can be parked with ease.
    pub(super) parks: bool,
    /// The network that it must be parked in, by its number.
    pub(super) network: usize,
}

/// One move.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Hop {
    /// Who, by its place in the list.
    pub(super) mover: usize,
    /// Where it is.
    pub(super) from: Option<Ipv4Addr>,
    /// Where it goes.
    pub(super) to: Ipv4Addr,
    /// Whether it goes on from there later.
    pub(super) parked: bool,
}

/// Orders the moves. `parking` names an address of the network of that number where a device can wait:
/// one that nobody holds or is to hold, and that was not given before. It is told which addresses were
/// left meanwhile and are nobody's. Where it has none, the devices of the ring come back.
pub(super) fn order(
    movers: &[Mover],
    mut parking: impl FnMut(usize, &BTreeSet<Ipv4Addr>) -> Option<Ipv4Addr>,
) -> Result<Vec<Hop>, Vec<usize>> {
    let mut course = Course::new(movers);
    let mut unseen = 0;
    let mut vacant: HashMap<usize, Vec<Ipv4Addr>> = HashMap::new();
    loop {
        while let Some(Reverse((_, mover))) = course.ready.pop() {
            let left = course.at[mover];
            course.go(mover, movers[mover].to, false);
            if let Some(left) = left.filter(|_| course.parked.remove(&mover)) {
                vacant.entry(movers[mover].network).or_default().push(left);
            }
        }
        while unseen < movers.len() && course.done[unseen] {
            unseen += 1;
        }
        if unseen == movers.len() {
            return Ok(course.hops);
        }
        let ring = course.ring(unseen);
        let easy = ring.iter().copied().filter(|n| movers[*n].parks);
        let first = easy.min_by_key(|n| (movers[*n].rank, *n));
        let Some(mover) = first.or_else(|| ring.iter().copied().min()) else {
            // Everybody who waits, waits for somebody: there is always a ring.
            return Err(ring);
        };
        let again = vacant.get_mut(&movers[mover].network).and_then(Vec::pop);
        let Some(place) = again.or_else(|| parking(movers[mover].network, &course.left)) else {
            return Err(ring);
        };
        course.parked.insert(mover);
        course.go(mover, place, true);
    }
}

/// How far the moves are.
struct Course<'m> {
    movers: &'m [Mover],
    at: Vec<Option<Ipv4Addr>>,
    done: Vec<bool>,
    parked: HashSet<usize>,
    /// Who holds an address now, of those on their way.
    holders: HashMap<Ipv4Addr, Vec<usize>>,
    /// Who wants an address.
    wanted: HashMap<Ipv4Addr, usize>,
    /// Addresses that were left and nobody wants.
    left: BTreeSet<Ipv4Addr>,
    ready: BinaryHeap<Reverse<(u8, usize)>>,
    hops: Vec<Hop>,
}

impl<'m> Course<'m> {
    fn new(movers: &'m [Mover]) -> Self {
        let mut course = Self {
            movers,
            at: movers.iter().map(|m| m.from).collect(),
            done: vec![false; movers.len()],
            parked: HashSet::new(),
            holders: HashMap::new(),
            wanted: HashMap::new(),
            left: BTreeSet::new(),
            ready: BinaryHeap::new(),
            hops: Vec::new(),
        };
        for (n, mover) in movers.iter().enumerate() {
            course.wanted.insert(mover.to, n);
            if let Some(from) = mover.from.filter(|from| *from != mover.to) {
                course.holders.entry(from).or_default().push(n);
            }
        }
        for n in 0..movers.len() {
            course.look(n);
        }
        course
    }

    /// Whoever holds the place that `mover` wants.
    fn holder(&self, mover: usize) -> Option<usize> {
        let holders = self.holders.get(&self.movers[mover].to)?;
        holders.first().copied()
    }

    fn look(&mut self, mover: usize) {
        if self.holder(mover).is_none() && !self.done[mover] {
            self.ready.push(Reverse((self.movers[mover].rank, mover)));
        }
    }

    fn go(&mut self, mover: usize, to: Ipv4Addr, parked: bool) {
        let from = self.at[mover].replace(to);
        self.hops.push(Hop {
            mover,
            from,
            to,
            parked,
        });
        self.done[mover] = !parked;
        let Some(from) = from else { return };
        let Some(holders) = self.holders.get_mut(&from) else {
            return;
        };
        holders.retain(|n| *n != mover);
        if holders.is_empty() {
            self.holders.remove(&from);
            match self.wanted.get(&from).copied() {
                Some(next) => self.look(next),
                None => {
                    self.left.insert(from);
                }
            }
        }
    }

    /// The ring that `start` is in, or waits for.
    fn ring(&self, start: usize) -> Vec<usize> {
        let mut way = Vec::new();
        let mut places = HashMap::new();
        let mut at = start;
        loop {
            if let Some(begin) = places.insert(at, way.len()) {
                return way.split_off(begin);
            }
            way.push(at);
            match self.holder(at) {
                Some(next) => at = next,
                None => return way,
            }
        }
    }
}

//! How many of each group go to each class, at the least cost.
//!
//! A transportation problem, solved by successive shortest paths (Busacker and Gowen 1960, from
//! memory): each group in turn goes where it costs least, counting what it costs to make room there
//! by sending others elsewhere. Classes are few, so the path is searched among them alone.

use super::space::{Classes, bit};

/// Devices that are alike.
#[derive(Debug, Clone)]
pub(super) struct Group {
    /// How many.
    pub(super) count: usize,
    /// What one of them costs in each class; `None` where none may go.
    pub(super) cost: Vec<Option<i64>>,
}

/// A set of classes with too little room.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Shortage {
    /// They are all full, and none who is there may go anywhere else.
    pub(super) classes: Classes,
    /// So many found no place.
    pub(super) lacking: usize,
}

/// What came of it: for each group how many go to each class.
#[derive(Debug, Clone)]
pub(super) struct Flow {
    pub(super) counts: Vec<Vec<usize>>,
    pub(super) shortages: Vec<Shortage>,
}

/// Shares the classes' `room` out among the groups: as many as possible find a place, at the least
/// cost. What was worked out for one group stays true when others come, so `shortages` are final.
pub(super) fn distribute(groups: &[Group], room: &[usize]) -> Flow {
    let mut flow = Flow {
        counts: vec![vec![0; room.len()]; groups.len()],
        shortages: Vec::new(),
    };
    let mut free = room.to_vec();
    for (which, group) in groups.iter().enumerate() {
        let mut left = group.count;
        while left > 0 {
            let search = Search::from(group, groups, &flow.counts);
            let Some(path) = search.cheapest(&free) else {
                flow.lacks(search.reached(), left);
                break;
            };
            // As many at once as the narrowest place of the path lets through.
            let narrow = path.hops.iter().map(|hop| flow.counts[hop.group][hop.from]);
            let many = narrow.chain([left, free[path.end]]).min().unwrap_or(0);
            flow.counts[which][path.start] += many;
            for hop in &path.hops {
                flow.counts[hop.group][hop.from] -= many;
                flow.counts[hop.group][hop.to] += many;
            }
            free[path.end] -= many;
            left -= many;
        }
    }
    flow
}

impl Flow {
    fn lacks(&mut self, classes: Classes, lacking: usize) {
        match self.shortages.iter_mut().find(|s| s.classes == classes) {
            Some(known) => known.lacking += lacking,
            None => self.shortages.push(Shortage { classes, lacking }),
        }
    }
}

/// One who makes room: of `group`, out of one class into another.
#[derive(Debug, Clone, Copy)]
struct Hop {
    group: usize,
    from: usize,
    to: usize,
}

struct Path {
    start: usize,
    end: usize,
    hops: Vec<Hop>,
}

/// The cheapest ways from a group to every class (Bellman and Ford).
struct Search {
    cost: Vec<Option<i64>>,
    by: Vec<Option<Hop>>,
}

impl Search {
    fn from(group: &Group, groups: &[Group], counts: &[Vec<usize>]) -> Self {
        let classes = group.cost.len();
        let mut search = Self {
            cost: group.cost.clone(),
            by: vec![None; classes],
        };
        let hops = hops(groups, counts, classes);
        for _ in 0..classes {
            let mut better = false;
            for (hop, price) in &hops {
                let Some(cost) = search.cost[hop.from].map(|cost| cost + price) else {
                    continue;
                };
                if search.cost[hop.to].is_none_or(|known| cost < known) {
                    search.cost[hop.to] = Some(cost);
                    search.by[hop.to] = Some(*hop);
                    better = true;
                }
            }
            if !better {
                break;
            }
        }
        search
    }

    fn cheapest(&self, free: &[usize]) -> Option<Path> {
        let ends = (0..free.len()).filter(|class| free[*class] > 0);
        let end = ends.filter_map(|class| Some((self.cost[class]?, class))).min()?.1;
        let (mut start, mut hops) = (end, Vec::new());
        // No way is longer than there are classes.
        while let Some(hop) = self.by[start].filter(|_| hops.len() < free.len()) {
            hops.push(hop);
            start = hop.from;
        }
        Some(Path { start, end, hops })
    }

    fn reached(&self) -> Classes {
        let all = self.cost.iter().enumerate();
        all.filter(|(_, cost)| cost.is_some())
            .fold(0, |set, (class, _)| set | bit(class as u8))
    }
}

/// The cheapest who can be sent from each class to each other one.
fn hops(groups: &[Group], counts: &[Vec<usize>], classes: usize) -> Vec<(Hop, i64)> {
    let mut best: Vec<Option<(Hop, i64)>> = vec![None; classes * classes];
    for (group, (kind, counts)) in groups.iter().zip(counts).enumerate() {
        for from in (0..classes).filter(|class| counts[*class] > 0) {
            let Some(here) = kind.cost[from] else { continue };
            for to in 0..classes {
                let Some(there) = kind.cost[to].filter(|_| to != from) else {
                    continue;
                };
                let known = &mut best[from * classes + to];
                if known.is_none_or(|(_, price)| there - here < price) {
                    *known = Some((Hop { group, from, to }, there - here));
                }
            }
        }
    }
    best.into_iter().flatten().collect()
}

//! Who gets which address of a network.
//!
//! Whoever fits keeps its address, unless another can only be placed if it makes room. How many go
//! where is a matter of classes (`flow`); within a class one free address is as good as another.

use std::cmp::Reverse;
use std::collections::{BTreeMap, HashSet};
use std::net::Ipv4Addr;

use super::flow::{Group, Shortage, distribute};
use super::space::{Class, Classes, Space, bit};

/// What one move costs: more than all preferences of the largest rig together.
const MOVE: i64 = 1_000_000;
/// What it costs to lie where another role's block is, and in a lease pool.
const FOREIGN: i64 = 2;
const POOL: i64 = 4;
/// What it costs to lie where the wish cannot be met: people remember last numbers better than blocks.
const UNWISHED: i64 = 8;

/// A device that wants an address.
#[derive(Debug, Clone)]
pub(super) struct Wanting {
    /// Where it may be.
    pub(super) allowed: Classes,
    /// Where it should rather be.
    pub(super) home: Classes,
    /// Its address now, if it lies in the network and it may keep it.
    pub(super) keeps: Option<Ipv4Addr>,
    /// What it would like otherwise, best first.
    pub(super) wishes: Vec<Ipv4Addr>,
    /// How much work a move of it makes: who points at it.
    pub(super) users: usize,
}

/// Devices that go into one group: they cost the same everywhere.
type Kind = (Classes, Classes, Option<Class>, Option<Class>);

/// Gives everyone an address of its own. `held` are addresses that a device holds now: they are given
/// to others last, since whoever holds one must have gone first.
pub(super) fn assign(
    space: &Space,
    wanting: &[Wanting],
    held: &HashSet<Ipv4Addr>,
) -> Result<Vec<Ipv4Addr>, Vec<Shortage>> {
    let mut kinds: BTreeMap<(bool, Kind), Vec<usize>> = BTreeMap::new();
    for (n, one) in wanting.iter().enumerate() {
        let class = |address: Ipv4Addr| space.class(address).filter(|c| one.allowed & bit(*c) != 0);
        let keeps = one.keeps.and_then(class);
        let wish = match keeps {
            Some(_) => None,
            None => one.wishes.iter().copied().find_map(class),
        };
        let kind = (one.allowed, one.home, keeps, wish);
        kinds.entry((keeps.is_none(), kind)).or_default().push(n);
    }
    let groups: Vec<Group> = kinds
        .iter()
        .map(|((_, kind), members)| Group {
            count: members.len(),
            cost: (0..space.count() as Class)
                .map(|class| cost(*kind, class))
                .collect(),
        })
        .collect();
    let flow = distribute(&groups, &space.room());
    if !flow.shortages.is_empty() {
        return Err(flow.shortages);
    }
    let mut given: Vec<Option<Ipv4Addr>> = vec![None; wanting.len()];
    // Of each class, who still wants an address there.
    let mut waiting: Vec<Vec<usize>> = vec![Vec::new(); space.count()];
    for (((_, kind), members), mut counts) in kinds.into_iter().zip(flow.counts) {
        let (_, _, keeps, wish) = kind;
        let mut members = members;
        // The one whose move makes the most work keeps its place the longest.
        members.sort_by_key(|n| (Reverse(wanting[*n].users), *n));
        let mut members = members.into_iter();
        if let Some(own) = keeps {
            for n in members.by_ref().take(counts[usize::from(own)]) {
                given[n] = wanting[n].keeps;
            }
            counts[usize::from(own)] = 0;
        }
        let first = wish.map(usize::from);
        let classes = first
            .into_iter()
            .chain((0..counts.len()).filter(|c| Some(*c) != first));
        for class in classes {
            waiting[class].extend(members.by_ref().take(counts[class]));
        }
    }
    let mut used: HashSet<Ipv4Addr> = given.iter().copied().flatten().collect();
    for (class, members) in waiting.iter_mut().enumerate() {
        members.sort_unstable();
        fill(
            space,
            class as Class,
            members,
            wanting,
            held,
            &mut used,
            &mut given,
        );
    }
    Ok(given.into_iter().flatten().collect())
}

fn cost((allowed, home, keeps, wish): Kind, class: Class) -> Option<i64> {
    if allowed & bit(class) == 0 {
        return None;
    }
    if keeps == Some(class) {
        return Some(0);
    }
    let mut cost = MOVE;
    if home & bit(class & !1) == 0 {
        cost += FOREIGN;
    }
    if class & 1 == 1 {
        cost += POOL;
    }
    if wish.is_some_and(|wish| wish != class) {
        cost += UNWISHED;
    }
    Some(cost)
}

/// Gives the addresses of one class to those who go there: wishes first, then the lowest that nobody
/// holds, then those that somebody leaves.
fn fill(
    space: &Space,
    class: Class,
    members: &[usize],
    wanting: &[Wanting],
    held: &HashSet<Ipv4Addr>,
    used: &mut HashSet<Ipv4Addr>,
    given: &mut [Option<Ipv4Addr>],
) {
    if members.is_empty() {
        return;
    }
    for n in members {
        let mut wishes = wanting[*n].wishes.iter().copied();
        given[*n] = wishes.find(|wish| space.class(*wish) == Some(class) && used.insert(*wish));
    }
    let (left, free): (Vec<Ipv4Addr>, Vec<Ipv4Addr>) = space
        .addresses(bit(class))
        .filter(|address| !used.contains(address))
        .partition(|address| held.contains(address));
    let mut free = free.into_iter().chain(left);
    for n in members {
        if given[*n].is_none() {
            given[*n] = free.next();
            used.extend(given[*n]);
        }
    }
}

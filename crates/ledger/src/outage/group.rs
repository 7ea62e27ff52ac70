//! Who fell silent together, and which part of the rig that is. Pure: seats in, groups out.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use vocab::Moment;

/// What is at fault may take so long from its first victim to its last, such as a switch that dies port by
/// port (common practice, no source).
const SLACK: Duration = Duration::from_secs(2);
/// So many that never answered make one cause of it, where they are all of a switch's.
const COLD: usize = 3;
/// So many that fell silent at the same time have one cause, wherever they are plugged in.
const MANY: usize = 3;

/// How one device stands towards an outage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Seen {
    /// It is there.
    There,
    /// It fell silent: when it was last heard, and when the first question left that it did not answer.
    Fell(Moment, Moment),
    /// It is missing, and was never heard since learning began.
    Never,
    /// It is not known yet how it stands.
    Open,
    /// It says nothing either way: asleep, missing for long, or this computer.
    Aside,
}

/// One device: where it is plugged in, and how it stands.
#[derive(Debug, Clone)]
pub(crate) struct Seat<'a> {
    /// The switches that it hangs on, the nearest first; empty where the file does not say.
    pub(crate) chain: Vec<&'a str>,
    /// Whether it is the nearest of them itself.
    pub(crate) is_switch: bool,
    /// How it stands.
    pub(crate) seen: Seen,
}

/// The part of the rig that went silent.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Place {
    /// All that hangs on this switch, chained ones included.
    Below(String),
    /// All that does not hang on this switch, while what does answers.
    Beyond(String),
    /// The whole rig.
    All,
    /// No part that the file knows.
    Some,
}

/// Devices with one cause.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Group {
    /// Which part it is.
    pub(crate) place: Place,
    /// By their places in the rig.
    pub(crate) members: BTreeSet<usize>,
    /// Whether they never answered.
    pub(crate) cold: bool,
}

/// Everybody who can have fallen silent at one and the same moment with `first`: after the last word of
/// each, and before the first question that any of them left unanswered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Window {
    /// The latest last word.
    heard: Moment,
    /// The earliest unanswered question.
    missed: Moment,
}

impl Window {
    /// That of one device.
    pub(crate) const fn of(heard: Moment, missed: Moment) -> Self {
        Self { heard, missed }
    }

    /// The two together, if they can be one.
    pub(crate) fn with(self, other: Self) -> Option<Self> {
        let both = Self {
            heard: self.heard.max(other.heard),
            missed: self.missed.min(other.missed),
        };
        (both.heard <= both.missed + SLACK).then_some(both)
    }

    /// When silence began.
    pub(crate) const fn began(self) -> Moment {
        self.missed
    }
}

/// The groups among those who fell silent or never answered; `deaf`: nothing at all is heard on our own
/// port, so that all who never answered have that one cause.
pub(crate) fn groups(seats: &[Seat<'_>], deaf: bool) -> Vec<Group> {
    let mut found: Vec<Group> = clusters(seats).iter().filter_map(|c| fallen(seats, c)).collect();
    found.extend(cold(seats, deaf));
    found
}

/// Those who fell silent, parted by when.
fn clusters(seats: &[Seat<'_>]) -> Vec<BTreeSet<usize>> {
    let mut fell: Vec<(Window, usize)> = seats
        .iter()
        .enumerate()
        .filter_map(|(i, s)| match s.seen {
            Seen::Fell(heard, missed) => Some((Window::of(heard, missed), i)),
            _ => None,
        })
        .collect();
    fell.sort_by_key(|(w, i)| (w.missed, *i));
    let mut out: Vec<(Window, BTreeSet<usize>)> = Vec::new();
    for (window, i) in fell {
        match out.last_mut() {
            Some((all, members)) if all.with(window).is_some() => {
                *all = all.with(window).unwrap_or(window);
                members.insert(i);
            }
            _ => out.push((window, BTreeSet::from([i]))),
        }
    }
    out.into_iter().map(|(_, members)| members).collect()
}

/// What those who fell silent at the same moment have in common.
fn fallen(seats: &[Seat<'_>], cluster: &BTreeSet<usize>) -> Option<Group> {
    if cluster.len() < 2 {
        return None;
    }
    let group = |place, members| Group {
        place,
        members,
        cold: false,
    };
    let (place, part) = part_of(seats, cluster);
    if part.len() == cluster.len() {
        return Some(group(place, part));
    }
    let there = seats.iter().filter(|s| s.seen == Seen::There).count();
    if cluster.len() >= MANY || cluster.len() > there {
        return Some(group(Place::Some, cluster.clone()));
    }
    (part.len() >= 2).then(|| group(place, part))
}

/// Whether a seat is on this side.
type Side<'a> = &'a dyn Fn(&Seat<'_>) -> bool;

/// The part of the rig of which all are in `among`, and as many of `among` as can be; of two parts with the
/// same devices the one below a switch, and of those the nearer switch. [`Place::Some`] with none where there is no such part.
fn part_of(seats: &[Seat<'_>], among: &BTreeSet<usize>) -> (Place, BTreeSet<usize>) {
    let mut best = (Place::Some, BTreeSet::new());
    let alive = seats.iter().any(|s| s.seen == Seen::There);
    if !alive && all_in(seats, |_| true, among) {
        return (Place::All, among.clone());
    }
    let mut depth: BTreeMap<&str, usize> = BTreeMap::new();
    for seat in seats {
        for (above, switch) in seat.chain.iter().rev().enumerate() {
            let deepest = depth.entry(switch).or_default();
            *deepest = above.max(*deepest);
        }
    }
    let mut nearest = (false, 0);
    for (switch, deep) in &depth {
        let below = |s: &Seat<'_>| s.chain.contains(switch);
        let beyond = |s: &Seat<'_>| !s.chain.is_empty() && !s.chain.contains(switch);
        let itself = |s: &Seat<'_>| s.is_switch && s.chain.first() == Some(switch);
        let answers = |s: &Seat<'_>| below(s) && s.seen == Seen::There;
        let sides: [(Place, Side<'_>, bool); 2] = [
            // Whether the switch itself answers tells of the cause, not of the part.
            (
                Place::Below((*switch).to_owned()),
                &|s| below(s) && !itself(s),
                true,
            ),
            (
                Place::Beyond((*switch).to_owned()),
                &beyond,
                seats.iter().any(answers),
            ),
        ];
        for (place, side, fits) in sides {
            if !fits || !all_in(seats, side, among) {
                continue;
            }
            let own = |i: &usize| {
                let part = |s: &Seat<'_>| side(s) || (matches!(place, Place::Below(_)) && itself(s));
                seats.get(*i).is_some_and(part)
            };
            let part: BTreeSet<usize> = among.iter().copied().filter(own).collect();
            let many = part.iter().filter(|i| seats.get(**i).is_some_and(side)).count();
            let is_below = matches!(place, Place::Below(_));
            if many >= 2 && (part.len(), is_below, *deep) > (best.1.len(), nearest.0, nearest.1) {
                best = (place, part);
                nearest = (is_below, *deep);
            }
        }
    }
    best
}

/// Whether all of this side that tell anything are in `among`.
fn all_in(seats: &[Seat<'_>], side: impl Fn(&Seat<'_>) -> bool, among: &BTreeSet<usize>) -> bool {
    seats
        .iter()
        .enumerate()
        .filter(|(_, s)| side(s))
        .all(|(i, s)| match s.seen {
            Seen::There | Seen::Open => false,
            Seen::Fell(..) => among.contains(&i),
            // Where they never answered, they are in it; where others fell, they were missing before.
            Seen::Never | Seen::Aside => true,
        })
}

/// Switches none of whose devices ever answered, while others do; or, where our own port hears nothing at
/// all, the whole rig.
fn cold(seats: &[Seat<'_>], deaf: bool) -> Vec<Group> {
    let mut never: BTreeSet<usize> = (0..seats.len())
        .filter(|i| seats.get(*i).is_some_and(|s| s.seen == Seen::Never))
        .collect();
    let group = |place, members| Group {
        place,
        members,
        cold: true,
    };
    let any = |seen: Seen| seats.iter().any(|s| s.seen == seen);
    if deaf {
        let whole = never.len() >= 2 && !any(Seen::There) && !any(Seen::Open);
        return whole.then(|| group(Place::All, never)).into_iter().collect();
    }
    let mut out = Vec::new();
    while never.len() >= COLD && any(Seen::There) {
        let (place, part) = part_of(seats, &never);
        if part.len() < COLD {
            break;
        }
        never.retain(|i| !part.contains(i));
        out.push(group(place, part));
    }
    out
}

#[cfg(test)]
mod tests;

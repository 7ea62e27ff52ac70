//! The fewest things that are together large enough, in two measures at once.
//!
//! In one measure the largest things first is the answer. In two it is not: here all sums that any
//! `n` things can reach are kept (only those that no other beats in both measures), for `n` from 1
//! up. That may become many; where it becomes too many, the answer is a good one and said to be no
//! proven smallest. Checked against trying every set (`cover/tests.rs`).

#[cfg(test)]
mod tests;

/// Sums that are kept at the most.
const MOST: usize = 20_000;

/// Which things, and whether fewer are known not to be enough.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Cover {
    /// Their places, in order.
    pub chosen: Vec<usize>,
    /// No smaller set is large enough.
    pub smallest: bool,
}

type Pair = (u64, u64);

/// The fewest of `things` that reach `need` in both measures; all that bring anything where even they
/// are too small. Among equals those that stand first are taken.
pub(super) fn fewest(things: &[Pair], need: Pair) -> Cover {
    let greedy = largest_first(things, need);
    // One thing alone, or one measure alone: the largest first cannot be beaten.
    if greedy.len() <= 1 || need.0 == 0 || need.1 == 0 || !enough(things, &greedy, need) {
        return Cover {
            chosen: greedy,
            smallest: true,
        };
    }
    match fewer(things, need, greedy.len() - 1) {
        Ok(chosen) => Cover {
            chosen: chosen.unwrap_or(greedy),
            smallest: true,
        },
        Err(TooMany) => Cover {
            chosen: greedy,
            smallest: false,
        },
    }
}

fn enough(things: &[Pair], chosen: &[usize], need: Pair) -> bool {
    let sum = |of: fn(&Pair) -> u64| chosen.iter().map(|i| of(&things[*i])).sum::<u64>();
    sum(|t| t.0) >= need.0 && sum(|t| t.1) >= need.1
}

/// Takes whatever brings most of what is still missing, until nothing is.
fn largest_first(things: &[Pair], need: Pair) -> Vec<usize> {
    let mut missing = need;
    let mut left: Vec<usize> = (0..things.len()).collect();
    let mut chosen = Vec::new();
    while missing != (0, 0) {
        let brings = |i: usize| {
            let share = |has: u64, missing: u64| {
                if missing == 0 {
                    0
                } else {
                    u128::from(has.min(missing)) * 1_000_000 / u128::from(missing)
                }
            };
            let thing = things[i];
            let useful = share(thing.0, missing.0) + share(thing.1, missing.1);
            // Beyond what is missing, the larger one leaves more in reserve.
            (
                useful,
                thing.0 * u64::from(need.0 > 0),
                thing.1 * u64::from(need.1 > 0),
            )
        };
        let best = left
            .iter()
            .enumerate()
            .max_by(|(m, a), (n, b)| brings(**a).cmp(&brings(**b)).then(n.cmp(m)));
        let Some((place, &best)) = best.filter(|(_, best)| brings(**best).0 > 0) else {
            break;
        };
        left.remove(place);
        chosen.push(best);
        missing.0 = missing.0.saturating_sub(things[best].0);
        missing.1 = missing.1.saturating_sub(things[best].1);
    }
    chosen.sort_unstable();
    chosen
}

/// A sum that so many things can reach: with this thing added to an earlier sum.
#[derive(Clone, Copy)]
struct Reached {
    sum: Pair,
    thing: usize,
    before: Option<usize>,
}

/// There are too many sums to go through them all.
#[derive(Debug, PartialEq, Eq)]
struct TooMany;

/// At most `most` things that are enough, the fewest of them; `None` if there are none.
fn fewer(things: &[Pair], need: Pair, most: usize) -> Result<Option<Vec<usize>>, TooMany> {
    let mut all: Vec<Reached> = Vec::new();
    // The sums of `n` things at place `n - 1`, as places in `all`; those beaten by another left out.
    let mut reached: Vec<Vec<usize>> = vec![Vec::new(); most];
    for (i, thing) in things.iter().enumerate() {
        if *thing == (0, 0) {
            continue;
        }
        for n in (0..most).rev() {
            let befores: Vec<Option<usize>> = match n.checked_sub(1) {
                None => vec![None],
                Some(fewer) => reached[fewer].iter().map(|b| Some(*b)).collect(),
            };
            for before in befores {
                let base = before.map_or((0, 0), |b| all[b].sum);
                let sum = (
                    base.0.saturating_add(thing.0).min(need.0),
                    base.1.saturating_add(thing.1).min(need.1),
                );
                let beats = |a: Pair, b: Pair| a.0 >= b.0 && a.1 >= b.1;
                if reached[n].iter().any(|other| beats(all[*other].sum, sum)) {
                    continue;
                }
                if all.len() >= MOST {
                    return Err(TooMany);
                }
                reached[n].retain(|other| !beats(sum, all[*other].sum));
                reached[n].push(all.len());
                all.push(Reached {
                    sum,
                    thing: i,
                    before,
                });
            }
        }
    }
    let full = |place: &&usize| all[**place].sum == need;
    let found = reached.iter().find_map(|sums| sums.iter().find(full));
    Ok(found.map(|last| {
        let mut chosen = Vec::new();
        let mut at = Some(*last);
        while let Some(place) = at {
            chosen.push(all[place].thing);
            at = all[place].before;
        }
        chosen.sort_unstable();
        chosen
    }))
}

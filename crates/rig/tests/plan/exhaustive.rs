//! Small rigs, against all plans that there are.

use std::collections::{BTreeSet, HashMap, VecDeque};
use std::net::Ipv4Addr;

use proptest::prelude::*;
use rig::plan::{Dhcp, Kind, Trouble, plan};

use crate::{Case, cases, fixed};

/// The fewest devices that must get another address, by trying everything; `None` if there is no plan.
fn fewest_moves(case: &Case, n: usize, used: &mut BTreeSet<Ipv4Addr>) -> Option<usize> {
    let Some(device) = case.rig.devices.get(n) else {
        return Some(0);
    };
    let mut best = None;
    for address in case.hall.networks[0].subnet.hosts() {
        if !case.fits(device, address) || !used.insert(address) {
            continue;
        }
        let moves = usize::from(device.fixed_address() != Some(address));
        let rest = fewest_moves(case, n + 1, used).map(|rest| rest + moves);
        best = [best, rest].into_iter().flatten().min();
        used.remove(&address);
    }
    best
}

/// The fewest steps from where everybody is to where everybody shall be, by trying everything.
fn fewest_steps(case: &Case, from: &[Option<Ipv4Addr>], to: &[Ipv4Addr]) -> Option<usize> {
    let hosts: Vec<Ipv4Addr> = case.hall.networks[0].subnet.hosts().collect();
    let mut known: HashMap<Vec<Option<Ipv4Addr>>, usize> = HashMap::from([(from.to_vec(), 0)]);
    let mut queue = VecDeque::from([from.to_vec()]);
    while let Some(at) = queue.pop_front() {
        let steps = known[&at];
        if at.iter().zip(to).all(|(at, to)| *at == Some(*to)) {
            return Some(steps);
        }
        for n in 0..at.len() {
            for place in &hosts {
                let may = *place == to[n] || (case.open(*place) && !case.in_pool(*place));
                if !may || at.contains(&Some(*place)) {
                    continue;
                }
                let mut next = at.clone();
                next[n] = Some(*place);
                if !known.contains_key(&next) {
                    known.insert(next.clone(), steps + 1);
                    queue.push_back(next);
                }
            }
        }
    }
    None
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn no_plan_moves_fewer_devices(case in cases(28..=30, 5)) {
        let best = fewest_moves(&case, 0, &mut BTreeSet::new());
        match plan(&case.rig, &case.hall, &case.held, Dhcp::Fix) {
            Ok(planned) => prop_assert_eq!(Some(planned.moves()), best),
            Err(troubles) => {
                let order = troubles.iter().any(|t| matches!(t, Trouble::NoParking { .. }));
                prop_assert!(order || best.is_none(), "{:?} but {:?} moves will do", troubles, best);
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    #[test]
    fn no_order_has_fewer_steps(case in cases(29..=29, 4)) {
        prop_assume!(fewest_moves(&case, 0, &mut BTreeSet::new()).is_some());
        let from = case.places();
        match plan(&case.rig, &case.hall, &case.held, Dhcp::Fix) {
            Ok(planned) => {
                let to: Vec<Ipv4Addr> = planned.placed.iter().map(|one| fixed(one.to)).collect();
                let steps = planned.work.tasks.iter();
                let steps = steps.filter(|task| task.from != Some(task.to.addr())).count();
                prop_assert_eq!(Some(steps), fewest_steps(&case, &from, &to));
                let parked = planned.work.tasks.iter().filter(|task| task.kind == Kind::Park).count();
                prop_assert!(parked <= planned.moves() + from.len());
            }
            Err(troubles) => prop_assert!(
                troubles.iter().all(|t| matches!(t, Trouble::NoParking { .. })),
                "{:?}", troubles
            ),
        }
    }
}

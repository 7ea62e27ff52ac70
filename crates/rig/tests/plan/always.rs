//! Every plan is valid, safe at each step, and stable.

use std::collections::{BTreeMap, BTreeSet};

use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;
use rig::How;
use rig::plan::{Dhcp, Held, Kind, Planned, Trouble, plan};

use crate::{Case, cases, fixed};

fn valid(case: &Case, planned: &Planned) {
    assert_eq!(planned.placed.len(), case.rig.devices.len());
    let mut used = BTreeSet::new();
    for one in &planned.placed {
        let device = &case.rig.devices[one.device];
        let to = fixed(one.to);
        assert!(used.insert(to), "{to} is given twice");
        assert!(case.fits(device, to), "{} cannot have {to}", device.name);
    }
}

/// Plays the work list: nobody ever goes where somebody is.
fn safe(case: &Case, planned: &Planned) {
    let mut at = case.places();
    for task in &planned.work.tasks {
        let n = case
            .rig
            .devices
            .iter()
            .position(|d| d.name == task.device)
            .unwrap();
        let to = task.to.addr();
        assert_eq!(task.from, at[n], "{task}");
        let shared = (0..at.len()).find(|other| *other != n && at[*other] == Some(to));
        assert_eq!(shared, None, "{task} while another is there");
        assert!(case.open(to), "{task}: nobody may be there");
        assert!(
            !case.in_pool(to) || case.rig.devices[n].how == How::Reserved,
            "{task}: in a pool"
        );
        if task.kind == Kind::Park {
            assert!(
                planned.placed.iter().all(|one| fixed(one.to) != to),
                "{task}: is somebody's"
            );
        }
        at[n] = Some(to);
    }
    for one in &planned.placed {
        assert_eq!(
            at[one.device],
            Some(fixed(one.to)),
            "not where it should be in the end"
        );
    }
}

/// Planning again, with the new file and after the moves, changes nothing.
fn stable(case: &Case, planned: &Planned) {
    let mut document = case.document.clone();
    let rig = document.apply(&planned.edits).unwrap();
    for one in &planned.placed {
        assert_eq!(rig.devices[one.device].address, one.to);
    }
    assert_eq!(rig.network.subnet, case.hall.networks[0].subnet);
    assert_eq!(rig.plan, case.hall.plan);
    let again = plan(&rig, &case.hall, &case.held, Dhcp::Fix).unwrap();
    assert_eq!(
        (again.moves(), again.edits.as_slice()),
        (0, &[][..]),
        "planned again before the moves"
    );
    let after: Vec<Held> = case
        .taken()
        .into_iter()
        .map(|address| Held { address, mac: None })
        .collect();
    let again = plan(&rig, &case.hall, &after, Dhcp::Fix).unwrap();
    assert_eq!(
        (again.moves(), again.work.tasks.as_slice()),
        (0, &[][..]),
        "planned again after the moves"
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(250))]
    #[test]
    fn a_plan_is_valid_safe_and_stable(case in cases(25..=29, 12)) {
        if let Ok(planned) = plan(&case.rig, &case.hall, &case.held, Dhcp::Fix) {
            valid(&case, &planned);
            safe(&case, &planned);
            stable(&case, &planned);
        }
    }
}
/// The cases are of all kinds, so that the properties above say something.
#[test]
fn the_cases_are_of_all_kinds() {
    let mut runner = TestRunner::deterministic();
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    for _ in 0..500 {
        let case = cases(28..=29, 6).new_tree(&mut runner).unwrap().current();
        let kinds: Vec<&str> = match plan(&case.rig, &case.hall, &case.held, Dhcp::Fix) {
            Ok(planned) => {
                let parked = planned.work.tasks.iter().any(|task| task.kind == Kind::Park);
                let why = planned.placed.iter().map(|one| one.why.as_str());
                why.chain(parked.then_some("parked")).collect()
            }
            Err(troubles) => troubles
                .iter()
                .map(|trouble| match trouble {
                    Trouble::TooSmall { .. } => "too small",
                    Trouble::BlocksFull { .. } => "blocks full",
                    Trouble::NoParking { .. } => "no parking",
                    other => panic!("{other}"),
                })
                .collect(),
        };
        for kind in kinds {
            *seen.entry(kind).or_default() += 1;
        }
    }
    for kind in [
        "fits",
        "was_dhcp",
        "outside_subnet",
        "in_lease_pool",
        "in_reserved_range",
        "outside_block",
        "taken",
        "makes_room",
        "parked",
        "too small",
        "blocks full",
        "no parking",
    ] {
        assert!(seen.contains_key(kind), "no {kind}: {seen:?}");
    }
}

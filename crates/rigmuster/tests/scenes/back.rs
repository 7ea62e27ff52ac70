//! How soon a device that comes back is on the board: after its first frame if it speaks by itself, after it
//! has its address if it does not.

use std::collections::BTreeMap;
use std::time::Duration;

use ledger::Standing;
use vocab::Moment;

use crate::common::{HEADS, play, seeds, standing};

/// When each of these devices, all dark at `dark`, stands otherwise than missing again.
fn returns(scene: &str, seed: u64, names: &[&'static str], dark: u64, end: u64) -> Vec<(Duration, Duration)> {
    let mut play = play(scene, seed);
    // A sweep at another moment each time: else all are asked for at the same place in their second.
    play.play_until(Moment::from_millis(dark * 1_000 - 5_000 + seed * 83), |_| false);
    let now = play.now();
    play.ledger_mut().sweep_now(now);
    play.play_until(Moment::from_secs(dark), |_| false);
    let mut back: BTreeMap<&str, Moment> = BTreeMap::new();
    for name in names {
        assert_eq!(
            standing(&play.snapshot(), name),
            Standing::Missing,
            "seed {seed}: {name}"
        );
    }
    let end = Moment::from_secs(end);
    while back.len() < names.len() && play.now() < end {
        let revision = play.ledger().revision();
        play.play_until(end, |l| l.revision() != revision);
        let snapshot = play.snapshot();
        for name in names {
            if standing(&snapshot, name) != Standing::Missing {
                back.entry(name).or_insert(play.now());
            }
        }
    }
    let truth = play.rehearsal().venue().truth();
    let of = |name: &&str| {
        let host = truth.host(name).unwrap_or_else(|| panic!("{name}"));
        let seen = back
            .get(*name)
            .unwrap_or_else(|| panic!("seed {seed}: {name} did not come back"));
        let since = |at: Option<Moment>| at.map_or(Duration::MAX, |at| seen.since(at));
        (since(host.first_frame), since(host.settled_at))
    };
    names.iter().map(of).collect()
}

#[test]
fn one_that_announces_itself_is_there_at_its_first_frame() {
    let mut all: Vec<Duration> = seeds()
        .flat_map(|seed| returns("power", seed, &HEADS, 39, 150))
        .map(|(frame, _)| frame)
        .collect();
    all.sort_unstable();
    let (median, p99) = (all[all.len() / 2], all[all.len() * 99 / 100]);
    println!(
        "{} returns: median {median:?}, 99th percentile {p99:?}",
        all.len()
    );
    assert!(
        median <= Duration::from_millis(50) && p99 <= Duration::from_millis(300),
        "{median:?}, {p99:?}"
    );
}

#[test]
fn one_that_says_nothing_is_there_within_a_second_or_little_more() {
    let names = ["Slipway", "Desk panel"];
    let mut all: Vec<Duration> = seeds()
        .flat_map(|seed| returns("brownout", seed, &names, 39, 80))
        .map(|(_, settled)| settled)
        .collect();
    all.sort_unstable();
    println!(
        "{} returns: median {:?}, slowest {:?}",
        all.len(),
        all[all.len() / 2],
        all.last()
    );
    assert!(
        all.iter().all(|took| *took <= Duration::from_millis(1_200)),
        "{all:?}"
    );
    // Were they heard by themselves, nothing of this would be measured.
    assert!(
        all.iter().any(|took| *took > Duration::from_millis(300)),
        "{all:?}"
    );
}

//! Devices at addresses that nobody knows, found by the deep search.

use std::time::Duration;

use ledger::{Muster, Places, Sign, Standing};
use rigmuster::source::Simulation;
use vocab::{Moment, Pace};

use crate::common::{check_invariants, play, seeds, standing};

const UNKNOWN: &str = "192.168.77.5";

fn found(play: &Simulation) -> bool {
    play.ledger().standing("Tower") == Some(Standing::WrongSubnet)
}

/// Begins the search, and goes on until it has begun to ask.
fn search(play: &mut Simulation, places: Places) -> Moment {
    play.play_until(Moment::from_secs(1), |_| false);
    let now = play.now();
    assert!(play.ledger_mut().search(now, places, Pace::Own));
    let begun = |l: &Muster| l.snapshot(now).search.is_some_and(|s| s.asked > 0);
    assert!(play.play_until(Moment::from_secs(4), begun));
    play.now()
}

#[test]
fn the_tower_camera_is_found_within_the_pace_bound_of_its_network() {
    for seed in seeds().take(2) {
        let mut play = play("hidden", seed);
        let begun = search(&mut play, Places::Only(vec!["192.168.0.0/16".parse().unwrap()]));
        // Its place in the range, one frame each at 1,488 a second, and the porch camera's first
        // ten seconds, in which the search waits.
        let places = u32::from(UNKNOWN.parse::<std::net::Ipv4Addr>().unwrap()) - 0xc0a8_0000;
        let bound = Duration::from_secs_f64(f64::from(places) / 1_488.0 * 1.05) + Duration::from_secs(10);
        let end = begun + bound + Duration::from_millis(100);
        // That it is missing at its own address is known after the first pass.
        assert!(play.play_until(begun + Duration::from_secs(3), |l| {
            l.standing("Tower") == Some(Standing::Missing)
        }));
        assert!(
            play.play_until(end, |l| l.standing("Tower") != Some(Standing::Missing)),
            "seed {seed}: not found by {end:?}"
        );
        // Not a moment before it was asked for, either.
        let earliest = begun + Duration::from_secs_f64(f64::from(places) / 1_488.0 * 0.95);
        assert!(play.now() >= earliest, "seed {seed}: found at {:?}", play.now());
        assert!(
            play.play_until(end + Duration::from_mins(3), |l| l.standing("Tower")
                == Some(Standing::WrongSubnet))
        );
        let snapshot = play.snapshot();
        check_invariants(&snapshot);
        let tower = snapshot.devices.iter().find(|d| d.name == "Tower").unwrap();
        assert_eq!(
            tower.seen.as_ref().and_then(|s| s.address).map(|a| a.to_string()),
            Some(UNKNOWN.to_owned())
        );
        assert!(
            snapshot
                .unlisted
                .iter()
                .any(|h| h.addresses.iter().any(|a| a.to_string() == "192.168.3.40"))
        );
    }
}

#[test]
fn who_waits_instead_catches_a_camera_that_is_restarted() {
    for seed in seeds().take(4) {
        let mut play = play("hidden", seed);
        play.play_until(Moment::from_secs(30), |_| false);
        let now = play.now();
        play.ledger_mut().wait_for_start(now);
        // It is switched on at 37 s and takes up to 7 s from its first probe to its address (RFC 5227).
        let caught = |l: &Muster, now| l.snapshot(now).waiting.is_some_and(|w| !w.caught.is_empty());
        assert!(!play.play_until(Moment::from_secs(37), |l| caught(l, now)));
        assert!(play.play_until(Moment::from_secs(50), |l| caught(l, now)));
        let waiting = play.snapshot().waiting.unwrap();
        assert_eq!(waiting.caught.len(), 1, "{waiting:?}");
        let first = &waiting.caught[0];
        assert_eq!(first.address, Some("192.168.3.40".parse().unwrap()));
        assert_eq!((first.sign, &first.device), (Sign::Probes, &None));
        play.play(Duration::from_secs(8));
        let waiting = play.snapshot().waiting.unwrap();
        assert_eq!(
            waiting.caught.iter().map(|c| c.sign).collect::<Vec<_>>(),
            [Sign::Announces],
            "the last word on the address"
        );
        play.ledger_mut().stop_waiting();
        assert_eq!(play.snapshot().waiting, None);
    }
}

#[test]
fn without_the_search_it_stays_missing() {
    let mut play = play("hidden", 1);
    play.play(Duration::from_mins(1));
    assert_eq!(standing(&play.snapshot(), "Tower"), Standing::Missing);
    assert_eq!(standing(&play.snapshot(), "Desk"), Standing::Present);
    let offered = play.snapshot().search.unwrap();
    assert!(!offered.running);
    // 192.168/16 and 169.254/16 without their first and last addresses; 10.40.15.0/24 is the rig's own.
    let offer = offered.offer.unwrap();
    assert_eq!(offer.total, 2 * 65_534);
    assert_eq!(offer.takes, Some(Duration::from_millis(131_068 * 1_000 / 1_488)));
    let places: Vec<String> = offer.places.iter().map(ToString::to_string).collect();
    // The borrowed camera was heard when it was restarted, so its network comes first.
    assert_eq!(
        places,
        [
            "192.168.3.0/24",
            "192.168.0.0/24",
            "192.168.100.0/24",
            "192.168.0.0/16",
            "169.254.0.0/16"
        ]
    );
}

#[test]
fn the_search_waits_while_the_porch_camera_starts_and_then_goes_on() {
    let mut play = play("hidden", 3);
    search(&mut play, Places::Usual);
    let asked = |play: &Simulation| play.snapshot().search.map_or(0, |s| s.asked);
    let mut quiet = Duration::ZERO;
    let mut last = asked(&play);
    let step = Duration::from_millis(500);
    while play.now() < Moment::from_secs(30) {
        play.play(step);
        if asked(&play) == last {
            quiet += step;
        }
        last = asked(&play);
    }
    assert!(
        (Duration::from_secs(9)..=Duration::from_secs(11)).contains(&quiet),
        "{quiet:?}"
    );
}

#[test]
fn a_stopped_search_keeps_its_finds_and_asks_no_more() {
    let mut play = play("hidden", 4);
    search(&mut play, Places::Only(vec!["192.168.0.0/16".parse().unwrap()]));
    play.play(Duration::from_secs(20));
    let now = play.now();
    play.ledger_mut().stop_search(now);
    assert!(!play.ledger().is_searching());
    play.play(Duration::from_secs(2));
    let finds = play.snapshot().search.map(|s| s.finds);
    assert_eq!(finds, Some(1), "the borrowed camera came early in the range");
    play.play(Duration::from_secs(30));
    assert!(!found(&play));
    let now = play.now();
    assert!(play.ledger_mut().search(
        now,
        Places::Only(vec!["192.168.77.0/24".parse().unwrap()]),
        Pace::Own
    ));
    assert!(
        play.play_until(now + Duration::from_mins(3), |l| l.standing("Tower")
            == Some(Standing::WrongSubnet))
    );
}

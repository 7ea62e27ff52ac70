//! A rig as a guest on a house network: slow pace, strangers, and a router that answers for all.

use std::time::Duration;

use ledger::Standing;
use vocab::Moment;

use crate::common::{check_invariants, play, play_checked};

#[test]
fn the_rig_is_counted_at_the_house_pace_and_the_proxy_makes_nothing_present() {
    let mut play = play("house", 1);
    play_checked(&mut play, Duration::from_secs(170));
    let snapshot = play.snapshot();
    check_invariants(&snapshot);
    assert_eq!(
        snapshot.counts.of(Standing::Present),
        6,
        "{:?}",
        snapshot.findings
    );
    assert_eq!(snapshot.counts.of(Standing::Conflict), 0);
    assert!(snapshot.ready, "{}", snapshot.headline);
    assert!(snapshot.unlisted_total >= 40, "{}", snapshot.unlisted_total);
}

#[test]
fn the_rig_comes_first_even_at_ten_frames_a_second() {
    let mut play = play("house", 2);
    assert!(
        play.play_until(Moment::from_secs(20), ledger::Muster::ready),
        "{}",
        play.snapshot().headline
    );
}

//! Hosts that answer for everybody.

use ledger::{FindingKind as Kind, Standing};
use venue::{Deed, Habit, HostPlan};

use super::*;

/// The visitor's own hardware.
const OWN: Mac = Mac::new([0x06, 0, 0, 0, 0, 9]);

/// The calm hall in which a visitor plugs in who answers for everybody with these hardware addresses, for so long.
fn answered_for(macs: Vec<Mac>, span: Duration) -> Course {
    let mut play = play("calm", 1);
    play.play_until(BEGINS, |_| false);
    let at = venue::scene("calm").expect("it is one").plan().first_switch();
    let visitor = HostPlan::new("Visitor", OWN, at)
        .own_supply()
        .habit(Habit::ClaimsAll(macs));
    play.rehearsal()
        .venue_mut()
        .plan(BEGINS, Deed::AddHost(Box::new(visitor)));
    watch(play, span)
}

/// The visitor leaves, and all is well again.
fn leaves(mut course: Course) {
    let venue = course.play.rehearsal().venue_mut();
    let visitor = venue.named("Visitor").expect("it is there");
    venue.plan(Moment::ZERO, Deed::Unplug(visitor));
    course.play.play(Duration::from_secs(100));
    let after = course.play.snapshot();
    assert!(all(&after, Standing::Present), "{:?}", after.counts);
    assert!(after.ready, "{}", after.headline);
}

#[test]
fn one_who_answers_for_every_address_is_named_with_each_and_nobody_is_lost() {
    let course = answered_for(vec![OWN], Duration::from_secs(8));
    let snapshot = course.play.snapshot();
    assert!(all(&snapshot, Standing::Conflict), "{:?}", snapshot.counts);
    let clashes = snapshot
        .findings
        .iter()
        .filter(|f| f.kind == Kind::AddressConflict);
    assert!(clashes.clone().count() >= 12, "{:?}", snapshot.findings);
    assert!(clashes.clone().all(|f| f.macs.contains(&OWN)));
    assert!(course.sent <= 8 * 100, "{} frames", course.sent);
    assert!(snapshot.unlisted_total == 1, "{}", snapshot.unlisted_total);
    leaves(course);
}

#[test]
fn one_who_answers_with_everybodys_hardware_is_told_as_clashes() {
    let everybody: Vec<Mac> = ground().listed.iter().map(|(mac, _)| *mac).collect();
    let course = answered_for(everybody, Duration::from_secs(5));
    let snapshot = course.play.snapshot();
    let lost = |d: &ledger::DeviceView| !matches!(d.standing, Standing::Present | Standing::Conflict);
    assert!(!snapshot.devices.iter().any(lost), "{:?}", snapshot.counts);
    assert!(!snapshot.ready);
    let named = snapshot
        .findings
        .iter()
        .filter(|f| f.kind == Kind::AddressConflict)
        .count();
    assert!(named >= 3, "{:?}", snapshot.findings);
    assert!(course.sent <= 5 * 150, "{} frames", course.sent);
    assert_eq!(snapshot.unlisted_total, 0, "nobody shows his own face");
}

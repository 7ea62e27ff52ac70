//! Devices that come one by one, each by its own way.

use std::time::Duration;

use ledger::{Severity, Standing, Subject};
use vocab::Moment;

use crate::common::{play, play_checked, seeds, standing, until_standing};

#[test]
fn late_ones_are_missing_then_starting_then_there() {
    for seed in seeds() {
        let mut play = play("late", seed);
        play_checked(&mut play, Duration::from_secs(40));
        assert_eq!(
            standing(&play.snapshot(), "Ceiling"),
            Standing::Missing,
            "seed {seed}"
        );
        until_standing(&mut play, "Ceiling", Standing::Starting, Moment::from_secs(60));
        until_standing(&mut play, "Ceiling", Standing::Present, Moment::from_secs(90));
        play_checked(&mut play, Duration::from_secs(25));
        let snapshot = play.snapshot();
        for name in [
            "Door",
            "Window",
            "Green room display",
            "Stream encoder",
            "Talkback",
        ] {
            assert_eq!(
                standing(&snapshot, name),
                Standing::Present,
                "seed {seed}: {name}"
            );
        }
    }
}

#[test]
fn a_recorder_slower_than_its_file_allows_takes_no_control_until_it_comes_up_late() {
    for seed in seeds() {
        let mut play = play("late", seed);
        until_standing(&mut play, "Recorder", Standing::NoControl, Moment::from_secs(60));
        play_checked(&mut play, Duration::from_secs(10));
        assert_eq!(standing(&play.snapshot(), "Recorder"), Standing::NoControl);
        // Its start goes on being followed, though it is late.
        let end = Moment::from_secs(100);
        until_standing(&mut play, "Recorder", Standing::Present, end);
        let start = play.changes().iter().find_map(|c| match &c.subject {
            Subject::Start(start) if start.device == "Recorder" => Some((start.done, c.text.clone())),
            _ => None,
        });
        let (done, text) = start.expect("its start is told");
        // 75 s after it was switched on, and 3 s or less of network before its first frame.
        let took = done.map(|d| d.as_secs());
        assert!(
            took.is_some_and(|t| (65..80).contains(&t)),
            "seed {seed}: {took:?}"
        );
        assert!(text.ends_with("30 s are allowed."), "{text}");
    }
}

#[test]
fn an_absent_spare_is_a_note_and_holds_nobody_back() {
    let mut play = play("late", 1);
    play_checked(&mut play, Duration::from_secs(105));
    let snapshot = play.snapshot();
    let spare = snapshot
        .devices
        .iter()
        .find(|d| d.need == rig::Need::Spare)
        .expect("a spare");
    assert_eq!(spare.standing, Standing::Missing);
    let finding = snapshot
        .findings
        .iter()
        .find(|f| f.devices.contains(&spare.name))
        .expect("a finding");
    assert_eq!(finding.severity, Severity::Note);
    assert!(snapshot.ready, "{}", snapshot.headline);
}

//! Devices that come one by one, each by its own way.

use std::time::Duration;

use ledger::{Severity, Standing};
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
fn a_recorder_slower_than_its_file_allows_takes_no_control_until_asked_again() {
    let mut play = play("late", 1);
    until_standing(&mut play, "Recorder", Standing::NoControl, Moment::from_secs(60));
    // Its page is there at last; ports that are asked once are not asked again unbidden.
    play_checked(&mut play, Duration::from_mins(1));
    assert_eq!(standing(&play.snapshot(), "Recorder"), Standing::NoControl);
    let now = play.now();
    assert!(play.ledger_mut().ask_control(now, "Recorder"));
    until_standing(
        &mut play,
        "Recorder",
        Standing::Present,
        now + Duration::from_secs(10),
    );
}

#[test]
fn an_absent_spare_is_a_note_and_holds_nobody_back() {
    let mut play = play("late", 1);
    play_checked(&mut play, Duration::from_secs(100));
    let now = play.now();
    assert!(play.ledger_mut().ask_control(now, "Recorder"));
    play_checked(&mut play, Duration::from_secs(5));
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

//! One cause, one alarm: switches, uplinks, and the way from us to all of them.

use std::time::Duration;

use ledger::{Change, Finding, FindingKind, Snapshot, Standing, Subject};
use rigmuster::source::Simulation;
use vocab::Moment;

use crate::common::{check_invariants, play, seeds};

fn outages(snapshot: &Snapshot) -> Vec<&Finding> {
    let all = snapshot.findings.iter();
    all.filter(|f| f.kind == FindingKind::CommonOutage).collect()
}

/// What rang between these seconds, but that the rig is no longer ready.
fn alarms(play: &Simulation, from: u64, to: u64) -> Vec<&Change> {
    let rang = |c: &&Change| {
        let at = c.at >= Moment::from_secs(from) && c.at < Moment::from_secs(to);
        at && c.worse && !c.folded && !matches!(c.subject, Subject::Ready(_))
    };
    play.changes().iter().filter(rang).collect()
}

/// Plays on to `end`, and no device is told of singly as missing at any moment.
fn play_folded(play: &mut Simulation, end: u64) {
    let end = Moment::from_secs(end);
    while play.now() < end {
        let next = (play.now() + Duration::from_millis(50)).min(end);
        play.play_until(next, |_| false);
        let snapshot = play.snapshot();
        check_invariants(&snapshot);
        let single = snapshot.findings.iter().find(|f| f.kind == FindingKind::Missing);
        assert_eq!(single, None, "{:?}", play.now());
    }
}

#[test]
fn chained_switches_and_the_way_to_them_are_one_alarm_each() {
    for seed in seeds() {
        let mut play = play("uplink", seed);
        play.play_until(Moment::from_secs(19), |_| false);
        assert!(play.ledger().ready(), "seed {seed}: {}", play.snapshot().headline);
        play_folded(&mut play, 45);
        let snapshot = play.snapshot();
        let [outage] = outages(&snapshot)[..] else {
            panic!("seed {seed}: {:?}", snapshot.findings)
        };
        assert_eq!(outage.devices.len(), 6, "seed {seed}: {outage:?}");
        for words in ["switch S2 and behind it (S3)", "so did the switch itself", "S1/8"] {
            assert!(outage.text.contains(words), "seed {seed}: {}", outage.text);
        }
        assert_eq!(snapshot.counts.of(Standing::Missing), 6, "seed {seed}");
        assert_eq!(
            alarms(&play, 20, 45).len(),
            1,
            "seed {seed}: {:?}",
            alarms(&play, 20, 45)
        );

        play_folded(&mut play, 75);
        assert!(play.ledger().ready(), "seed {seed}: {}", play.snapshot().headline);
        let back: Vec<&Change> = play
            .changes()
            .iter()
            .filter(|c| !c.folded && !c.worse && c.at > Moment::from_secs(45))
            .collect();
        assert_eq!(back.len(), 2, "seed {seed}: back, and ready: {back:?}");

        play_folded(&mut play, 90);
        let snapshot = play.snapshot();
        let [outage] = outages(&snapshot)[..] else {
            panic!("seed {seed}: {:?}", snapshot.findings)
        };
        assert_eq!(outage.devices.len(), 8, "seed {seed}: {outage:?}");
        assert_eq!(
            alarms(&play, 75, 90).len(),
            1,
            "seed {seed}: {:?}",
            alarms(&play, 75, 90)
        );
        play_folded(&mut play, 110);
        assert!(play.ledger().ready(), "seed {seed}: {}", play.snapshot().headline);
        assert_eq!(alarms(&play, 90, 110).len(), 0, "seed {seed}");
    }
}

#[test]
fn a_switch_that_loses_power_is_one_alarm_until_the_last_head_is_back() {
    for seed in seeds() {
        let mut play = play("power", seed);
        play.play_until(Moment::from_secs(20), |_| false);
        play_folded(&mut play, 150);
        let rang = alarms(&play, 20, 150);
        assert_eq!(rang.len(), 1, "seed {seed}: {rang:?}");
        assert!(
            rang[0].text.contains("switch S1"),
            "seed {seed}: {}",
            rang[0].text
        );
        assert!(
            rang[0].at < Moment::from_secs(24),
            "seed {seed}: {:?}",
            rang[0].at
        );
        let lost = play.changes().iter().filter(|c| {
            matches!(
                &c.subject,
                Subject::Device {
                    to: Standing::Missing,
                    ..
                }
            )
        });
        assert_eq!(lost.count(), 8, "seed {seed}: each is on record");
        let back = play
            .changes()
            .iter()
            .filter(|c| c.text.contains("are back"))
            .count();
        assert_eq!(back, 1, "seed {seed}");
        assert!(play.ledger().ready(), "seed {seed}: {}", play.snapshot().headline);
    }
}

#[test]
fn scenes_without_a_common_cause_tell_of_none() {
    for scene in [
        "calm",
        "tangled",
        "strayed",
        "clash",
        "late",
        "cable",
        "held",
        "standings",
        "traps",
        "leases",
    ] {
        for seed in seeds().take(4) {
            let mut play = play(scene, seed);
            play.play_until(Moment::from_secs(90), |_| false);
            let told = |c: &&Change| {
                matches!(
                    c.subject,
                    Subject::Finding {
                        kind: FindingKind::CommonOutage,
                        ..
                    }
                )
            };
            assert_eq!(play.changes().iter().find(told), None, "{scene}, seed {seed}");
        }
    }
}

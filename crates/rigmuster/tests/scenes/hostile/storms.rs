//! Ten seconds of each storm, counted against the same seconds without one.

use ledger::{FindingKind as Kind, Severity, Standing, Subject};

use super::*;

/// Questions that strangers may make us send: so many at once, so many a second.
const FOR_STRANGERS: u64 = 64 + 20 * 15;
/// The same about addresses of the rig, which are asked until it is clear who holds them, each once in a tenth
/// of a second at the most.
const FOR_THE_RIG: u64 = 100 * 15;

/// How many frames a second: once more hosts than are kept.
const fn rate(storm: Storm) -> u32 {
    match storm {
        Storm::NewHosts | Storm::Flow => 480,
        _ => 200,
    }
}

/// What may be found while it rages.
fn told(storm: Storm) -> &'static [(Kind, Severity)] {
    match storm {
        Storm::NewHosts => &[(Kind::Flood, Severity::Risk)],
        Storm::Claims
        | Storm::Probes
        | Storm::Dhcp
        | Storm::Mdns
        | Storm::WsDiscovery
        | Storm::Lldp
        | Storm::Flow => &[],
        // Whoever sends replies without end holds our address, for all that can be told.
        Storm::Replies => &[
            (Kind::AddressConflict, Severity::Fault),
            (Kind::ProxyArp, Severity::Risk),
        ],
        Storm::SenderFields => &[(Kind::OddSender, Severity::Note)],
        Storm::OwnFrames => &[(Kind::FramesReturn, Severity::Risk)],
    }
}

/// The seeds of a long run; of a short one the first.
fn few_seeds() -> impl Iterator<Item = u64> {
    crate::common::seeds().filter(|seed| seed % 12 == 1)
}

#[test]
fn a_storm_changes_nobodys_standing_and_ends_without_a_trace() {
    let quiet = {
        let mut play = play("calm", 1);
        play.play_until(BEGINS, |_| false);
        watch(play, Duration::from_secs(15))
    };
    assert_eq!(quiet.screen.pictures, 0, "without a storm nothing changes");
    for (storm, seed) in Storm::ALL
        .into_iter()
        .flat_map(|s| few_seeds().map(move |n| (s, n)))
    {
        let mut course = rage(storm, seed, rate(storm));
        let snapshot = course.play.snapshot();
        assert!(all(&snapshot, Standing::Present), "{storm:?}, seed {seed}");
        for change in course.play.changes() {
            let moved = matches!(change.subject, Subject::Device { .. });
            assert!(!moved, "{storm:?}, seed {seed}: {}", change.text);
        }
        let found: Vec<(Kind, Severity)> = {
            let mut all: Vec<_> = snapshot.findings.iter().map(|f| (f.kind, f.severity)).collect();
            all.dedup();
            all
        };
        assert_eq!(found, told(storm), "{storm:?}, seed {seed}");
        // Records.
        assert!(
            snapshot.unlisted.len() <= 500,
            "{storm:?}: {}",
            snapshot.unlisted.len()
        );
        assert!(
            snapshot.unlisted_total <= 4_096,
            "{storm:?}: {}",
            snapshot.unlisted_total
        );
        assert!(snapshot.plugged.len() <= 4, "{storm:?}");
        // What we send.
        let disputed = matches!(storm, Storm::Claims | Storm::Replies);
        let most = quiet.sent + if disputed { FOR_THE_RIG } else { FOR_STRANGERS };
        assert!(
            course.sent <= most,
            "{storm:?}, seed {seed}: {} of {most} frames",
            course.sent
        );
        // The screen.
        let screen = &course.screen;
        assert!(screen.pictures <= 45, "{storm:?}: {} pictures", screen.pictures);
        let lines = if disputed { 200 } else { 60 };
        assert!(screen.lines <= lines, "{storm:?}: {} lines", screen.lines);
        assert!(screen.headlines.len() <= 3, "{storm:?}: {:?}", screen.headlines);
        if !disputed {
            assert!(snapshot.ready, "{storm:?}, seed {seed}: {}", snapshot.headline);
            assert_eq!(screen.headlines.len(), 1, "{storm:?}: {:?}", screen.headlines);
        }
        let shown = screen.text();
        let odd = |c: &char| *c != '\n' && vocab::moves_or_hides(*c);
        assert_eq!(shown.chars().find(odd), None, "{storm:?}: {shown:?}");
        // A while later it is as if nothing had been, but for what somebody was seen to do in the names of others.
        // At our own address three are asked in turn, once in ten seconds.
        let end = if disputed { 150 } else { 90 };
        course.play.play_until(Moment::from_secs(end), |_| false);
        let after = course.play.snapshot();
        assert!(after.ready, "{storm:?}, seed {seed}: {}", after.headline);
        let stays = [Kind::OddSender, Kind::ProxyArp];
        let left = after.findings.iter().filter(|f| !stays.contains(&f.kind));
        assert_eq!(left.count(), 0, "{storm:?}, seed {seed}: {:?}", after.findings);
    }
}

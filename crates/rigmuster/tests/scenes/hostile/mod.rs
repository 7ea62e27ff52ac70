//! A hostile network, storm by storm: records stay bounded, what we send stays within the pace, nobody of the rig
//! changes his standing, and the screen stays calm. The bounds are those of docs/hostile.md.

#![allow(clippy::expect_used)]

mod claims;
mod ports;
mod screen;
mod storms;

use std::time::Duration;

use rigmuster::source::Simulation;
use venue::{Deed, Ground, Storm};
use vocab::{Ipv4Net, Mac, Moment};

use crate::common::{check_invariants, play, standing};
use screen::Screen;

/// When the storm begins: the rig is ready, and the passes are over.
const BEGINS: Moment = Moment::from_secs(8);

/// What stood and happened while a storm raged.
struct Course {
    play: Simulation,
    screen: Screen,
    /// Frames that left our jack meanwhile.
    sent: u64,
}

/// Harbour Hall, its subnet, ourselves and all devices with a fixed address.
fn ground() -> Ground {
    let scene = venue::scene("calm").expect("it is one");
    let rig = rig::read(scene.name, scene.rig.as_bytes()).rig.expect("sound");
    let fixed = |d: &rig::Device| Some((*d.macs.first()?, d.fixed_address()?));
    let subnet: Ipv4Net = rig.network.subnet;
    Ground {
        subnet,
        ours: (
            Mac::new([0x02, 0x52, 0x43, 0xfe, 0, 1]),
            "10.40.8.230".parse().expect("an address"),
        ),
        gateway: rig.network.gateway.expect("it has one"),
        listed: rig.devices.iter().filter_map(fixed).collect(),
    }
}

/// Plans `many` frames of a storm, so many a second, from `from` on.
fn plan(play: &mut Simulation, storm: Storm, from: Moment, many: u32, a_second: u32) {
    let ground = ground();
    for n in 0..many {
        let at = from + Duration::from_secs(1) * n / a_second;
        let frame = storm.frame(n, &ground);
        play.rehearsal().venue_mut().plan(at, Deed::Hear(frame));
    }
}

/// The calm hall with such a storm of ten seconds, and five seconds more.
fn rage(storm: Storm, seed: u64, a_second: u32) -> Course {
    let mut play = play("calm", seed);
    play.play_until(BEGINS, |_| false);
    assert!(play.snapshot().ready, "{storm:?}: {}", play.snapshot().headline);
    plan(&mut play, storm, BEGINS, a_second * 10, a_second);
    watch(play, Duration::from_secs(15))
}

/// Watches for so long, ten times a second, and draws where there is news, as the board does.
fn watch(mut play: Simulation, span: Duration) -> Course {
    let before = play.rehearsal().venue().sent().frames;
    let mut screen = Screen::of(&play.snapshot());
    let mut drawn = play.ledger().revision();
    for tenth in 1..=span.as_millis() as u32 / 100 {
        play.play_until(BEGINS + Duration::from_millis(100) * tenth, |_| false);
        if drawn == play.ledger().revision() {
            continue;
        }
        drawn = play.ledger().revision();
        let snapshot = play.snapshot();
        check_invariants(&snapshot);
        screen.show(&snapshot);
    }
    let sent = play.rehearsal().venue().sent().frames - before;
    Course { play, screen, sent }
}

/// Whether every device stands so.
fn all(snapshot: &ledger::Snapshot, wanted: ledger::Standing) -> bool {
    snapshot
        .devices
        .iter()
        .all(|d| standing(snapshot, &d.name) == wanted)
}

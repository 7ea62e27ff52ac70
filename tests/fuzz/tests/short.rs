//! The short run: every target with its seeds, with all that ever broke it, and with mutations of both.
//!
//! The mutations are the same on every run, and `RIGMUSTER_FUZZ_TIMES` plays so many times as many.
//! What breaks a promise is written to a file whose name is told; put it under `kept/TARGET/`, named
//! after what was wrong.
#![allow(clippy::expect_used)]

use std::panic::{AssertUnwindSafe, catch_unwind};

use rigmuster_fuzz::mutate::Mutator;
use rigmuster_fuzz::{TARGETS, Target, kept, target};

fn play(target: &Target, name: &str, input: &[u8]) {
    if catch_unwind(AssertUnwindSafe(|| (target.run)(input))).is_err() {
        let path = std::env::temp_dir().join(format!("rigmuster-{}-{}", target.name, std::process::id()));
        std::fs::write(&path, input).expect("the input can be written");
        panic!(
            "{}: {name} broke a promise; the input is in {}",
            target.name,
            path.display()
        );
    }
}

fn short(name: &str) {
    let target = target(name).expect("a target of that name");
    let mut seeds = (target.seeds)();
    assert!(!seeds.is_empty(), "{name} has nothing to begin from");
    for (n, seed) in seeds.iter().enumerate() {
        assert!(
            seed.len() <= target.longest,
            "{name}: seed {n} is longer than what is tried"
        );
        play(target, &format!("seed {n}"), seed);
    }
    for (file, input) in kept(target) {
        play(target, &file, &input);
        seeds.push(input);
    }
    play(target, "nothing", &[]);
    let times: u32 = std::env::var("RIGMUSTER_FUZZ_TIMES").map_or(1, |n| n.parse().expect("a number"));
    let mut mutator = Mutator::new(0x5247_4d4a);
    for n in 0..target.short.saturating_mul(times) {
        let input = mutator.next(&seeds, target.longest);
        play(target, &format!("mutation {n}"), &input);
    }
}

macro_rules! short {
    ($($name:ident)*) => {
        $(#[test]
        fn $name() {
            short(stringify!($name));
        })*

        /// No target is left out of the list above.
        #[test]
        fn every_target_has_a_short_run() {
            let listed = [$(stringify!($name)),*];
            for target in TARGETS {
                assert!(listed.contains(&target.name), "{} is not played", target.name);
            }
        }
    };
}

short! {
    frame packet dhcp mdns discovery enquiry lldp control heads visca onvif
    rig_file venue_file csv
    tunnel_http tunnel_rtsp saved journal registry
    snapshot
}

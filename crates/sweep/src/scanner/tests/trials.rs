//! Echoes of a cable check: each is told of, paced like everything, and never goes where it must not.

use std::time::Duration;

use vocab::{Ask, Fact, FrameSize, Mac, Mode, Moment, Pace, Trial, Tried};
use wire::What;

use super::toy::{Toy, address, config, host, mac, ms};
use crate::{Config, Hold};

fn ask(n: u8, to: Option<Mac>, number: u32, size: FrameSize) -> Ask {
    Ask::Trial {
        address: address(n),
        mac: to,
        trial: Trial { number, size },
    }
}

/// What was told of each echo, in order.
fn told(toy: &Toy) -> Vec<(u32, Tried)> {
    toy.facts(|_, fact| match fact {
        Fact::Trial { trial, what, .. } => Some((trial.number, *what)),
        _ => None,
    })
}

fn toy(config: Config) -> Toy {
    let mut toy = Toy::new(config);
    toy.hosts.push(host(21));
    toy
}

#[test]
fn each_size_goes_out_whole_and_comes_back() {
    let mut toy = toy(config());
    for (number, size) in (1..).zip(FrameSize::ALL) {
        toy.ask(ask(21, Some(mac(21)), number, size));
    }
    toy.run_for(Duration::from_secs(1));
    let mut lengths: Vec<usize> = toy
        .frames
        .iter()
        .filter(|(_, f)| matches!(wire::peek(f).unwrap().what, What::EchoRequest { .. }))
        .map(|(_, f)| f.len() + 4)
        .collect();
    lengths.sort_unstable();
    assert_eq!(lengths, [64, 256, 512, 1_024, 1_518]);
    let said = told(&toy);
    let answered = |n| said.contains(&(n, Tried::Answered(Toy::DELAY * 2)));
    assert!((1..=5).all(answered), "{said:?}");
    assert_eq!(said.len(), 10, "sent and answered, each once: {said:?}");
    assert!(
        toy.facts(|_, f| matches!(f, Fact::Echo { .. } | Fact::Sent { .. }).then_some(()))
            .is_empty(),
        "it is told by nothing else"
    );
}

#[test]
fn silence_is_told_after_a_second() {
    let mut toy = toy(config());
    toy.ask(ask(22, Some(mac(22)), 1, FrameSize::Full));
    toy.run_for(Duration::from_millis(900));
    assert_eq!(told(&toy), [(1, Tried::Sent)]);
    toy.run_for(Duration::from_millis(300));
    assert_eq!(told(&toy), [(1, Tried::Sent), (1, Tried::Silent)]);
}

#[test]
fn they_count_in_the_pace() {
    let mut toy = toy(Config {
        pace: Pace::House,
        ..config()
    });
    for number in 0..100 {
        toy.ask(ask(21, Some(mac(21)), number, FrameSize::Full));
    }
    toy.run_for(Duration::from_secs(5));
    let sent = told(&toy).iter().filter(|t| t.1 == Tried::Sent).count();
    assert!((45..=51).contains(&sent), "{sent} in 5 s at ten a second");
}

#[test]
fn what_cannot_go_is_told_at_once() {
    // A foreign subnet, and hardware that is not known.
    let mut foreign = toy(config());
    foreign.ask(Ask::Trial {
        address: "192.168.0.20".parse().unwrap(),
        mac: Some(mac(20)),
        trial: Trial {
            number: 1,
            size: FrameSize::Least,
        },
    });
    let mut unknown = toy(config());
    unknown.ask(ask(21, None, 1, FrameSize::Least));
    // Through routers there is no cable to try.
    let mut routed = toy(Config {
        mode: Mode::Routed,
        ..config()
    });
    routed.ask(ask(21, None, 1, FrameSize::Least));
    // The system sends no such frame: it is tried once.
    let mut refused = toy(config());
    refused.refuse = Some(Hold::Down);
    refused.ask(ask(21, Some(mac(21)), 1, FrameSize::Full));
    for mut toy in [foreign, unknown, routed, refused] {
        toy.run_for(Duration::from_secs(2));
        assert_eq!(told(&toy), [(1, Tried::NotSent)]);
        assert!(toy.frames.is_empty());
    }
}

#[test]
fn without_whole_frames_the_system_sends_them_if_it_may() {
    let plain = Config {
        mode: Mode::Unprivileged,
        ..config()
    };
    let mut toy = toy(plain);
    toy.ask(ask(21, Some(mac(21)), 1, FrameSize::Full));
    toy.run_for(Duration::from_secs(1));
    assert_eq!(
        told(&toy),
        [(1, Tried::Sent), (1, Tried::Answered(Toy::DELAY * 2))]
    );
    toy.scanner.set_can_ping(false);
    toy.ask(ask(21, Some(mac(21)), 2, FrameSize::Full));
    toy.run_for(Duration::from_secs(1));
    assert_eq!(told(&toy).last(), Some(&(2, Tried::NotSent)));
}

#[test]
fn a_quieter_level_drops_them() {
    let mut watching = toy(config());
    watching.scanner.set_watch_only(ms(0), true);
    watching.ask(ask(21, Some(mac(21)), 1, FrameSize::Full));
    watching.run(Moment::from_secs(2));
    assert!(told(&watching).is_empty() && watching.frames.is_empty());
    let mut silent = toy(config());
    silent.listen_only = true;
    silent.scanner.set_listen_only(ms(0), true);
    silent.ask(ask(21, Some(mac(21)), 1, FrameSize::Full));
    silent.run(Moment::from_secs(2));
    assert!(told(&silent).is_empty());
}

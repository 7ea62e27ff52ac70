//! Passes beyond our subnets.

use std::net::Ipv4Addr;
use std::num::NonZeroU32;

use vocab::{Ask, Mac, Moment, Pace, PassId};
use wire::arp;

use super::toy::{Toy, config, mac, ms};
use crate::Config;

const RANGE: &str = "192.168.70.0-192.168.79.255";

fn pass() -> Ask {
    Ask::Pass {
        id: PassId(9),
        range: RANGE.parse().unwrap(),
        except: Vec::new(),
    }
}

fn times(toy: &Toy) -> Vec<Moment> {
    toy.arps().into_iter().map(|(at, ..)| at).collect()
}

#[test]
fn it_waits_while_a_device_is_in_its_first_moments() {
    let mut toy = Toy::new(config());
    toy.ask(pass());
    toy.run(ms(500));
    let before = times(&toy).len();
    assert!((700..800).contains(&before), "{before}");
    // The probe is for an address of our own subnet; which one a starting device takes next is not known.
    toy.hear(&arp::probe_frame(
        mac(44),
        Ipv4Addr::new(10, 40, 8, 44),
        Mac::BROADCAST,
    ));
    toy.run(ms(10_499));
    assert_eq!(times(&toy).len(), before, "nothing goes out");
    toy.run(ms(15_000));
    assert_eq!(times(&toy).len(), 2_560, "and all of it in the end");
    assert!(times(&toy)[before] >= ms(10_500));
}

#[test]
fn a_pass_in_our_own_name_does_not_wait() {
    let mut toy = Toy::new(config());
    toy.hear(&arp::probe_frame(
        mac(44),
        Ipv4Addr::new(10, 40, 8, 44),
        Mac::BROADCAST,
    ));
    toy.ask(Ask::Pass {
        id: PassId(9),
        range: "10.40.8.1-10.40.8.254".parse().unwrap(),
        except: vec![Ipv4Addr::new(10, 40, 8, 5)],
    });
    toy.run(ms(1_000));
    assert_eq!(times(&toy).len(), 253);
}

#[test]
fn the_same_silent_addresses_wait_ten_seconds_for_a_second_pass() {
    let mut toy = Toy::new(config());
    let found = (Ipv4Addr::new(192, 168, 77, 5), mac(77));
    toy.hosts.push(found);
    toy.ask(pass());
    toy.run(ms(3_000));
    assert_eq!(toy.answers().len(), 1);
    toy.ask(Ask::Pass {
        id: PassId(10),
        range: "192.168.77.0-192.168.77.15".parse().unwrap(),
        except: Vec::new(),
    });
    toy.run(ms(9_000));
    assert_eq!(
        times(&toy).len(),
        2_561,
        "only the one that answered is asked again at once"
    );
    toy.run(ms(13_000));
    assert_eq!(times(&toy).len(), 2_576);
}

/// 65,534 addresses of which 2,000 answer: what is remembered of them at any moment.
#[test]
fn a_whole_16_is_remembered_in_little_room() {
    let mut toy = Toy::new(Config {
        pace: Pace::PerSecond(NonZeroU32::new(14_880).unwrap()),
        ..config()
    });
    toy.hosts = (0..2_000_u32)
        .map(|n| 1 + n * 65_533 / 1_999)
        .map(|n| {
            let [_, _, c, d] = n.to_be_bytes();
            (
                Ipv4Addr::from(0xc0a8_0000 + n),
                Mac::new([0x02, 0x52, 0x43, 7, c, d]),
            )
        })
        .collect();
    toy.ask(Ask::Pass {
        id: PassId(9),
        range: "192.168.0.1-192.168.255.254".parse().unwrap(),
        except: Vec::new(),
    });
    let (mut records, mut open) = (0, 0);
    for step in 1..=60 {
        toy.run(ms(step * 100));
        records = records.max(toy.scanner.manners.records());
        open = open.max(toy.scanner.questions.open());
    }
    assert_eq!(times(&toy).len(), 65_534);
    assert_eq!(toy.answers().len(), 2_000);
    // One record for each that answered, and ten runs a second; open is what was asked in the last second.
    assert!((2_000..=2_100).contains(&records), "{records}");
    assert!((10_000..=15_500).contains(&open), "{open}");
}

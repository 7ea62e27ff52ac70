//! The deep search over a whole /16 in virtual time, scanner and ledger against a crowd that answers.
#![allow(clippy::unwrap_used)]

use std::collections::{BTreeMap, BTreeSet};
use std::net::Ipv4Addr;
use std::num::NonZeroU32;
use std::time::Duration;

use ledger::{Ledger, Places, Purpose, Settings, Vendors};
use link::Frame;
use sweep::{Config, Dialing, Order, Scanner};
use vocab::{ArpOp, LinkState, Mac, Medium, Mode, Moment, Pace, Station};
use wire::{What, arp};

/// A locally administered hardware address of our scenario.
fn mac(n: u16) -> Mac {
    let [a, b] = n.to_be_bytes();
    Mac::new([0x02, 0x52, 0x43, 0x07, a, b])
}

const OURS: Mac = Mac::new([0x02, 0x52, 0x43, 0xfe, 0x00, 0x01]);

fn station() -> Station {
    Station {
        name: "lan0".into(),
        index: 2,
        mac: OURS,
        addresses: vec!["10.40.8.5/24".parse().unwrap()],
        link_local: None,
        state: LinkState::Up,
        medium: Medium::Wired,
        mode: Mode::Raw,
        others: Vec::new(),
    }
}

/// 2,000 addresses of 192.168.0.0/16, among them its first and its last.
fn crowd() -> BTreeMap<Ipv4Addr, Mac> {
    (0..2_000_u32)
        .map(|n| 1 + n * 65_533 / 1_999)
        .map(|n| (Ipv4Addr::from(0xc0a8_0000 + n), mac(n as u16)))
        .collect()
}

/// What came of a search.
struct Course {
    /// When the first question of the search left.
    first: Moment,
    /// When the last host was found.
    last_find: Moment,
    /// How often each foreign address was asked for.
    asked: BTreeMap<Ipv4Addr, u32>,
    /// Whether the search ended by itself.
    over: bool,
    /// Hosts that the ledger shows as found.
    finds: usize,
}

fn search(pace: Pace, places: &Places, crowd: &BTreeMap<Ipv4Addr, Mac>, longest: Duration) -> Course {
    let mut scanner = Scanner::new(Config {
        pace,
        listen_only: false,
        mode: Mode::Raw,
        dialing: Dialing::Os,
        seed: 1,
    });
    let settings = Settings {
        rig: None,
        subnet: Some("10.40.8.0/24".parse().unwrap()),
        gateway: None,
        factory: vec!["192.168.0.20-29".parse().unwrap()],
        purpose: Purpose::Board,
        vendors: Vendors::NONE,
    };
    let mut ledger = Ledger::new(settings, Moment::ZERO);
    let mut now = Moment::ZERO;
    scanner.set_station(now, station());
    let mut course = Course {
        first: Moment::ZERO,
        last_find: Moment::ZERO,
        asked: BTreeMap::new(),
        over: false,
        finds: 0,
    };
    let mut replies: Vec<Frame> = Vec::new();
    let mut begun = false;
    let end = now + longest;
    while now < end {
        for reply in replies.drain(..) {
            scanner.receive(now, &reply);
        }
        scanner.tick(now);
        while let Some(sighting) = scanner.next_sighting() {
            ledger.fold(&sighting);
        }
        if !begun {
            begun = ledger.search(now, places.clone(), pace);
        }
        ledger.tick(now);
        while let Some(ask) = ledger.next_ask(now) {
            scanner.ask(now, ask);
        }
        while let Some(order) = scanner.next_order(now) {
            let Order::Frame(bytes) = order else { continue };
            scanner.done(now, Ok(()));
            let heard = wire::peek(&bytes).unwrap();
            let What::Arp(request) = heard.what else { continue };
            if request.op != ArpOp::Request || request.target_ip.octets()[0] != 192 {
                continue;
            }
            assert!(request.sender_ip.is_unspecified(), "never in our own name there");
            if course.asked.is_empty() {
                course.first = now;
            }
            *course.asked.entry(request.target_ip).or_default() += 1;
            if let Some(mac) = crowd.get(&request.target_ip) {
                course.last_find = now;
                let bytes = arp::reply_frame(*mac, request.target_ip, OURS, Ipv4Addr::UNSPECIFIED);
                replies.push(Frame {
                    bytes,
                    ..Frame::default()
                });
            }
        }
        course.over = begun && !ledger.is_searching();
        if course.over {
            break;
        }
        let next = [scanner.next_wake(), ledger.next_wake()]
            .into_iter()
            .flatten()
            .min();
        let later = now + Duration::from_micros(100);
        now = if replies.is_empty() {
            next.unwrap_or(later)
        } else {
            later
        };
    }
    let snapshot = ledger.snapshot(now);
    course.finds = snapshot.search.map_or(0, |s| s.finds);
    course
}

fn whole(pace: Pace, rate: f64, slack: f64) {
    let crowd = crowd();
    let places = Places::Only(vec!["192.168.0.0/16".parse().unwrap()]);
    let course = search(pace, &places, &crowd, Duration::from_mins(2));
    assert!(course.over);
    assert_eq!(course.finds, 2_000, "all of them");
    let bound = 65_534.0 / rate;
    let took = course.last_find.since(course.first).as_secs_f64();
    assert!(took <= bound * slack, "{took:.2} s of {bound:.2} s");
    assert_eq!(course.asked.len(), 65_534, "every address that a host can bear");
    let twice: BTreeSet<_> = course.asked.iter().filter(|(_, n)| **n > 1).collect();
    assert!(twice.is_empty(), "one question each: {twice:?}");
}

#[test]
fn a_whole_16_at_the_usual_pace_is_within_its_bound_and_asks_each_address_once() {
    whole(Pace::Own, 1_488.0, 1.05);
}

#[test]
fn a_whole_16_at_ten_times_the_pace_is_within_its_bound_too() {
    whole(Pace::PerSecond(NonZeroU32::new(14_880).unwrap()), 14_880.0, 1.1);
}

#[test]
fn a_whole_8_goes_on_at_its_pace_beyond_what_is_remembered_of_it() {
    let places = Places::Only(vec!["192.0.0.0/8".parse().unwrap()]);
    let rate = 14_880.0;
    let pace = Pace::PerSecond(NonZeroU32::new(14_880).unwrap());
    // Longer than the ten seconds for which an address is remembered as asked.
    let course = search(pace, &places, &BTreeMap::new(), Duration::from_secs(13));
    assert!(!course.over);
    let asked = course.asked.len() as f64;
    assert!(asked >= 12.0 * rate * 0.95, "{asked}");
}

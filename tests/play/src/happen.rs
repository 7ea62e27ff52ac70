//! Draws what happens.

use std::net::Ipv4Addr;
use std::time::Duration;

use vocab::{Ipv4Net, Level, Mac};

use crate::course::{Act, Course, Fault, Habit, Source, Start, Storm, Unit, What};
use crate::dice::Dice;

/// All temporary trouble is over so long before the wire is left alone.
const OVER: Duration = Duration::from_secs(1);

/// Adds faults and acts to a rig that stands.
pub(crate) fn draw(course: &mut Course, dice: &mut Dice) {
    course.calm = dice.millis(20_000, 90_000);
    let many = match dice.from(0, 10) {
        0 => 0,
        1..=6 => dice.from(1, 6),
        _ => dice.from(6, 16),
    };
    for _ in 0..many {
        let what = what(course, dice);
        let at = dice.millis(500, course.calm.as_millis() as u32 - 5_000);
        let stays = may_stay(&what) && dice.in_hundred(30);
        let longest = course.calm.saturating_sub(OVER + at).as_millis() as u32;
        let span = dice
            .millis(300, 25_000)
            .min(Duration::from_millis(u64::from(longest)));
        course.faults.push(Fault {
            at,
            span: (!stays).then_some(span),
            what,
        });
    }
    course.faults.sort_by_key(|f| f.at);
    for _ in 0..dice.one(&[0, 0, 0, 1, 2]) {
        act(course, dice);
    }
    course.acts.sort_by_key(|a| a.0);
}

fn act(course: &mut Course, dice: &mut Dice) {
    let at = dice.millis(500, course.calm.as_millis() as u32 - 5_000);
    let left = course.calm.saturating_sub(OVER + at).as_millis() as u32;
    let act = dice.weighed(&[
        (3, Act::Sweep),
        (2, Act::AskPorts),
        (2, Act::Level(Level::Watch)),
        (2, Act::Level(Level::Silent)),
        (2, Act::Sleep(Duration::ZERO)),
    ]);
    match act {
        Act::Level(_) => {
            let back = at
                + dice
                    .millis(200, left.max(300))
                    .min(Duration::from_millis(u64::from(left)));
            course.acts.push((at, act));
            course.acts.push((back, Act::Level(Level::All)));
        }
        Act::Sleep(_) => {
            let most = left.clamp(1_200, 30_000);
            course.acts.push((at, Act::Sleep(dice.millis(1_000, most))));
        }
        _ => course.acts.push((at, act)),
    }
}

/// Whether it may go on for ever. What hides the wire from us, or makes it rough, ends.
const fn may_stay(what: &What) -> bool {
    !matches!(
        what,
        What::OurLink(_) | What::OurAddress(..) | What::Rough(..) | What::Storm(..)
    )
}

fn switch(course: &Course, dice: &mut Dice) -> (usize, usize) {
    let net = dice.place(course.nets.len());
    (net, dice.place(course.nets[net].switches.len()))
}

/// A unit that is no gateway, if there is one.
fn unit(course: &Course, dice: &mut Dice) -> usize {
    (0..8)
        .map(|_| dice.place(course.units.len()))
        .find(|n| !matches!(course.units[*n].habit, Habit::Serves(_)))
        .unwrap_or(0)
}

const fn home(unit: &Unit) -> Option<Ipv4Net> {
    match unit.source {
        Source::Fixed(net) => Some(net),
        Source::Dhcp(_) => None,
    }
}

fn what(course: &mut Course, dice: &mut Dice) -> What {
    let n = unit(course, dice);
    let (net, s) = switch(course, dice);
    let one = course.units[n].clone();
    match dice.from(0, 100) {
        0..=15 => What::Power(n),
        16..=22 => What::Cable(n),
        23..=29 => What::Flaps(n, dice.small(2, 7), dice.millis(100, 3_000), dice.in_hundred(50)),
        30..=36 => What::Switch(net, s),
        37..=39 if s > 0 => What::Uplink(net, s),
        37..=45 => What::OurLink(net),
        46..=48 => {
            let near = course.nets[net].at(231);
            let far = Ipv4Net::new_assert(Ipv4Addr::new(172, 16, 9, 9), 24);
            What::OurAddress(net, dice.one(&[near, far, far]))
        }
        49..=58 => match home(&one) {
            Some(home) => What::Renumber(n, elsewhere(course, dice, &one), home),
            None => What::Power(n),
        },
        59..=62 => {
            let other = unit(course, dice);
            let both = home(&one).is_some() && home(&course.units[other]).is_some();
            let here = other != n && course.units[other].net == one.net;
            if both && here {
                What::Swap(n, other)
            } else {
                What::Cable(n)
            }
        }
        63..=70 => clash(course, dice, n),
        71..=74 => replace(course, dice, n),
        75..=82 => match one.ports.as_slice() {
            [] => What::Power(n),
            ports => What::Service(n, dice.one(ports).0),
        },
        83..=92 => {
            let whose = dice.in_hundred(50).then_some(n);
            let net = if whose.is_some() { one.net } else { net };
            let (loss, twice, held) = (dice.from(0, 50_001), dice.from(0, 30_001), dice.from(0, 30_001));
            What::Rough(net, whose, loss, twice, held)
        }
        93..=97 => {
            let kind = dice.one(&[Storm::Arp, Storm::Forged, Storm::Mdns]);
            let own = course.nets[net].at(240 + dice.small(0, 9));
            let laptop = guest(course, net, "Laptop", own);
            course.units[laptop].on = Start::Settled;
            What::Storm(laptop, kind, dice.from(20, 400))
        }
        _ => What::Announce(n),
    }
}

/// Another address for a unit: free, on another subnet, or somebody's.
fn elsewhere(course: &Course, dice: &mut Dice, one: &Unit) -> Ipv4Net {
    let at = &course.nets[one.net];
    let n = dice.small(1, 20);
    let factory = Ipv4Net::new_assert(Ipv4Addr::new(192, 168, 0, 20 + n % 10), 24);
    let link_local = Ipv4Net::new_assert(Ipv4Addr::new(169, 254, 4, n), 16);
    dice.one(&[at.at(200 + n), at.at(200 + n), factory, link_local, at.at(20 + n)])
}

/// A laptop that is not there at first.
fn guest(course: &mut Course, net: usize, name: &str, at: Ipv4Net) -> usize {
    let n = course.units.len();
    course.units.push(Unit {
        name: format!("{name} {n}"),
        net,
        switch: 0,
        mac: Mac::new([2, 0x62, 0, 0, net as u8, n as u8]),
        source: Source::Fixed(at),
        extra: Vec::new(),
        settings: Duration::from_millis(2_500),
        interim: None,
        probes: 0,
        ports: Vec::new(),
        habit: Habit::Plain,
        on: Start::Off,
        own_supply: true,
        drops_echo: false,
        sleeps: false,
        standby: false,
        says_name: false,
        second_port: None,
    });
    n
}

fn clash(course: &mut Course, dice: &mut Dice, n: usize) -> What {
    let one = course.units[n].clone();
    let Some(theirs) = home(&one) else {
        return What::Power(n);
    };
    let own = course.nets[one.net].at(190 + dice.small(0, 9));
    let guest = guest(course, one.net, "Guest", own);
    // It is there from the start, at an address of its own.
    course.units[guest].on = Start::Settled;
    What::Clash(guest, theirs, own)
}

fn replace(course: &mut Course, dice: &mut Dice, n: usize) -> What {
    let one = course.units[n].clone();
    let Some(at) = home(&one) else {
        return What::Cable(n);
    };
    let other = guest(course, one.net, "Other", at);
    if dice.in_hundred(50) {
        course.units[other].ports = one.ports;
    }
    What::Replace(n, other)
}

//! Tests of the whole scanner in virtual time against a toy network.

mod away;
mod broken;
mod courses;
mod dhcp;
mod dials;
mod enquiry;
mod far;
mod lldp;
mod names;
mod routed;
mod six;
mod told;
mod toy;
mod trials;
mod tunnel;

use std::net::Ipv4Addr;
use std::time::Duration;

use link::Frame;
use vocab::{
    AddressRange, ArpForm, Ask, Budget, Fact, LinkState, Moment, Pace, PassId, Rank, SilentTo, Wake,
};
use wire::{Arp, arp};

use self::toy::{Toy, US, address, config, host, mac, ms, own, station};
use crate::{Config, Hold, Order, Scanner};

fn arp_ask(address: Ipv4Addr, form: ArpForm, rank: Rank, budget: Budget) -> Ask {
    Ask::Arp {
        address,
        form,
        rank,
        budget,
    }
}

fn rig(n: u8, form: ArpForm) -> Ask {
    arp_ask(address(n), form, Rank::Rig, Budget::Pass)
}

fn sent(toy: &Toy) -> Vec<(u64, Ipv4Addr, SilentTo)> {
    toy.facts(|at, fact| match fact {
        Fact::Sent { address, what } => Some((at.as_millis(), *address, *what)),
        _ => None,
    })
}

fn silent(toy: &Toy) -> Vec<(u64, Ipv4Addr, SilentTo)> {
    toy.facts(|at, fact| match fact {
        Fact::Silent { address, what, .. } => Some((at.as_millis(), *address, *what)),
        _ => None,
    })
}

#[test]
fn a_question_is_sent_answered_and_told() {
    let mut toy = Toy::new(config());
    toy.hosts.push(host(21));
    toy.ask(rig(21, ArpForm::Broadcast));
    toy.ask(rig(22, ArpForm::Broadcast));
    toy.run(ms(2_000));
    let what = SilentTo::Arp(ArpForm::Broadcast);
    assert_eq!(
        sent(&toy).iter().map(|s| (s.1, s.2)).collect::<Vec<_>>(),
        [(address(21), what), (address(22), what)]
    );
    assert_eq!(
        silent(&toy).iter().map(|s| (s.1, s.2)).collect::<Vec<_>>(),
        [(address(22), what)]
    );
    let answers = toy.answers();
    assert_eq!(answers, [(address(21), mac(21), Some(ArpForm::Broadcast))]);
    // RFC 826: request for the address, our own as sender, to everybody.
    let heard = wire::peek(&toy.frames[0].1).unwrap();
    assert_eq!(heard.destination, vocab::Mac::BROADCAST);
    assert_eq!(heard.what, wire::What::Arp(Arp::request(own(), US, address(21))));
}

#[test]
fn the_sender_form_follows_our_subnets() {
    let foreign = Ipv4Addr::new(192, 168, 0, 20);
    let mut toy = Toy::new(config());
    toy.ask(arp_ask(foreign, ArpForm::Broadcast, Rank::Rig, Budget::Pass));
    toy.ask(arp_ask(foreign, ArpForm::Nobody, Rank::Rig, Budget::Pass));
    toy.ask(rig(21, ArpForm::Nobody));
    toy.ask(rig(22, ArpForm::Unicast(mac(22))));
    toy.ask(arp_ask(
        Ipv4Addr::new(172, 16, 0, 1),
        ArpForm::Unicast(mac(9)),
        Rank::Rig,
        Budget::Pass,
    ));
    toy.ask(arp_ask(US, ArpForm::Broadcast, Rank::Rig, Budget::Pass));
    toy.run(ms(500));
    let senders: Vec<_> = toy
        .arps()
        .into_iter()
        .map(|(_, to, a)| (a.target_ip, a.sender_ip, to))
        .collect();
    let none = Ipv4Addr::UNSPECIFIED;
    let all = vocab::Mac::BROADCAST;
    assert_eq!(
        senders,
        [
            (foreign, none, all),
            (address(21), none, all),
            (address(22), US, mac(22)),
            (Ipv4Addr::new(172, 16, 0, 1), none, mac(9)),
            (US, none, all),
        ]
    );
    let forms: Vec<_> = sent(&toy).iter().map(|s| s.2).collect();
    assert_eq!(forms[0], SilentTo::Arp(ArpForm::Nobody));
    assert_eq!(forms[3], SilentTo::Arp(ArpForm::Unicast(mac(9))));
}

#[test]
fn off_every_subnet_everything_is_asked_in_nobodys_name() {
    let mut toy = Toy::new(config());
    toy.station(vocab::Station {
        addresses: Vec::new(),
        ..station()
    });
    toy.hosts.push(host(21));
    toy.ask(rig(21, ArpForm::Broadcast));
    toy.ask(Ask::Echo {
        address: address(21),
        mac: Some(mac(21)),
        rank: Rank::Rig,
    });
    toy.run(ms(1_500));
    assert_eq!(toy.frames.len(), 1, "no echo without an address of our own");
    assert_eq!(toy.answers(), [(address(21), mac(21), Some(ArpForm::Nobody))]);
}

#[test]
fn questions_in_nobodys_name_are_held_and_not_lost() {
    let mut toy = Toy::new(config());
    toy.hosts.push(host(30));
    for _ in 0..40 {
        for n in [29, 30] {
            toy.ask(rig(n, ArpForm::Nobody));
        }
        toy.run_for(Duration::from_secs(1));
    }
    let times = |n: u8| -> Vec<u64> {
        sent(&toy)
            .iter()
            .filter(|s| s.1 == address(n))
            .map(|s| s.0 / 1_000)
            .collect()
    };
    assert_eq!(times(29), [0, 10, 20, 30, 40], "silent");
    assert_eq!(times(30).len(), 40, "answers");
}

#[test]
fn a_foreign_probe_holds_our_own() {
    let mut toy = Toy::new(config());
    toy.run(ms(3_000));
    toy.hear(&arp::probe_frame(mac(44), address(29), vocab::Mac::BROADCAST));
    toy.ask(rig(29, ArpForm::Nobody));
    toy.ask(rig(29, ArpForm::Broadcast));
    toy.run(ms(20_000));
    let all = sent(&toy);
    assert_eq!(all[0].2, SilentTo::Arp(ArpForm::Broadcast));
    assert_eq!((all[1].0, all[1].2), (13_000, SilentTo::Arp(ArpForm::Nobody)));
    assert_eq!(all.len(), 2);
}

#[test]
fn who_answers_the_address_that_we_had_answers_no_probe() {
    let mut toy = Toy::new(config());
    toy.ask(rig(29, ArpForm::Broadcast));
    toy.run(ms(20));
    let elsewhere = vocab::Station {
        addresses: vec!["172.16.9.9/24".parse().unwrap()],
        ..station()
    };
    toy.station(elsewhere);
    toy.ask(rig(29, ArpForm::Nobody));
    toy.run(ms(40));
    assert_eq!(sent(&toy).last().unwrap().2, SilentTo::Arp(ArpForm::Nobody));
    // A proxy takes up to 0.8 s.
    toy.hear(&arp::reply_frame(mac(99), address(29), own(), address(5)));
    toy.run(ms(60));
    let forms: Vec<_> = toy.answers().into_iter().map(|(_, _, form)| form).collect();
    assert!(
        !forms.is_empty() && !forms.contains(&Some(ArpForm::Nobody)),
        "{forms:?}"
    );
}

#[test]
fn the_rig_goes_first_and_the_rest_last() {
    let mut toy = Toy::new(Config {
        pace: Pace::PerSecond(100.try_into().unwrap()),
        ..config()
    });
    let range: AddressRange = "10.40.8.100-10.40.8.110".parse().unwrap();
    toy.ask(Ask::Pass {
        id: PassId(1),
        range,
        except: vec![address(105)],
    });
    toy.ask(arp_ask(
        address(50),
        ArpForm::Broadcast,
        Rank::Heard,
        Budget::Pass,
    ));
    toy.ask(rig(21, ArpForm::Broadcast));
    toy.ask(rig(21, ArpForm::Broadcast));
    toy.run(ms(3_000));
    let order: Vec<u8> = sent(&toy).iter().map(|s| s.1.octets()[3]).collect();
    assert_eq!(order, [21, 50, 100, 101, 102, 103, 104, 106, 107, 108, 109, 110]);
    let ends = toy.facts(|at, f| matches!(f, Fact::PassDone { id: PassId(1) }).then(|| at.as_millis()));
    let last = sent(&toy).last().unwrap().0;
    assert_eq!(ends, [last + 300]);
    let progress = toy.facts(|_, f| match f {
        Fact::PassAsked { asked, total: 10, .. } => Some(*asked),
        _ => None,
    });
    assert_eq!(progress.last(), Some(&10));
}

#[test]
fn at_house_pace_the_rest_still_goes_on() {
    let mut toy = Toy::new(Config {
        pace: Pace::House,
        ..config()
    });
    let range: AddressRange = "10.40.8.100-10.40.8.199".parse().unwrap();
    toy.ask(Ask::Pass {
        id: PassId(1),
        range,
        except: Vec::new(),
    });
    for _ in 0..200 {
        for n in 20..40 {
            toy.ask(rig(n, ArpForm::Unicast(mac(n))));
        }
        toy.run_for(Duration::from_millis(100));
    }
    let rest = sent(&toy).iter().filter(|s| s.1.octets()[3] >= 100).count();
    let all = sent(&toy).len();
    assert!((195..=201).contains(&all), "{all}");
    assert!((45..=52).contains(&rest), "{rest} of {all}");
}

#[test]
fn broadcasts_of_watching_keep_to_fifty_a_second_and_hold_nothing_else_back() {
    let mut toy = Toy::new(config());
    for _ in 0..3 {
        for n in 10..=250 {
            toy.ask(arp_ask(address(n), ArpForm::Broadcast, Rank::Rig, Budget::Watch));
            toy.ask(arp_ask(
                address(n),
                ArpForm::Unicast(mac(n)),
                Rank::Heard,
                Budget::Watch,
            ));
        }
        toy.run_for(Duration::from_secs(1));
    }
    let broadcasts = sent(&toy)
        .iter()
        .filter(|s| s.2 == SilentTo::Arp(ArpForm::Broadcast))
        .count();
    assert!((148..=151).contains(&broadcasts), "{broadcasts}");
    assert_eq!(sent(&toy).len() - broadcasts, 3 * 241);
}

#[test]
fn a_whole_22_that_answers_is_found_unpaced_with_a_small_buffer() {
    let mut toy = Toy::new(Config {
        pace: Pace::Max,
        ..config()
    });
    toy.station(vocab::Station {
        addresses: vec!["10.40.8.5/22".parse().unwrap()],
        ..station()
    });
    toy.everybody = true;
    let range: AddressRange = "10.40.8.1-10.40.11.254".parse().unwrap();
    toy.ask(Ask::Pass {
        id: PassId(1),
        range,
        except: vec![US],
    });
    toy.run(ms(1_000));
    assert_eq!(toy.answers().len(), 1_021);
    assert!(toy.most_waiting <= 200, "{}", toy.most_waiting);
    let took = sent(&toy).last().unwrap().0;
    assert!(took <= 20, "{took} ms");
}

#[test]
fn echo_is_matched_and_measured() {
    let mut toy = Toy::new(config());
    toy.hosts.push(host(21));
    toy.ask(Ask::Echo {
        address: address(21),
        mac: Some(mac(21)),
        rank: Rank::Rig,
    });
    toy.ask(Ask::Echo {
        address: address(22),
        mac: Some(mac(22)),
        rank: Rank::Rig,
    });
    toy.ask(Ask::Echo {
        address: address(23),
        mac: None,
        rank: Rank::Rig,
    });
    toy.run(ms(3_000));
    let echoes = toy.facts(|_, f| match f {
        Fact::Echo {
            address,
            mac,
            asked,
            rtt,
            ..
        } if mac == asked => Some((*address, *mac, *rtt)),
        _ => None,
    });
    assert_eq!(echoes, [(address(21), Some(mac(21)), Toy::DELAY * 2)]);
    assert_eq!(
        silent(&toy).iter().map(|s| (s.1, s.2)).collect::<Vec<_>>(),
        [(address(22), SilentTo::Echo(Some(mac(22))))]
    );
    assert_eq!(sent(&toy).len(), 2);
}

#[test]
fn both_owners_of_one_address_are_told() {
    let mut toy = Toy::new(config());
    toy.hosts.push(host(21));
    toy.hosts.push((address(21), mac(99)));
    toy.ask(rig(21, ArpForm::Broadcast));
    toy.run(ms(2_000));
    assert_eq!(
        toy.answers(),
        [
            (address(21), mac(21), Some(ArpForm::Broadcast)),
            (address(21), mac(99), Some(ArpForm::Broadcast)),
        ]
    );
}

#[test]
fn what_others_say_is_told_with_its_tag_and_our_own_frames_are_not() {
    let mut toy = Toy::new(config());
    toy.hear(&Arp::announcement(mac(7), address(7)).frame(vocab::Mac::BROADCAST, Some(40)));
    toy.hear(&arp::announcement_frame(own(), US));
    let mut odd = arp::announcement_frame(mac(8), address(8));
    odd[6..12].copy_from_slice(&mac(9).octets());
    toy.hear_frame(&Frame {
        bytes: odd,
        vlan: Some(12),
        checksum_unfinished: false,
    });
    let seen = toy.facts(|_, f| match f {
        Fact::Arp(seen) => Some((
            seen.frame_source,
            seen.sender,
            seen.address,
            seen.vlan,
            seen.answers,
        )),
        _ => None,
    });
    assert_eq!(
        seen,
        [
            (mac(7), mac(7), address(7), Some(40), None),
            (mac(9), mac(8), address(8), Some(12), None),
        ]
    );
}

#[test]
fn dhcp_clients_wake_and_nonsense_is_counted_once_a_second() {
    let mut toy = Toy::new(config());
    let discover = wire::dhcp::Message::discover(7, mac(50), Some(vocab::Text::clean("loft")));
    let path = wire::Path {
        from_mac: mac(50),
        from: Ipv4Addr::UNSPECIFIED,
        to_mac: vocab::Mac::BROADCAST,
        to: Ipv4Addr::BROADCAST,
    };
    let payload = discover.emit();
    let udp = wire::Udp {
        source_port: 68,
        destination_port: 67,
        payload: &payload,
    };
    let frame = udp.frame(path);
    toy.hear(&frame);
    for _ in 0..5 {
        toy.hear(&[1, 2, 3]);
    }
    toy.run(ms(2_500));
    let wakes = toy.facts(|_, f| {
        if let Fact::Wakes { mac, how } = f {
            Some((*mac, how.clone()))
        } else {
            None
        }
    });
    assert_eq!(wakes, [(mac(50), Wake::DhcpDiscover)]);
    let named = toy.facts(|_, f| match f {
        Fact::Named { mac, names, .. } if !names.is_empty() => Some((*mac, names.clone())),
        _ => None,
    });
    let loft = vocab::Name {
        text: "loft".into(),
        source: vocab::NameSource::Dhcp,
    };
    assert_eq!(named, [(mac(50), vec![loft])]);
    let told = toy.facts(|at, f| {
        if let Fact::Malformed { total } = f {
            Some((at.as_millis(), *total))
        } else {
            None
        }
    });
    assert_eq!(told, [(0, 1), (1_000, 5)]);
}

#[test]
fn a_busy_port_loses_nothing_and_a_dead_one_is_left_alone() {
    let mut toy = Toy::new(config());
    toy.refuse = Some(Hold::Busy);
    toy.ask(rig(21, ArpForm::Broadcast));
    assert!(toy.step_order().is_some());
    assert!(sent(&toy).is_empty());
    toy.refuse = Some(Hold::Down);
    assert!(toy.step_order().is_some());
    assert!(toy.step_order().is_none(), "a pause");
    toy.refuse = None;
    toy.run(ms(1_000));
    assert_eq!(sent(&toy).len(), 1);
    assert_eq!(sent(&toy)[0].0, 100);
}

#[test]
fn nothing_is_said_of_questions_that_the_link_may_have_lost() {
    let mut toy = Toy::new(config());
    toy.ask(rig(21, ArpForm::Broadcast));
    toy.ask(Ask::Pass {
        id: PassId(1),
        range: "10.40.8.1-254".parse().unwrap(),
        except: Vec::new(),
    });
    toy.run(ms(100));
    toy.station(vocab::Station {
        state: LinkState::NoCarrier,
        ..station()
    });
    toy.ask(rig(22, ArpForm::Broadcast));
    let before = toy.frames.len();
    toy.run(ms(5_000));
    assert_eq!(toy.frames.len(), before);
    assert!(silent(&toy).is_empty());
    assert_eq!(
        toy.scanner.next_wake(),
        None,
        "nothing to do while the link is down"
    );
    toy.station(station());
    toy.ask(rig(23, ArpForm::Broadcast));
    toy.run(ms(6_000));
    assert_eq!(toy.frames.len(), before + 1, "only what was asked since");
}

#[test]
fn without_a_station_nothing_is_sent() {
    let mut scanner = Scanner::new(config());
    scanner.ask(Moment::ZERO, rig(21, ArpForm::Broadcast));
    assert_eq!(scanner.next_order(Moment::ZERO), None::<Order>);
    assert_eq!(scanner.next_wake(), None);
}

//! Through routers: echo and control ports of the system's sockets, and nothing else.

use core::net::Ipv4Addr;

use link::{DialEvent, Transport};
use vocab::{
    ArpForm, Ask, Budget, Fact, LinkState, Mac, Medium, Mode, Moment, Pace, PassId, Rank, RollCall, SilentTo,
    Station,
};

use crate::{Config, Dialing, Hold, Order, Scanner};

const FAR: Ipv4Addr = Ipv4Addr::new(10, 41, 0, 21);

fn scanner() -> Scanner {
    let mut scanner = Scanner::new(Config {
        pace: Pace::Own,
        listen_only: false,
        mode: Mode::Routed,
        dialing: Dialing::Os,
        seed: 1,
    });
    let station = Station {
        name: "lan0".into(),
        index: 3,
        mac: Mac::new([2, 0x52, 0x43, 0, 0, 1]),
        addresses: vec!["10.40.8.5/24".parse().unwrap()],
        link_local: None,
        state: LinkState::Up,
        medium: Medium::Wired,
        mode: Mode::Routed,
        others: Vec::new(),
    };
    scanner.set_station(Moment::ZERO, station);
    while scanner.next_sighting().is_some() {}
    scanner
}

fn echo() -> Ask {
    Ask::Echo {
        address: FAR,
        mac: None,
        rank: Rank::Rig,
    }
}

fn ms(n: u64) -> Moment {
    Moment::from_millis(n)
}

fn facts(scanner: &mut Scanner) -> Vec<Fact> {
    std::iter::from_fn(|| scanner.next_sighting())
        .map(|s| s.fact)
        .collect()
}

#[test]
fn an_echo_goes_out_as_a_ping_and_its_silence_takes_longer_than_on_a_wire() {
    let mut scanner = scanner();
    scanner.ask(ms(0), echo());
    let Some(Order::Ping(address, sequence)) = scanner.next_order(ms(0)) else {
        panic!("no ping");
    };
    scanner.done(ms(0), Ok(()));
    assert_eq!(address, FAR);
    let what = SilentTo::Echo(None);
    assert_eq!(facts(&mut scanner), [Fact::Sent { address, what }]);
    scanner.tick(ms(1_400));
    assert!(facts(&mut scanner).is_empty());
    scanner.echo_reply(ms(1_400), FAR, sequence, 16);
    assert!(matches!(
        facts(&mut scanner).as_slice(),
        [Fact::Echo { mac: None, .. }]
    ));
    scanner.ask(ms(2_000), echo());
    assert!(scanner.next_order(ms(2_000)).is_some());
    scanner.done(ms(2_000), Ok(()));
    scanner.tick(ms(3_500));
    let said = facts(&mut scanner);
    assert!(
        matches!(said.as_slice(), [Fact::Sent { .. }, Fact::Silent { .. }]),
        "{said:?}"
    );
}

#[test]
fn what_came_back_is_no_silence() {
    let mut scanner = scanner();
    scanner.ask(ms(0), echo());
    assert!(scanner.next_order(ms(0)).is_some());
    scanner.done(ms(0), Ok(()));
    facts(&mut scanner);
    scanner.no_way(ms(900), FAR);
    scanner.tick(ms(9_000));
    assert_eq!(facts(&mut scanner), [Fact::NoWay { address: FAR }]);
}

#[test]
fn what_the_system_refuses_to_send_is_told_as_no_way() {
    let mut scanner = scanner();
    scanner.ask(ms(0), echo());
    let mut now = 0;
    for _ in 0..9 {
        now += 200;
        if scanner.next_order(ms(now)).is_some() {
            scanner.done(ms(now), Err(Hold::Down));
        }
    }
    assert_eq!(facts(&mut scanner), [Fact::NoWay { address: FAR }]);
}

#[test]
fn nothing_of_a_wire_is_asked() {
    let mut scanner = scanner();
    for ask in [
        Ask::Arp {
            address: FAR,
            form: ArpForm::Broadcast,
            rank: Rank::Rig,
            budget: Budget::Pass,
        },
        Ask::Arp {
            address: FAR,
            form: ArpForm::Nobody,
            rank: Rank::Rig,
            budget: Budget::Pass,
        },
        Ask::Pass {
            id: PassId(1),
            range: "10.41.0.1-254".parse().unwrap(),
            except: Vec::new(),
        },
        Ask::Dhcp { by_hand: true },
        Ask::RollCall(RollCall::DnsSd),
        Ask::RollCall(RollCall::WsDiscovery),
    ] {
        scanner.ask(ms(0), ask);
    }
    for n in 0..200 {
        scanner.tick(ms(n * 50));
        assert_eq!(scanner.next_order(ms(n * 50)), None);
    }
}

#[test]
fn a_control_port_is_dialled_from_whichever_address_the_system_takes() {
    let mut scanner = scanner();
    scanner.ask(
        ms(0),
        Ask::Control {
            address: FAR,
            mac: None,
            port: "http".parse().unwrap(),
        },
    );
    let Some(Order::Dial(dial)) = scanner.next_order(ms(0)) else {
        panic!("no dial");
    };
    assert_eq!(
        (*dial.to.ip(), dial.transport, dial.mac),
        (FAR, Transport::Tcp, None)
    );
    assert_eq!(dial.from, Some(Ipv4Addr::UNSPECIFIED));
    scanner.dial_event(ms(10), dial.id, DialEvent::NoWay);
    let said = facts(&mut scanner);
    assert!(
        matches!(said.as_slice(), [Fact::ControlNotAsked { .. }]),
        "{said:?}"
    );
}

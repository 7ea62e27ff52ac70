//! Tests of control jobs against a toy peer.

use super::*;
use crate::busy::{IN_ALL, PER_HOST};

const A: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);
const US: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 5);

fn ms(millis: u64) -> Moment {
    Moment::from_millis(millis)
}

fn ask(controls: &mut Controls, address: Ipv4Addr, port: &str) {
    controls.ask(
        Target {
            address,
            mac: None,
            port: port.parse().unwrap(),
        },
        None,
        US,
        Way::System,
    );
}

/// Makes every queued try at once; gives the rest of the acts.
fn run(controls: &mut Controls, now: Moment) -> Vec<Act> {
    let mut out = Vec::new();
    while let Some(act) = controls.act() {
        match act {
            Act::Queue(job) => controls.try_now(now, job),
            act => out.push(act),
        }
    }
    out
}

fn dialled(acts: &[Act]) -> Vec<DialId> {
    acts.iter()
        .filter_map(|a| if let Act::Dial(d, _) = a { Some(d.id) } else { None })
        .collect()
}

/// What is told at the end.
#[derive(Debug, PartialEq)]
enum End {
    Told(ControlState),
    NotAsked,
}

fn outcome(acts: &[Act]) -> Option<End> {
    acts.iter().find_map(|a| match a {
        Act::Tell(Fact::Control { state, .. }) => Some(End::Told(*state)),
        Act::Tell(Fact::ControlNotAsked { .. }) => Some(End::NotAsked),
        _ => None,
    })
}

#[test]
fn a_datagram_is_sent_three_times_half_a_second_apart() {
    let mut c = Controls::new(1);
    ask(&mut c, A, "visca-udp");
    assert_eq!(c.cost(1), Some(2));
    let dial = dialled(&run(&mut c, ms(0)))[0];
    c.event(ms(0), dial, &DialEvent::Opened);
    let mut sent = Vec::new();
    let mut end = None;
    for t in 0..=2_000 {
        for act in run(&mut c, ms(t)) {
            match act {
                Act::Send(_, bytes, _) => sent.push((t, bytes)),
                Act::Tell(fact) => end = Some((t, fact)),
                _ => {}
            }
        }
        c.tick(ms(t));
    }
    let times: Vec<u64> = sent.iter().map(|s| s.0).collect();
    assert_eq!(times, [0, 501, 1_002]);
    // VISCA over IP, version inquiry: type 01 10, length 5, sequence, 81 09 00 02 ff (FACTS 6).
    assert_eq!(sent[0].1[..4], [0x01, 0x10, 0x00, 0x05]);
    assert_eq!(sent[0].1[8..], [0x81, 0x09, 0x00, 0x02, 0xff]);
    assert!(sent.iter().all(|s| s.1 == sent[0].1));
    let Some((
        1_503,
        Fact::Control {
            state: ControlState::Silent,
            asked,
            ..
        },
    )) = end
    else {
        panic!("{end:?}")
    };
    assert_eq!(asked, ms(0));
}

#[test]
fn an_answer_to_an_earlier_datagram_counts_while_the_next_one_waits() {
    let mut c = Controls::new(1);
    ask(&mut c, A, "visca-raw-udp");
    let dial = dialled(&run(&mut c, ms(0)))[0];
    c.event(ms(0), dial, &DialEvent::Opened);
    run(&mut c, ms(0));
    c.tick(ms(500));
    let Some(Act::Queue(job)) = c.act() else { panic!() };
    assert_eq!(c.cost(job), Some(1));
    c.event(ms(510), dial, &DialEvent::Data(vec![0x90, 0x60, 0x02, 0xff]));
    let acts = run(&mut c, ms(510));
    assert_eq!(
        outcome(&acts),
        Some(End::Told(ControlState::Answered)),
        "a syntax error is a sign of life"
    );
    assert!(matches!(acts[0], Act::Close(d, _) if d == dial));
    assert_eq!(c.cost(job), None);
    assert_eq!(c.next_wake(), None);
}

#[test]
fn tcp_is_answered_refused_wrong_or_silent() {
    let try_one = |port: &str, events: &[DialEvent]| {
        let mut c = Controls::new(1);
        ask(&mut c, A, port);
        let dial = dialled(&run(&mut c, ms(0)))[0];
        for event in events {
            c.event(ms(1), dial, event);
        }
        outcome(&run(&mut c, ms(1)))
    };
    let data = |text: &str| DialEvent::Data(text.as_bytes().to_vec());
    let answered = || Some(End::Told(ControlState::Answered));
    let refused = || Some(End::Told(ControlState::Refused));
    assert_eq!(try_one("tcp:9000", &[DialEvent::Opened]), answered());
    assert_eq!(
        try_one("http", &[DialEvent::Opened, data("HTTP/1.1 401 No\r\n\r\n")]),
        answered()
    );
    assert_eq!(
        try_one(
            "http",
            &[DialEvent::Opened, data("HTTP/1.1 401 No\r\n"), DialEvent::Closed]
        ),
        answered()
    );
    assert_eq!(
        try_one("http", &[DialEvent::Opened, data("SSH-2.0-x\r\n")]),
        refused()
    );
    assert_eq!(try_one("http", &[DialEvent::Refused]), refused());
    assert_eq!(try_one("http", &[DialEvent::NoWay]), Some(End::NotAsked));
    assert_eq!(try_one("http", &[DialEvent::Opened]), None);
}

#[test]
fn a_mute_host_costs_three_connections_and_never_more_than_five_seconds() {
    for accepts in [false, true] {
        let mut c = Controls::new(1);
        ask(&mut c, A, "rtsp");
        let mut dials = 0;
        let mut closed = 0;
        let mut end = None;
        for t in 0..9_000 {
            for act in run(&mut c, ms(t)) {
                match act {
                    Act::Dial(d, _) => {
                        dials += 1;
                        if accepts {
                            c.event(ms(t), d.id, &DialEvent::Opened);
                        }
                    }
                    Act::Close(..) => closed += 1,
                    Act::Tell(Fact::Control { state, .. }) => end = Some((t, state)),
                    _ => {}
                }
            }
            c.tick(ms(t));
        }
        assert_eq!((dials, closed), (3, 3));
        let (t, state) = end.unwrap();
        assert_eq!(state, ControlState::Silent);
        assert!((3_000..=5_010).contains(&t), "{t}");
    }
}

#[test]
fn a_host_that_hangs_up_at_once_is_tried_again_and_then_has_refused() {
    let mut c = Controls::new(1);
    ask(&mut c, A, "rtsp");
    let mut acts = run(&mut c, ms(0));
    for n in 1..=3 {
        let dial = dialled(&acts)[0];
        c.event(ms(200 * n), dial, &DialEvent::Opened);
        c.event(ms(200 * n), dial, &DialEvent::Closed);
        acts = run(&mut c, ms(200 * n));
        assert!(dialled(&acts).is_empty(), "it gets a moment to be free again");
        if n < 3 {
            assert_eq!(outcome(&acts), None);
            c.tick(ms(200 * n + 100));
            acts = run(&mut c, ms(200 * n + 100));
        }
    }
    assert_eq!(outcome(&acts), Some(End::Told(ControlState::Refused)));
}

#[test]
fn two_connections_to_one_host_and_sixty_four_in_all() {
    let mut c = Controls::new(1);
    for host in 0..60 {
        for port in ["http", "rtsp", "visca-tcp"] {
            ask(&mut c, Ipv4Addr::from(u32::from(A) + host), port);
            ask(&mut c, Ipv4Addr::from(u32::from(A) + host), port);
        }
    }
    let mut open: BTreeMap<DialId, Ipv4Addr> = BTreeMap::new();
    let mut told = 0;
    let mut most = 0;
    for t in 0..200 {
        let acts = run(&mut c, ms(t));
        for act in &acts {
            match act {
                Act::Close(d, _) => assert!(open.remove(d).is_some()),
                Act::Tell(Fact::Control { .. }) => told += 1,
                Act::Dial(d, _) => {
                    open.insert(d.id, *d.to.ip());
                    most = most.max(open.len());
                    let same = open.values().filter(|a| *a == d.to.ip()).count();
                    assert!(same <= PER_HOST && open.len() <= IN_ALL);
                }
                _ => {}
            }
        }
        if let Some(dial) = open.keys().next().copied() {
            open.remove(&dial);
            c.event(ms(t), dial, &DialEvent::Refused);
        }
    }
    assert_eq!(most, IN_ALL);
    assert_eq!(told, 180, "each once");
    assert!(open.is_empty());
}

#[test]
fn clearing_gives_the_open_dials() {
    let mut c = Controls::new(1);
    ask(&mut c, A, "http");
    ask(&mut c, A, "rtsp");
    let dials = dialled(&run(&mut c, ms(0)));
    assert_eq!(dials.len(), 2);
    assert_eq!(c.clear(), dials);
    assert!(c.next_wake().is_none() && c.act().is_none());
}

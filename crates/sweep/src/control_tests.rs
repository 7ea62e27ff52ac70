//! Tests of control jobs against a toy peer.

use super::*;
use vocab::{Name, NameSource};

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
    // The question that waited for its frame is the second one now.
    assert_eq!(c.cost(job), Some(1));
    c.try_now(ms(510), job);
    c.event(ms(520), dial, &DialEvent::Data(vec![0x90, 0x60, 0x02, 0xff]));
    let acts = run(&mut c, ms(520));
    assert_eq!(
        outcome(&acts),
        Some(End::Told(ControlState::Answered)),
        "a syntax error is a sign of life"
    );
    assert!(acts.iter().any(|a| matches!(a, Act::Close(d, _) if *d == dial)));
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

/// What is told, in the order of telling.
fn facts(acts: &[Act]) -> Vec<Fact> {
    acts.iter()
        .filter_map(|a| match a {
            Act::Tell(fact) => Some(fact.clone()),
            _ => None,
        })
        .collect()
}

fn sent(acts: &[Act]) -> Vec<Vec<u8>> {
    acts.iter()
        .filter_map(|a| match a {
            Act::Send(_, bytes, _) => Some(bytes.clone()),
            _ => None,
        })
        .collect()
}

const VERSION: [u8; 10] = [0x90, 0x50, 0, 1, 5, 0x11, 1, 0, 2, 0xff];

/// Asks `port`, which answers the first question with `answer`.
fn answered(port: &str, answer: &[u8]) -> (Controls, DialId, Vec<Act>) {
    let mut c = Controls::new(1);
    ask(&mut c, A, port);
    let dial = dialled(&run(&mut c, ms(0)))[0];
    c.event(ms(0), dial, &DialEvent::Opened);
    run(&mut c, ms(0));
    c.event(ms(10), dial, &DialEvent::Data(answer.to_vec()));
    let acts = run(&mut c, ms(10));
    (c, dial, acts)
}

#[test]
fn who_speaks_visca_is_asked_whether_it_is_on_over_the_same_connection() {
    for port in ["visca-tcp", "visca-raw-udp"] {
        let (mut c, dial, acts) = answered(port, &VERSION);
        assert_eq!(outcome(&acts), None, "all of it is told together");
        assert_eq!(sent(&acts), [[0x81, 0x09, 0x04, 0x00, 0xff]]);
        assert_eq!(dialled(&acts), []);
        c.event(ms(20), dial, &DialEvent::Data(vec![0x90, 0x50, 0x03, 0xff]));
        let acts = run(&mut c, ms(20));
        assert_eq!(
            facts(&acts)[0],
            Fact::Told {
                address: A,
                mac: None,
                what: Told::Power(vocab::Power::Standby)
            }
        );
        assert_eq!(outcome(&acts), Some(End::Told(ControlState::Answered)), "{port}");
        assert!(acts.iter().any(|a| matches!(a, Act::Close(..))));
        assert_eq!(c.next_wake(), None, "that was all");
    }
}

#[test]
fn who_does_not_tell_is_asked_once_and_stays_answered() {
    for end in [
        None,
        Some(DialEvent::Closed),
        Some(DialEvent::Data(vec![0x90, 0x60, 2, 0xff])),
    ] {
        let (mut c, dial, _) = answered("visca-tcp", &VERSION);
        if let Some(event) = &end {
            c.event(ms(20), dial, event);
        }
        let mut told = Vec::new();
        for t in 20..1_000 {
            let acts = run(&mut c, ms(t));
            assert_eq!(sent(&acts), Vec::<Vec<u8>>::new());
            told.extend(facts(&acts));
            c.tick(ms(t));
        }
        let [
            Fact::Control {
                state: ControlState::Answered,
                detail: Some(detail),
                ..
            },
        ] = told.as_slice()
        else {
            panic!("{end:?}: {told:?}")
        };
        assert_eq!(detail.as_str(), "vendor 0001 model 0511, rom 0100");
        assert_eq!(c.next_wake(), None);
    }
}

#[test]
fn a_name_is_asked_for_by_onvif_on_a_connection_of_its_own() {
    let soap = "<s:Envelope xmlns:s='http://www.w3.org/2003/05/soap-envelope'/>";
    let page =
        |body: &str| format!("HTTP/1.1 200 OK\r\nContent-Length: {}\r\n\r\n{body}", body.len()).into_bytes();
    let mut c = Controls::new(1);
    ask(&mut c, A, "onvif");
    let first = dialled(&run(&mut c, ms(0)))[0];
    c.event(ms(0), first, &DialEvent::Opened);
    run(&mut c, ms(0));
    c.event(ms(10), first, &DialEvent::Data(page(soap)));
    let acts = run(&mut c, ms(10));
    assert_eq!(outcome(&acts), None);
    assert!(acts.iter().any(|a| matches!(a, Act::Close(..))), "one at a time");
    c.tick(ms(111));
    let second = dialled(&run(&mut c, ms(111)))[0];
    c.event(ms(112), second, &DialEvent::Opened);
    let asked = sent(&run(&mut c, ms(112)));
    assert!(String::from_utf8_lossy(&asked[0]).contains("GetHostname"));
    let name = "<d:HostnameInformation xmlns:d='http://www.onvif.org/ver10/device/wsdl' \
                xmlns:t='http://www.onvif.org/ver10/schema'><t:Name>organ-loft</t:Name></d:HostnameInformation>";
    c.event(ms(120), second, &DialEvent::Data(page(name)));
    let acts = run(&mut c, ms(120));
    assert_eq!(
        facts(&acts)[0],
        Fact::Told {
            address: A,
            mac: None,
            what: Told::Name(Name {
                text: "organ-loft".into(),
                source: NameSource::Onvif
            })
        }
    );
    assert_eq!(outcome(&acts), Some(End::Told(ControlState::Answered)));
}

#[test]
fn over_tcp_the_second_question_leaves_at_once_and_has_an_end() {
    let mut c = Controls::new(1);
    ask(&mut c, A, "visca-tcp");
    let dial = dialled(&run(&mut c, ms(0)))[0];
    c.event(ms(0), dial, &DialEvent::Opened);
    run(&mut c, ms(0));
    c.event(ms(10), dial, &DialEvent::Data(VERSION.to_vec()));
    // Nothing is queued: at a slow pace its turn might come when the device has long hung up.
    let acts: Vec<Act> = std::iter::from_fn(|| c.act()).collect();
    let [Act::Send(to, bytes, _)] = acts.as_slice() else {
        panic!("{acts:?}")
    };
    assert_eq!(
        (*to, bytes.as_slice()),
        (dial, &[0x81, 0x09, 0x04, 0x00, 0xff][..])
    );
    assert_eq!(c.cost(1), None, "it is paid");
    let end = ms(10) + SOON;
    assert_eq!(c.next_wake(), Some(end));
    c.tick(end + Duration::from_millis(1));
    let acts = run(&mut c, end);
    assert!(acts.iter().any(|a| matches!(a, Act::Close(d, _) if *d == dial)));
    assert_eq!(outcome(&acts), Some(End::Told(ControlState::Answered)));
}

#[test]
fn what_is_not_taken_is_said_to_be_so() {
    let mut c = Controls::new(1);
    let target = |n: u32| Target {
        address: Ipv4Addr::from(u32::from(A) + n),
        mac: None,
        port: "http".parse().unwrap(),
    };
    assert!(c.ask(target(0), None, US, Way::System));
    assert!(c.ask(target(0), None, US, Way::System), "it is under way");
    assert!(!c.ask(target(0), None, US, Way::Borrowed), "but not by this way");
    for n in 1..JOBS_MAX as u32 {
        assert!(c.ask(target(n), None, US, Way::System));
    }
    assert!(!c.ask(target(JOBS_MAX as u32), None, US, Way::System), "too many");
}

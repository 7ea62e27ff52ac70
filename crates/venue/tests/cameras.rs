//! Cameras' lamps and heads through a client stack on our jack, and panels that drive them.
#![allow(clippy::unwrap_used)]

mod common;

use std::time::Duration;

use common::{Bench, Came, Dialer, host, ip, plan, secs, word};
use venue::{CameraPlan, Deed, HostPlan, Plan, Service, Sway, steps};
use vocab::Moment;
use wire::visca::{Command, Exchange, Framing, Inquiry, Reply, Said, Speed};

const NOW: Service = Service::Open {
    after: Duration::ZERO,
};

/// A hall with three cameras and a panel at .60, whose channels 1 and 2 are crossed and whose third drives two.
fn hall() -> Plan {
    let mut plan = plan();
    for (n, text) in [(21, "visca-udp"), (22, "visca-tcp"), (23, "visca-raw-udp")] {
        let camera = host(&plan, n)
            .serve(word(text), NOW)
            .camera(CameraPlan::default());
        plan.host(camera);
    }
    let panel: HostPlan = host(&plan, 60)
        .drives(1, &[ip(22)])
        .drives(2, &[ip(21)])
        .drives(3, &[ip(21), ip(23)]);
    plan.host(panel);
    plan
}

fn push(bench: &mut Bench, channel: u32) {
    let panel = bench.venue.host_named("Host 60").unwrap();
    let deed = Deed::Push {
        panel,
        channel,
        speed: (200, 0),
        span: Duration::from_millis(500),
    };
    bench.venue.plan(bench.now, deed);
    bench.run(secs(1));
}

fn pans(bench: &Bench) -> [i32; 3] {
    [21, 22, 23].map(|n| bench.venue.head(&format!("Host {n}")).map_or(-1, |at| at.pan))
}

#[test]
fn a_stick_drives_what_its_channel_points_at_and_no_longer_than_it_is_pushed() {
    let mut bench = Bench::new(hall(), 1);
    bench.run(secs(1));
    push(&mut bench, 1);
    assert_eq!(pans(&bench), [0, 100, 0]);
    push(&mut bench, 2);
    assert_eq!(pans(&bench), [100, 100, 0]);
    push(&mut bench, 3);
    assert_eq!(pans(&bench), [200, 100, 100]);
    push(&mut bench, 4);
    let panel = bench.venue.host_named("Host 60").unwrap();
    bench.venue.plan(bench.now, Deed::PowerOff(panel));
    push(&mut bench, 1);
    assert_eq!(pans(&bench), [200, 100, 100], "nobody, or a panel without power");
}

#[test]
fn heads_and_lamps_answer_by_all_three_ways() {
    let mut bench = Bench::new(hall(), 1);
    let mut dialer = Dialer::new();
    push(&mut bench, 3);
    for (n, text, pan) in [
        (21, "visca-udp", 100),
        (22, "visca-tcp", 0),
        (23, "visca-raw-udp", 100),
    ] {
        let port = word(text);
        let mut talk = Exchange::new(Framing::of(port.word).unwrap(), 9);
        let mut ask = |bench: &mut Bench, bytes: &[u8]| {
            let came = if port.word.is_udp() {
                dialer.udp(bench, ip(n), port.port, bytes)
            } else {
                dialer.tcp(bench, ip(n), port.port, bytes)
            };
            match came {
                Came::Answer(bytes) => bytes,
                other => panic!("{text}: {other:?}"),
            }
        };
        let question = talk.inquire(Inquiry::Position).bytes;
        let answer = ask(&mut bench, &question);
        let at = Said::Reply(Reply::Position(steps(pan, 0)));
        assert_eq!(talk.hear(&answer)[0].said, at, "{text}");
        let order = talk.command(Command::Tally(true)).bytes;
        let answer = ask(&mut bench, &order);
        assert_eq!(talk.hear(&answer)[0].said, Said::Reply(Reply::Ack(1)), "{text}");
        assert_eq!(bench.venue.lamp(&format!("Host {n}")), Some(true));
    }
}

#[test]
fn what_is_done_later_is_told_later() {
    let mut bench = Bench::new(hall(), 1);
    bench.run(secs(1));
    let go = Exchange::new(Framing::Headed, 1)
        .command(Command::Relative(Speed::SLOWEST, steps(40, 0)))
        .bytes;
    let mut dialer = Dialer::new();
    assert!(matches!(
        dialer.udp(&mut bench, ip(21), word("visca-udp").port, &go),
        Came::Answer(_)
    ));
    let before = bench.venue.head("Host 21").unwrap().pan;
    assert!(before < 40, "it takes its time: {before}");
    let frames = bench.heard.len();
    bench.run(secs(3));
    assert_eq!(bench.venue.head("Host 21"), Some(steps(40, 0)));
    assert!(bench.heard.len() > frames, "its completion came by itself");
}

#[test]
fn one_that_dies_of_a_question_says_nothing_any_more() {
    let mut plan = plan();
    let camera = CameraPlan {
        dies_at: Some(2),
        sway: Some(Sway {
            steps: 10,
            period: secs(4),
        }),
        ..CameraPlan::default()
    };
    let camera = host(&plan, 21).serve(word("visca-udp"), NOW).camera(camera);
    plan.host(camera);
    let mut bench = Bench::new(plan, 1);
    let ask = Exchange::new(Framing::Headed, 1).inquire(Inquiry::Position).bytes;
    let mut dialer = Dialer::new();
    let port = word("visca-udp").port;
    assert!(matches!(
        dialer.udp(&mut bench, ip(21), port, &ask),
        Came::Answer(_)
    ));
    for _ in 0..2 {
        assert!(matches!(
            dialer.udp(&mut bench, ip(21), port, &ask),
            Came::Silence
        ));
    }
    assert!(bench.who_has(ip(21), ip(230)).is_empty(), "nor to ARP");
    let host = bench.venue.host_named("Host 21").unwrap();
    bench.venue.plan(bench.now, Deed::PowerOff(host));
    bench.venue.plan(bench.now + secs(1), Deed::PowerOn(host));
    bench.run_to(bench.now.since(Moment::ZERO).as_secs() + 20);
    assert_eq!(bench.who_has(ip(21), ip(230)).len(), 1, "a restart wakes it");
}

//! The course by itself: every way through it, and what no device can make it do.

use std::net::Ipv4Addr;

use proptest::prelude::*;
use vocab::{ControlState, Mac, Text};
use wire::onvif::{Ear, NoChoice, ServicePath, read_interfaces};

use super::super::step::Now;
use super::super::target::Target;
use super::*;

const CAMERA: Mac = Mac::new([2, 0x52, 0x43, 0, 0, 0x21]);
const OTHER: Mac = Mac::new([2, 0x52, 0x43, 0, 0, 0x99]);
const OLD: Ipv4Addr = Ipv4Addr::new(192, 168, 0, 100);
const GATEWAY: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 1);

pub(in super::super) fn job(gateway: Option<Ipv4Addr>) -> Job {
    Job {
        mac: CAMERA,
        at: OLD,
        to: Target {
            net: "10.40.8.21/24".parse().unwrap(),
            gateway,
        },
        services: vec![Service::usual(OLD, 80), Service::usual(OLD, 2000)],
        boot: Duration::from_secs(75),
    }
}

/// Interfaces as a device with this hardware and this address tells them.
pub(in super::super) fn interfaces(mac: Mac, address: &str, prefix: u8, dhcp: bool) -> Vec<Interface> {
    let inner = format!(
        "<tds:GetNetworkInterfacesResponse><tds:NetworkInterfaces token=\"eth0\"><tt:Info><tt:HwAddress>{mac}\
         </tt:HwAddress></tt:Info><tt:IPv4><tt:Config><tt:Manual><tt:Address>{address}</tt:Address><tt:PrefixLength>\
         {prefix}</tt:PrefixLength></tt:Manual><tt:DHCP>{dhcp}</tt:DHCP></tt:Config></tt:IPv4></tds:NetworkInterfaces>\
         </tds:GetNetworkInterfacesResponse>"
    );
    let body = format!(
        "<s:Envelope xmlns:s=\"http://www.w3.org/2003/05/soap-envelope\" \
         xmlns:tds=\"http://www.onvif.org/ver10/device/wsdl\" xmlns:tt=\"http://www.onvif.org/ver10/schema\">\
         <s:Body>{inner}</s:Body></s:Envelope>"
    );
    let answer = format!("HTTP/1.1 200 OK\r\nContent-Length: {}\r\n\r\n{body}", body.len());
    read_interfaces(&Ear::new().feed(answer.as_bytes()).unwrap().unwrap()).unwrap()
}

fn own() -> Event {
    heard(Answer::Interfaces(interfaces(CAMERA, "192.168.0.100", 24, false)))
}

fn heard(answer: Answer) -> Event {
    Event::Heard(Ok(answer))
}

fn says(refusal: Refusal) -> Event {
    Event::Heard(Err(Trouble::Says(refusal)))
}

fn mute(why: Why, sent: bool) -> Event {
    Event::Heard(Err(Trouble::Mute { why, sent }))
}

const fn nothing_said() -> Event {
    Event::Sought(Vec::new())
}

/// Its control ports were tried, and its service speaks.
fn tried(ports: Ports) -> Event {
    Event::Tried { ports, speaks: true }
}

/// How it says that it is set at its new address.
fn back(address: &str, prefix: u8) -> Event {
    heard(Answer::Interfaces(interfaces(CAMERA, address, prefix, false)))
}

const fn free() -> Event {
    Event::Probed(Probed::Free)
}

/// Plays `events` and gives back the names of the steps, the last being the outcome.
fn play(gateway: Option<Ipv4Addr>, events: &[Event]) -> (Course, Vec<String>, Option<Outcome>) {
    let (mut course, step) = Course::begin(job(gateway));
    let mut steps = vec![name(&step)];
    for event in events {
        let step = course.go(event.clone());
        if let Step::Over(outcome) = step {
            return (course, steps, Some(outcome));
        }
        steps.push(name(&step));
    }
    (course, steps, None)
}

fn name(step: &Step) -> String {
    match step {
        Step::Probe(address) => format!("probe {address}"),
        Step::Put(service, question) => format!("{}:{} {}", service.host, service.port, question.name()),
        Step::Login => "login".to_owned(),
        Step::Confirm => "confirm".to_owned(),
        Step::Follow(trail) => format!("follow to {} for {} s", trail.new, trail.within.as_secs()),
        Step::Seek => "seek".to_owned(),
        Step::Try(service) => format!("try and {}:{}", service.host, service.port),
        Step::Over(_) => "over".to_owned(),
    }
}

/// All up to the question, with a login.
fn until_asked() -> Vec<Event> {
    vec![
        free(),
        nothing_said(),
        heard(Answer::Clock),
        heard(Answer::WantsLogin),
        Event::Login(true),
        own(),
        heard(Answer::Gateways(vec![Ipv4Addr::new(192, 168, 0, 1)])),
    ]
}

/// All up to the address, which is sent.
fn until_sent() -> Vec<Event> {
    [until_asked(), vec![Event::Confirmed(true), free()]].concat()
}

fn arrived() -> Event {
    Event::Followed(Verdict::Arrived(Duration::from_secs(40)))
}

#[test]
fn a_device_that_restarts_goes_all_the_way() {
    let rest = [
        heard(Answer::TakesAddress { restart: true }),
        heard(Answer::Takes),
        heard(Answer::Takes),
        arrived(),
        tried(vec![("http".parse().unwrap(), Some(ControlState::Answered))]),
        back("10.40.8.21", 24),
        heard(Answer::Gateways(vec![GATEWAY])),
    ];
    let (course, steps, outcome) = play(Some(GATEWAY), &[until_sent(), rest.to_vec()].concat());
    assert_eq!(
        steps,
        [
            "probe 10.40.8.21",
            "seek",
            "192.168.0.100:80 GetSystemDateAndTime",
            "192.168.0.100:80 GetNetworkInterfaces",
            "login",
            "192.168.0.100:80 GetNetworkInterfaces",
            "192.168.0.100:80 GetNetworkDefaultGateway",
            "confirm",
            "probe 10.40.8.21",
            "192.168.0.100:80 SetNetworkInterfaces",
            "192.168.0.100:80 SetNetworkDefaultGateway",
            "192.168.0.100:80 SystemReboot",
            "follow to 10.40.8.21 for 135 s",
            "try and 10.40.8.21:80",
            "10.40.8.21:80 GetNetworkInterfaces",
            "10.40.8.21:80 GetNetworkDefaultGateway",
        ]
    );
    assert!(matches!(
        outcome,
        Some(Outcome::Arrived {
            took: Some(_),
            gateway: None,
            now: Now::Told(_),
            ..
        })
    ));
    assert_eq!(
        course.sent(),
        Sent {
            address: Told::Yes,
            gateway: Told::Yes,
            restart: Told::Yes
        }
    );
}

#[test]
fn one_that_changes_at_once_gets_its_gateway_at_the_new_address() {
    let rest = [
        heard(Answer::TakesAddress { restart: false }),
        arrived(),
        tried(Vec::new()),
    ];
    let (_, steps, _) = play(Some(GATEWAY), &[until_sent(), rest.to_vec()].concat());
    assert_eq!(
        steps[steps.len() - 2..],
        ["try and 10.40.8.21:80", "10.40.8.21:80 SetNetworkDefaultGateway"]
    );
    let (_, steps, _) = play(None, &[until_sent(), rest.to_vec()].concat());
    let last = steps.last().unwrap();
    assert_eq!(
        last, "10.40.8.21:80 GetNetworkInterfaces",
        "the file names no gateway"
    );
}

#[test]
fn a_gateway_that_is_refused_before_the_restart_is_tried_once_more_after_it() {
    let rest = [
        heard(Answer::TakesAddress { restart: true }),
        says(Refusal::NotOffered),
        heard(Answer::Takes),
        arrived(),
        tried(Vec::new()),
        says(Refusal::NotOffered),
        says(Refusal::NotOffered),
    ];
    let (_, steps, outcome) = play(Some(GATEWAY), &[until_sent(), rest.to_vec()].concat());
    assert_eq!(
        steps[steps.len() - 3..],
        [
            "try and 10.40.8.21:80",
            "10.40.8.21:80 SetNetworkDefaultGateway",
            "10.40.8.21:80 GetNetworkInterfaces"
        ]
    );
    assert!(matches!(
        outcome,
        Some(Outcome::Arrived {
            gateway: Some(Trouble::Says(Refusal::NotOffered)),
            ..
        })
    ));
}

#[test]
fn nothing_is_asked_after_a_login_was_refused() {
    let events = [
        free(),
        nothing_said(),
        heard(Answer::Clock),
        heard(Answer::WantsLogin),
        Event::Login(true),
        says(Refusal::NotAuthorized),
    ];
    let (course, steps, outcome) = play(None, &events);
    assert_eq!(outcome, Some(Outcome::LoginRefused));
    assert_eq!(steps.iter().filter(|s| *s == "login").count(), 1);
    assert!(course.sent().nothing());
}

#[test]
fn an_address_in_use_stops_it_before_and_after_the_question() {
    let held = || Event::Probed(Probed::Held(OTHER));
    let (_, steps, outcome) = play(None, &[held()]);
    assert_eq!((steps.len(), outcome), (1, Some(Outcome::Held(OTHER))));
    let late = [until_asked(), vec![Event::Confirmed(true), held()]].concat();
    let (course, _, outcome) = play(None, &late);
    assert_eq!(outcome, Some(Outcome::Held(OTHER)));
    assert!(course.sent().nothing());
    let (_, _, outcome) = play(None, &[Event::Probed(Probed::NotAsked)]);
    assert_eq!(outcome, Some(Outcome::NotProbed));
    let own = [Event::Probed(Probed::Held(CAMERA))];
    assert_eq!(play(None, &own).2, None, "it may hold both");
}

#[test]
fn each_place_is_tried_once_and_then_no_more() {
    let nobody = || mute(Why::Refused, false);
    let (_, steps, outcome) = play(None, &[free(), nothing_said(), nobody(), nobody()]);
    assert_eq!(
        steps[2..],
        [
            "192.168.0.100:80 GetSystemDateAndTime",
            "192.168.0.100:2000 GetSystemDateAndTime"
        ]
    );
    assert_eq!(outcome, Some(Outcome::NoService));
}

#[test]
fn what_the_device_says_of_its_service_comes_first_and_only_of_itself() {
    let path = ServicePath::new("/camera/one").unwrap();
    let own = Service {
        path,
        ..Service::usual(OLD, 8080)
    };
    let said = Event::Sought(vec![
        Service::usual(GATEWAY, 80),
        own.clone(),
        Service::usual(OLD, 80),
    ]);
    let (mut course, _) = Course::begin(job(None));
    course.go(free());
    assert_eq!(course.go(said), Step::Put(own, Question::Clock));
    let nobody = || mute(Why::Refused, false);
    let all: Vec<String> = (0..3).map(|_| name(&course.go(nobody()))).collect();
    let asks = |port: u16| format!("192.168.0.100:{port} GetSystemDateAndTime");
    assert_eq!(all, [asks(80), asks(2000), "over".to_owned()], "each place once");
}

#[test]
fn one_that_breaks_off_while_it_tells_the_time_is_not_one_without_the_service() {
    let refused = || mute(Why::Refused, false);
    let broken = || says(Refusal::Cut);
    for events in [[broken(), refused()], [refused(), broken()]] {
        let events = [vec![free(), nothing_said()], events.to_vec()].concat();
        let (course, _, outcome) = play(None, &events);
        let cut = Trouble::Says(Refusal::Cut);
        assert_eq!(outcome, Some(Outcome::Failed(Question::Clock, cut)));
        let told = told_of(&course, &outcome.unwrap());
        assert!(
            told.contains("its answer broke off before it was whole"),
            "{told}"
        );
        assert!(
            told.contains("Nothing was changed") && told.contains("next step: "),
            "{told}"
        );
    }
}

/// What is told at the end.
fn told_of(course: &Course, outcome: &Outcome) -> String {
    let who = super::super::words::Who {
        short: "Organ loft".into(),
        called: "Organ loft".into(),
        mac: "02:52:43:00:00:21".into(),
        host: crate::hands::Host::Terminal,
    };
    let text = super::super::ending::ending(course, outcome, &who, &[]).text;
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn what_it_says_once_it_has_moved_is_held_against_what_it_was_told() {
    let rest = |events: &[Event]| {
        let moved = [
            heard(Answer::TakesAddress { restart: true }),
            heard(Answer::Takes),
            heard(Answer::Takes),
            arrived(),
        ];
        let all = [until_sent(), moved.to_vec(), events.to_vec()].concat();
        let (course, _, outcome) = play(Some(GATEWAY), &all);
        told_of(&course, &outcome.unwrap())
    };
    let gateways = |all: &[Ipv4Addr]| heard(Answer::Gateways(all.to_vec()));
    let none = || tried(Ports::new());
    let well = rest(&[none(), back("10.40.8.21", 24), gateways(&[GATEWAY])]);
    let line = "It says that it is set to 10.40.8.21/24, gateway 10.40.8.1, no DHCP.";
    assert!(well.contains(line) && !well.contains("next step"), "{well}");
    for (events, words) in [
        (
            vec![none(), back("10.40.8.21", 16), gateways(&[])],
            "not what it was told: mask 255.255.0.0, not 255.255.255.0; gateway none, not 10.40.8.1. next step: set",
        ),
        (
            vec![none(), says(Refusal::NotAuthorized)],
            "could not be read back: the device does not take the login. next step: look at both",
        ),
        (
            vec![Event::Tried {
                ports: Ports::new(),
                speaks: false,
            }],
            "could not be read back: ONVIF does not answer at the new address. next step: look at both",
        ),
        (
            vec![none(), back("10.40.8.21", 24), says(Refusal::NotOffered)],
            "It says that it is set to 10.40.8.21/24, gateway not told, no DHCP.",
        ),
    ] {
        let told = rest(&events);
        assert!(told.contains(words), "{words}\n{told}");
    }
}

#[test]
fn what_is_not_clear_is_not_touched() {
    let looked = |all| {
        [
            free(),
            nothing_said(),
            heard(Answer::Clock),
            heard(Answer::Interfaces(all)),
        ]
    };
    let other = interfaces(OTHER, "192.168.0.100", 24, false);
    assert_eq!(
        play(None, &looked(other)).2,
        Some(Outcome::Unclear(NoChoice::NotThere))
    );
    let elsewhere = interfaces(CAMERA, "192.168.7.7", 24, false);
    assert_eq!(play(None, &looked(elsewhere)).2, Some(Outcome::Elsewhere));
}

#[test]
fn what_is_set_already_is_left_alone() {
    let (mut course, _) = Course::begin(Job {
        at: Ipv4Addr::new(10, 40, 8, 21),
        ..job(Some(GATEWAY))
    });
    for event in [
        Event::Probed(Probed::Held(CAMERA)),
        nothing_said(),
        heard(Answer::Clock),
        heard(Answer::Interfaces(interfaces(CAMERA, "10.40.8.21", 24, false))),
    ] {
        course.go(event);
    }
    let same = course.go(heard(Answer::Gateways(vec![GATEWAY])));
    assert_eq!(same, Step::Over(Outcome::Already));
}

#[test]
fn a_gateway_alone_needs_neither_probe_nor_restart() {
    let (mut course, _) = Course::begin(Job {
        at: Ipv4Addr::new(10, 40, 8, 21),
        ..job(Some(GATEWAY))
    });
    for event in [
        Event::Probed(Probed::Held(CAMERA)),
        nothing_said(),
        heard(Answer::Clock),
        heard(Answer::Interfaces(interfaces(CAMERA, "10.40.8.21", 24, false))),
        heard(Answer::Gateways(Vec::new())),
    ] {
        course.go(event);
    }
    assert_eq!(
        name(&course.go(Event::Confirmed(true))),
        "192.168.0.100:80 SetNetworkDefaultGateway"
    );
    let there = Service::usual(Ipv4Addr::new(10, 40, 8, 21), 80);
    assert_eq!(course.go(heard(Answer::Takes)), Step::Try(there));
}

#[test]
fn a_lost_answer_to_a_change_is_followed_and_a_clear_no_is_not() {
    for lost in [
        mute(Why::Silent, true),
        mute(Why::Cut, true),
        says(Refusal::Cut),
        says(Refusal::NotSoap),
    ] {
        let (course, steps, _) = play(None, &[until_sent(), vec![lost]].concat());
        assert_eq!(steps.last().unwrap(), "follow to 10.40.8.21 for 135 s");
        assert_eq!(course.sent().address, Told::Unsure);
    }
    for no in [
        mute(Why::Refused, false),
        says(Refusal::NotOffered),
        says(Refusal::NotAuthorized),
    ] {
        let (course, _, outcome) = play(None, &[until_sent(), vec![no]].concat());
        assert!(matches!(
            outcome,
            Some(Outcome::Failed(Question::SetInterface(..), _))
        ));
        assert!(course.sent().nothing());
    }
}

#[test]
fn without_a_yes_nothing_is_sent() {
    let (course, _, outcome) = play(None, &[until_asked(), vec![Event::Confirmed(false)]].concat());
    assert_eq!(outcome, Some(Outcome::NotConfirmed));
    assert!(course.sent().nothing());
}

fn any_event() -> impl Strategy<Value = Event> {
    let refusals = prop::sample::select(vec![
        Refusal::NotAuthorized,
        Refusal::NotOffered,
        Refusal::Cut,
        Refusal::NotSoap,
        Refusal::NoService,
        Refusal::Missing("x"),
    ]);
    let answers = prop::sample::select(vec![
        Answer::Clock,
        Answer::WantsLogin,
        Answer::Interfaces(interfaces(CAMERA, "192.168.0.100", 24, false)),
        Answer::Interfaces(interfaces(OTHER, "192.168.0.100", 24, true)),
        Answer::Gateways(Vec::new()),
        Answer::TakesAddress { restart: true },
        Answer::TakesAddress { restart: false },
        Answer::Takes,
    ]);
    let verdicts = prop::sample::select(vec![
        Verdict::Arrived(Duration::ZERO),
        Verdict::Old,
        Verdict::Third(OLD),
        Verdict::Other(OTHER),
        Verdict::Both(OTHER),
        Verdict::Silent,
    ]);
    let probes = prop::sample::select(vec![
        Probed::Free,
        Probed::Held(CAMERA),
        Probed::Held(OTHER),
        Probed::NotAsked,
    ]);
    let whys = prop::sample::select(vec![Why::Refused, Why::Silent, Why::Cut, Why::NoWay]);
    prop_oneof![
        6 => answers.prop_map(|a| Event::Heard(Ok(a))),
        2 => refusals.prop_map(|r| Event::Heard(Err(Trouble::Says(r)))),
        2 => (whys, any::<bool>()).prop_map(|(why, sent)| Event::Heard(Err(Trouble::Mute { why, sent }))),
        4 => probes.prop_map(Event::Probed),
        2 => any::<bool>().prop_map(Event::Login),
        3 => prop::bool::weighted(0.8).prop_map(Event::Confirmed),
        2 => verdicts.prop_map(Event::Followed),
        1 => any::<bool>().prop_map(|speaks| Event::Tried { ports: Ports::new(), speaks }),
        2 => any::<bool>().prop_map(|says| Event::Sought(says.then(|| Service::usual(OLD, 8080)).into_iter().collect())),
        1 => Just(Event::Interrupted),
    ]
}

/// Whether an event can be the answer to a step.
fn answers(step: &Step, event: &Event) -> bool {
    matches!(
        (step, event),
        (_, Event::Interrupted)
            | (Step::Probe(_), Event::Probed(_))
            | (Step::Put(..), Event::Heard(_))
            | (Step::Login, Event::Login(_))
            | (Step::Confirm, Event::Confirmed(_))
            | (Step::Follow(_), Event::Followed(_))
            | (Step::Seek, Event::Sought(_))
            | (Step::Try(_), Event::Tried { .. })
    )
}

proptest! {
    /// Whatever a device says: nothing that changes it leaves before a yes and a second look at the address, no
    /// second login is ever sought, each change is sent once (a gateway once more after the move), and it ends.
    #[test]
    fn nothing_changes_a_device_before_a_yes(events in prop::collection::vec(any_event(), 0..400)) {
        let (mut course, mut step) = Course::begin(job(Some(GATEWAY)));
        let (mut yes, mut free_after, mut logins, mut sets, mut puts) = (false, false, 0, 0, 0);
        for event in events {
            if !answers(&step, &event) {
                continue;
            }
            yes |= event == Event::Confirmed(true);
            free_after |= yes && matches!(event, Event::Probed(Probed::Free | Probed::Held(CAMERA)));
            step = course.go(event);
            match &step {
                Step::Login => logins += 1,
                Step::Put(_, question) => {
                    puts += 1;
                    if question.changes() {
                        prop_assert!(yes);
                        prop_assert!(free_after || !course.changes_address());
                        sets += 1;
                    }
                }
                Step::Over(outcome) => {
                    if !yes {
                        prop_assert!(course.sent() == Sent::default());
                    }
                    let who = super::super::words::Who { short: "X".into(), called: "X".into(), mac: "m".into(), host: crate::hands::Host::Terminal };
                    let told = super::super::ending::ending(&course, outcome, &who, &[]);
                    prop_assert!(!told.text.is_empty() && !told.note.is_empty());
                    break;
                }
                _ => {}
            }
        }
        prop_assert!(logins <= 1 && sets <= 4 && puts <= 15);
    }
}

#[test]
fn a_fault_in_a_devices_own_words_is_cleaned() {
    assert_eq!(
        super::super::words::quoted(&Text::clean("no\u{1b}[2J")),
        "\"no[2J\""
    );
}

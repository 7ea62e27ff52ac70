//! Devices whose network is set by ONVIF, through a client stack on our jack.
#![allow(clippy::unwrap_used)]

mod common;

use std::time::Duration;

use common::{Bench, Came, Dialer, host, ip, mac, net, plan, secs, word};
use venue::{Boot, ComesUp, DevicePlan, HostTruth, Service, Takes, Trouble, Wants};
use wire::onvif::{
    Answer, Demand, Draw, Ear, Login, Pass, Place, Question, Refusal, Secret, Setting, choose, read_clock,
    read_demand, read_interfaces, read_needs_restart, read_restart,
};

const WEB: u16 = 80;
const SILENT: Result<Answer, Refusal> = Err(Refusal::Cut);

struct Hall {
    bench: Bench,
    dialer: Dialer,
}

impl Hall {
    /// A camera at .21 that starts in 8 s.
    fn new(device: DevicePlan) -> Self {
        let mut plan = plan();
        let camera = host(&plan, 21).boot(Boot::by(secs(6))).device(device);
        let late = Service::Open { after: secs(8) };
        plan.host(camera.serve(word("onvif"), late).serve(word("visca-udp"), late));
        let mut bench = Bench::new(plan, 1);
        bench.run(secs(1));
        Self {
            bench,
            dialer: Dialer::new(),
        }
    }

    fn put(&mut self, question: &Question, pass: Pass<'_>) -> Result<Answer, Refusal> {
        let place = Place::usual(ip(21), WEB);
        let request = question.request(&place, pass);
        let mut ear = Ear::new();
        let mut fed = 0;
        let mut whole = None;
        let came = self
            .dialer
            .tcp_until(&mut self.bench, ip(21), WEB, &request, |all| {
                whole = ear.feed(&all[fed..]);
                fed = all.len();
                whole.is_some()
            });
        match (came, whole) {
            (Came::Answer(_), Some(whole)) => whole,
            _ => ear.end(),
        }
    }

    /// Asks for the interfaces in the way that the device demands, and tells the first to move.
    fn tell(&mut self, setting: Setting) -> Result<bool, Refusal> {
        let demand = read_demand(&self.put(&Question::Interfaces, Pass::Nobody)?)?;
        let login = Login::new("operator".into(), Secret::new("harbour-7".into())).unwrap();
        let tokened = demand == Demand::Token;
        let all = match demand {
            Demand::Nothing(all) => all,
            Demand::Token => {
                let pass = self.token(&login, 1);
                read_interfaces(&self.put(&Question::Interfaces, pass)?)?
            }
            Demand::Digest(challenge) => {
                let draw = Draw::new([1; 16]);
                let pass = Pass::Digest {
                    login: &login,
                    challenge,
                    draw,
                };
                read_interfaces(&self.put(&Question::Interfaces, pass)?)?
            }
        };
        let token = choose(&all, mac(21)).unwrap().token.clone();
        let question = Question::SetInterface(token, setting);
        let pass = if tokened {
            self.token(&login, 2)
        } else {
            match read_demand(&self.put(&Question::Interfaces, Pass::Nobody)?)? {
                Demand::Digest(challenge) => Pass::Digest {
                    login: &login,
                    challenge,
                    draw: Draw::new([2; 16]),
                },
                _ => Pass::Nobody,
            }
        };
        read_needs_restart(&self.put(&question, pass)?)
    }

    fn token<'a>(&mut self, login: &'a Login, number: u8) -> Pass<'a> {
        let answer = self.put(&Question::Clock, Pass::Nobody).unwrap();
        Pass::Token {
            login,
            at: read_clock(&answer).unwrap(),
            draw: Draw::new([number; 16]),
        }
    }

    fn camera(&self) -> HostTruth {
        self.bench.venue.truth().hosts.remove(0)
    }
}

fn there() -> Setting {
    Setting::Manual(net(31))
}

#[test]
fn a_device_moves_in_each_way_with_each_login() {
    for (wants, takes, needs) in [
        (Wants::Nothing, Takes::Soon, Ok(false)),
        (Wants::Token, Takes::AtRestart, Ok(true)),
        (Wants::DigestMd5, Takes::Restarting, Ok(false)),
        (Wants::DigestSha256, Takes::Mute, Err(Refusal::Cut)),
    ] {
        let mut hall = Hall::new(DevicePlan {
            wants,
            takes,
            ..DevicePlan::default()
        });
        assert_eq!(hall.tell(there()), needs, "{wants:?}");
        hall.bench.run(secs(1));
        let camera = hall.camera();
        match takes {
            Takes::Soon | Takes::Mute => assert_eq!(camera.addresses, [net(31)]),
            Takes::Restarting => assert!(!camera.carrier && camera.addresses.is_empty()),
            Takes::AtRestart => {
                assert_eq!(camera.addresses, [net(21)], "it waits");
                let login = Login::new("operator".into(), Secret::new("harbour-7".into())).unwrap();
                let pass = hall.token(&login, 3);
                let answer = hall.put(&Question::Restart, pass).unwrap();
                assert!(read_restart(&answer).is_ok());
                hall.bench.run(secs(1));
                assert!(!hall.camera().carrier);
            }
        }
        hall.bench.run(secs(20));
        let camera = hall.camera();
        assert_eq!(camera.addresses, [net(31)], "{wants:?}");
        assert_eq!(camera.open.len(), 2);
        assert_eq!(hall.bench.who_has(ip(31), ip(230)), [mac(21)]);
        assert!(hall.bench.who_has(ip(21), ip(230)).is_empty());
        let logins = match wants {
            Wants::Nothing => (0, 0),
            Wants::Token => (3, 0),
            _ => (2, 0),
        };
        assert_eq!(hall.bench.venue.logins("Host 21"), Some(logins));
    }
}

#[test]
fn a_device_comes_up_where_it_is_planned_to() {
    for (comes_up, wanted) in [
        (ComesUp::There, vec![net(31)]),
        (ComesUp::Unmoved, vec![net(21)]),
        (ComesUp::Elsewhere(net(99)), vec![net(99)]),
        // Nobody hands out addresses here.
        (ComesUp::ByDhcp, vec![]),
        (ComesUp::Never, vec![]),
    ] {
        let mut hall = Hall::new(DevicePlan {
            comes_up,
            takes: Takes::Restarting,
            ..DevicePlan::default()
        });
        assert_eq!(hall.tell(there()), Ok(false));
        hall.bench.run(secs(30));
        let camera = hall.camera();
        assert_eq!(camera.addresses, wanted, "{comes_up:?}");
        assert_eq!(camera.powered, comes_up != ComesUp::Never);
    }
    // And with DHCP as it was told.
    let mut hall = Hall::new(DevicePlan::default());
    assert_eq!(hall.tell(Setting::Dhcp), Ok(false));
    hall.bench.run(secs(5));
    assert!(hall.camera().addresses.is_empty() && hall.camera().powered);
}

#[test]
fn a_device_dies_keeps_silent_or_drips_at_its_question() {
    let clock = |trouble| {
        let mut hall = Hall::new(DevicePlan::default().with("GetSystemDateAndTime", trouble));
        let answer = hall.put(&Question::Clock, Pass::Nobody);
        hall.bench.run(secs(1));
        let powered = hall.camera().powered;
        assert_eq!(hall.bench.venue.questions("Host 21"), ["GetSystemDateAndTime"]);
        (answer.map(|a| read_clock(&a).is_ok()), powered)
    };
    assert_eq!(clock(Trouble::Dies), (SILENT.map(|_| true), false));
    assert_eq!(clock(Trouble::DiesHalfway), (Err(Refusal::Cut), false));
    assert_eq!(clock(Trouble::DiesAfter), (Ok(true), false));
    assert_eq!(clock(Trouble::Silent), (SILENT.map(|_| true), true));
    assert_eq!(clock(Trouble::Giant), (Err(Refusal::TooLong), true));
    assert_eq!(clock(Trouble::Page), (Ok(false), true));

    let mut hall = Hall::new(DevicePlan::default().with("GetSystemDateAndTime", Trouble::Drips));
    let before = hall.bench.now;
    assert!(hall.put(&Question::Clock, Pass::Nobody).is_ok());
    assert!(hall.bench.now.since(before) > Duration::from_secs(30));
}

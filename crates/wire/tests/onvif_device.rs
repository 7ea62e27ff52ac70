//! Our side of ONVIF's network service against a device that shares nothing with it: its XML is lxml's, its HTTP
//! Python's, its digests hashlib's, its judge of requests the service's own schema, and its address a real kernel's
//! (`tests/tools/onvif_device.py`).
#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::io::{Read, Write};
use std::net::{Ipv4Addr, SocketAddr, TcpStream};
use std::process::Command;
use std::time::{Duration, Instant};

use rigmuster_tests::lab::{Lab, lab, until};
use rigmuster_tests::python_has;
use rigmuster_tests::tools::Tool;
use vocab::Mac;
use wire::onvif::{
    Answer, Demand, DeviceTime, Draw, Ear, Login, Pass, Place, Question, Refusal, Secret, Setting, Wrong,
    choose, read_clock, read_demand, read_gateway_set, read_gateways, read_interfaces, read_needs_restart,
    read_restart,
};

const FACTORY: Ipv4Addr = Ipv4Addr::new(192, 168, 0, 20);
const NEW: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 31);
const GATEWAY: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 1);
const MAC: Mac = Mac::new([0x02, 0x52, 0x43, 0x00, 0x00, 0x31]);
const PATIENCE: Duration = Duration::from_secs(20);

/// A camera on its factory address, and the computer in both subnets.
fn camera(lab: &Lab, options: &[&str]) -> Tool {
    lab.host("camera", &MAC.to_string(), &["192.168.0.20/24"]);
    for own in ["192.168.0.5/24", "10.40.8.5/24"] {
        let words = ["address", "replace", own, "dev", "switch"];
        assert!(Command::new("ip").args(words).status().unwrap().success());
    }
    device(lab, options)
}

fn device(lab: &Lab, options: &[&str]) -> Tool {
    lab.tool("camera", "onvif_device.py", &[&["eth0"], options].concat())
}

fn put(host: Ipv4Addr, question: &Question, pass: Pass<'_>) -> Result<Answer, Refusal> {
    put_for(host, question, pass, PATIENCE)
}

fn put_for(host: Ipv4Addr, question: &Question, pass: Pass<'_>, span: Duration) -> Result<Answer, Refusal> {
    let request = question.request(&Place::usual(host, 80), pass);
    let mut stream = TcpStream::connect_timeout(&SocketAddr::from((host, 80)), PATIENCE).unwrap();
    stream.set_read_timeout(Some(span)).unwrap();
    stream.write_all(&request).unwrap();
    let mut ear = Ear::new();
    let mut piece = [0; 1400];
    loop {
        match stream.read(&mut piece) {
            Ok(0) | Err(_) => return ear.end(),
            Ok(n) => {
                if let Some(heard) = ear.feed(&piece[..n]) {
                    return heard;
                }
            }
        }
    }
}

/// What a person has in hand once the device told its time.
struct Seat {
    login: Login,
    clock: DeviceTime,
    told: Instant,
    drawn: u8,
}

impl Seat {
    fn new(host: Ipv4Addr, password: &str) -> Self {
        let clock = read_clock(&put(host, &Question::Clock, Pass::Nobody).unwrap()).unwrap();
        Self {
            login: Login::new("operator".into(), Secret::new(password.into())).unwrap(),
            clock,
            told: Instant::now(),
            drawn: 0,
        }
    }

    /// Asks in the way that the device demands.
    fn put(&mut self, host: Ipv4Addr, question: &Question) -> Result<Answer, Refusal> {
        self.put_for(host, question, PATIENCE)
    }

    fn put_for(&mut self, host: Ipv4Addr, question: &Question, span: Duration) -> Result<Answer, Refusal> {
        let demand = read_demand(&put(host, &Question::Interfaces, Pass::Nobody)?)?;
        self.drawn += 1;
        let draw = Draw::new([self.drawn; 16]);
        let login = &self.login;
        let pass = match demand {
            Demand::Nothing(_) => Pass::Nobody,
            Demand::Token => Pass::Token {
                login,
                at: self.clock.after(self.told.elapsed()),
                draw,
            },
            Demand::Digest(challenge) => Pass::Digest {
                login,
                challenge,
                draw,
            },
        };
        put_for(host, question, pass, span)
    }
}

fn there() -> Setting {
    Setting::Manual("10.40.8.31/24".parse().unwrap())
}

fn has_address(lab: &Lab, address: &str) -> bool {
    lab.settings("camera").iter().any(|line| line.contains(address))
}

/// From its factory address to its own, by each login, as a real kernel carries it out.
#[test]
fn a_device_of_other_making_takes_each_login_and_moves() {
    let test = "a_device_of_other_making_takes_each_login_and_moves";
    if !python_has(test, "lxml.etree, onvif") {
        return;
    }
    lab(test, |lab| {
        let years_off = [
            "--wants",
            "token",
            "--clock",
            "-820000000",
            "--takes",
            "at-restart",
        ];
        for (n, options) in [
            &["--tells", "two", "--soap11"][..],
            &years_off,
            &["--wants", "md5", "--takes", "restarting"],
            &["--wants", "both", "--takes", "mute"],
        ]
        .into_iter()
        .enumerate()
        {
            let mut tool = if n == 0 {
                camera(lab, options)
            } else {
                device(lab, options)
            };
            let mut seat = Seat::new(FACTORY, "harbour-7");
            let all = read_interfaces(&seat.put(FACTORY, &Question::Interfaces).unwrap()).unwrap();
            let own = choose(&all, MAC).unwrap();
            assert_eq!(own.own(), Some("192.168.0.20/24".parse().unwrap()));
            let none = read_gateways(&seat.put(FACTORY, &Question::Gateway).unwrap());
            assert_eq!(none, Ok(vec![]));

            let question = Question::SetInterface(own.token.clone(), there());
            // Who takes it at once is silent for as long as anybody waits.
            let span = if options.contains(&"mute") {
                Duration::from_secs(3)
            } else {
                PATIENCE
            };
            let told = seat
                .put_for(FACTORY, &question, span)
                .and_then(|answer| read_needs_restart(&answer));
            match options.last() {
                Some(&"mute") => assert_eq!(told, Err(Refusal::Cut)),
                Some(&"at-restart") => {
                    assert_eq!(told, Ok(true));
                    let answer = seat.put(FACTORY, &Question::Restart).unwrap();
                    assert_eq!(read_restart(&answer).unwrap().as_str(), "Back in a moment");
                }
                _ => assert_eq!(told, Ok(false)),
            }
            tool.wait("its new address", |line| line == "took 10.40.8.31/24");
            assert!(has_address(lab, "10.40.8.31") && !has_address(lab, "192.168.0.20"));

            let answer = seat.put(NEW, &Question::SetGateway(GATEWAY)).unwrap();
            assert_eq!(read_gateway_set(&answer), Ok(()));
            tool.wait("its gateway", |line| line == "gateway 10.40.8.1");
            let gateway = read_gateways(&seat.put(NEW, &Question::Gateway).unwrap());
            assert_eq!(gateway, Ok(vec![GATEWAY]));

            let heard = tool.heard();
            let count = |wanted: &dyn Fn(&str) -> bool| heard.iter().filter(|l| wanted(l)).count();
            assert_eq!(
                count(&|l| l.starts_with("odd") || l.starts_with("schema")),
                0,
                "{heard:?}"
            );
            let asked = count(&|l| l.starts_with("asked"));
            assert_eq!(count(&|l| l.ends_with("schema=ok")), asked, "{heard:?}");
            assert_eq!(count(&|l| l.contains("login=wrong")), 0, "{heard:?}");
            let logins = match n {
                0 => 0,
                1 => 6,
                _ => 5,
            };
            assert_eq!(count(&|l| l.contains("login=right")), logins, "{heard:?}");

            drop(tool);
            // The next one begins where this one did.
            let begin = "ip address flush dev eth0 && ip address add 192.168.0.20/24 dev eth0";
            lab.within("camera", &["sh", "-c", begin]);
        }
    });
}

/// What it refuses is typed, a wrong login is one, and what dies is cut.
#[test]
fn what_a_device_of_other_making_refuses_is_understood() {
    let test = "what_a_device_of_other_making_refuses_is_understood";
    if !python_has(test, "lxml.etree, onvif") {
        return;
    }
    lab(test, |lab| {
        let mut tool = camera(lab, &["--wants", "sha256", "--lock"]);
        let mut wrong = Seat::new(FACTORY, "harbour-8");
        let refused = wrong
            .put(FACTORY, &Question::Gateway)
            .and_then(|a| read_gateways(&a));
        assert_eq!(refused, Err(Refusal::NotAuthorized));
        // Now that it is locked the right one is too late: why only one is ever tried.
        let mut late = Seat::new(FACTORY, "harbour-7");
        let refused = late
            .put(FACTORY, &Question::Gateway)
            .and_then(|a| read_gateways(&a));
        assert_eq!(refused, Err(Refusal::NotAuthorized));
        let tried = tool.wait_many("two tries", 2, |line| line.contains("login=wrong"));
        assert_eq!(tried[0], "asked GetNetworkDefaultGateway login=wrong schema=ok");
        drop(tool);

        let tool = device(lab, &["--wants", "basic"]);
        let demand = read_demand(&put(FACTORY, &Question::Interfaces, Pass::Nobody).unwrap());
        // Its service speaks of the login itself, so it may take one inside the message.
        assert_eq!(demand, Ok(Demand::Token));
        drop(tool);

        let options = [
            "--soap11",
            "--trouble",
            "SetNetworkDefaultGateway=refuse:InvalidGatewayAddress",
            "--trouble",
            "GetNetworkDefaultGateway=giant",
            "--trouble",
            "SystemReboot=die-halfway",
            "--trouble",
            "GetSystemDateAndTime=page",
        ];
        let mut tool = device(lab, &options);
        let nobody = |question: &Question| put(FACTORY, question, Pass::Nobody);
        let gateway = read_gateway_set(&nobody(&Question::SetGateway(GATEWAY)).unwrap());
        assert!(matches!(gateway, Err(Refusal::Fault(fault)) if fault.wrong == Wrong::Gateway));
        assert_eq!(nobody(&Question::Gateway), Err(Refusal::TooLong));
        let clock = read_clock(&nobody(&Question::Clock).unwrap());
        assert_eq!(clock, Err(Refusal::NotSoap));
        assert_eq!(nobody(&Question::Restart), Err(Refusal::Cut));
        tool.wait("its end", |line| line == "died");
        until("its link is down", || Lab::state("camera") == "disabled");
    });
}

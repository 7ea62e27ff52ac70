//! The device's side against our own: both sides of each exchange are read by the other. That both may be wrong
//! alike is what `tests/tools/onvif_device.py` and the RFCs' examples are for.

use super::*;
use crate::onvif::{
    Answer, Demand, Draw, Ear, Login, Pass, Place, Question, Refusal, Secret, Token, choose, read_clock,
    read_demand, read_gateway_set, read_gateways, read_interfaces, read_needs_restart, read_restart,
};

const MAC: Mac = Mac::new([0x02, 0x52, 0x43, 0x00, 0x06, 0x9f]);
const NOW: Moment = Moment::from_micros(90_000_000);

fn view() -> View {
    View {
        mac: MAC,
        net: Some("192.168.0.20/24".parse().unwrap()),
        dhcp: false,
        gateway: Some(Ipv4Addr::new(192, 168, 0, 1)),
    }
}

fn place() -> Place {
    Place::usual(Ipv4Addr::new(192, 168, 0, 20), 80)
}

fn login(password: &str) -> Login {
    Login::new("operator".to_owned(), Secret::new(password.to_owned())).unwrap()
}

fn put(device: &mut Device, question: &Question, pass: Pass<'_>) -> Spoken {
    let request = question.request(&place(), pass);
    // Nothing comes of a part of it.
    assert_eq!(device.answer(&request[..request.len() - 1], &view(), NOW), None);
    device.answer(&request, &view(), NOW).unwrap()
}

fn heard(spoken: &Spoken) -> Answer {
    Ear::new().feed(&spoken.bytes).unwrap().unwrap()
}

/// Asks in the way that the device demands.
fn put_as(device: &mut Device, question: &Question, login: &Login) -> Spoken {
    let first = put(device, &Question::Interfaces, Pass::Nobody);
    let draw = Draw::new([3; 16]);
    let pass = match read_demand(&heard(&first)).unwrap() {
        Demand::Nothing(_) => Pass::Nobody,
        Demand::Token => {
            let clock = put(device, &Question::Clock, Pass::Nobody);
            let at = read_clock(&heard(&clock)).unwrap();
            Pass::Token { login, at, draw }
        }
        Demand::Digest(challenge) => Pass::Digest {
            login,
            challenge,
            draw,
        },
    };
    put(device, question, pass)
}

fn change(device: &mut Device) -> Question {
    let spoken = put_as(device, &Question::Interfaces, &login("harbour-7"));
    let all = read_interfaces(&heard(&spoken)).unwrap();
    let token = choose(&all, MAC).unwrap().token.clone();
    Question::SetInterface(token, Setting::Manual("10.40.8.31/24".parse().unwrap()))
}

#[test]
fn each_login_is_taken_when_right_and_counted_when_wrong() {
    for wants in [
        Wants::Nothing,
        Wants::Token,
        Wants::DigestMd5,
        Wants::DigestSha256,
    ] {
        let mut device = Device::new(DevicePlan::default().wanting(wants));
        let good = put_as(&mut device, &Question::Gateway, &login("harbour-7"));
        assert_eq!(
            read_gateways(&heard(&good)),
            Ok(vec![Ipv4Addr::new(192, 168, 0, 1)]),
            "{wants:?}"
        );
        let bad = put_as(&mut device, &Question::Gateway, &login("harbour-8"));
        if wants == Wants::Nothing {
            assert_eq!(device.logins(), (0, 0));
        } else {
            assert_eq!(
                read_gateways(&heard(&bad)),
                Err(Refusal::NotAuthorized),
                "{wants:?}"
            );
            assert_eq!(device.logins(), (1, 1), "{wants:?}");
        }
    }
}

#[test]
fn a_token_with_another_clock_is_refused() {
    let mut device = Device::new(DevicePlan::default().wanting(Wants::Token));
    for (at, right) in [((0, 1, 33), true), ((0, 1, 38), false), ((0, 1, 20), false)] {
        let pass = Pass::Token {
            login: &login("harbour-7"),
            at: DeviceTime::new((2000, 1, 1), at).unwrap(),
            draw: Draw::new([3; 16]),
        };
        let spoken = put(&mut device, &Question::Interfaces, pass);
        assert_eq!(read_interfaces(&heard(&spoken)).is_ok(), right, "{at:?}");
    }
    let mut plain = Device::new(DevicePlan::default().wanting(Wants::Plain));
    let spoken = put(&mut plain, &Question::Interfaces, Pass::Nobody);
    // Its service speaks of the login in SOAP, so one inside the message is worth its one try.
    assert_eq!(read_demand(&heard(&spoken)), Ok(Demand::Token));
}

#[test]
fn a_new_address_is_taken_in_each_way() {
    let told = Setting::Manual("10.40.8.31/24".parse().unwrap());
    for (takes, needs, wanted) in [
        (Takes::Soon, Some(false), vec![(SOON, Act::Take(told))]),
        (Takes::Mute, None, vec![(Duration::ZERO, Act::Take(told))]),
        (
            Takes::Restarting,
            Some(false),
            vec![(SOON, Act::Take(told)), (SOON, Act::Restart)],
        ),
        (Takes::AtRestart, Some(true), vec![]),
    ] {
        let mut device = Device::new(DevicePlan {
            takes,
            ..DevicePlan::default()
        });
        let question = change(&mut device);
        let spoken = put(&mut device, &question, Pass::Nobody);
        assert_eq!(spoken.acts, wanted, "{takes:?}");
        match needs {
            Some(needs) => assert_eq!(read_needs_restart(&heard(&spoken)), Ok(needs)),
            None => assert!(spoken.bytes.is_empty()),
        }
        let restart = put(&mut device, &Question::Restart, Pass::Nobody);
        assert_eq!(
            read_restart(&heard(&restart)).unwrap().as_str(),
            "Back in a minute"
        );
        let taken = restart.acts.contains(&(SOON, Act::Take(told)));
        assert_eq!(taken, takes == Takes::AtRestart);
    }
    let at = "10.40.8.99/24".parse().unwrap();
    for (comes_up, act) in [
        (ComesUp::Unmoved, None),
        (ComesUp::Never, Some(Act::Die)),
        (ComesUp::ByDhcp, Some(Act::Take(Setting::Dhcp))),
        (ComesUp::Elsewhere(at), Some(Act::Take(Setting::Manual(at)))),
    ] {
        let mut device = Device::new(DevicePlan {
            comes_up,
            ..DevicePlan::default()
        });
        let question = change(&mut device);
        let spoken = put(&mut device, &question, Pass::Nobody);
        assert_eq!(read_needs_restart(&heard(&spoken)), Ok(false));
        assert_eq!(spoken.acts.first().map(|(_, act)| *act), act);
    }
}

#[test]
fn a_gateway_is_set_and_a_wrong_interface_is_not() {
    let mut device = Device::new(DevicePlan::default());
    let to = Ipv4Addr::new(10, 40, 8, 1);
    let spoken = put(&mut device, &Question::SetGateway(to), Pass::Nobody);
    assert_eq!(read_gateway_set(&heard(&spoken)), Ok(()));
    assert_eq!(spoken.acts, [(Duration::ZERO, Act::Gateway(to))]);
    let odd = Question::SetInterface(Token::new("eth9").unwrap(), Setting::Dhcp);
    let spoken = put(&mut device, &odd, Pass::Nobody);
    assert!(matches!(
        read_needs_restart(&heard(&spoken)),
        Err(Refusal::Fault(fault)) if fault.wrong == crate::onvif::Wrong::Interface
    ));
    assert_eq!(
        device.asked(),
        ["SetNetworkDefaultGateway", "SetNetworkInterfaces"]
    );
}

#[test]
fn what_is_planned_to_go_wrong_does() {
    let spoken = |trouble| {
        let mut device = Device::new(DevicePlan::default().with("SystemReboot", trouble));
        put(&mut device, &Question::Restart, Pass::Nobody)
    };
    let read = |spoken: &Spoken| {
        let mut ear = Ear::new();
        let answer = ear.feed(&spoken.bytes).unwrap_or_else(|| ear.end());
        answer.and_then(|answer| read_restart(&answer)).map(|_| ())
    };
    let dies = [(DYING, Act::Die)];
    assert_eq!(
        read(&spoken(Trouble::Refuses("OptionalActionNotImplemented"))),
        Err(Refusal::NotOffered)
    );
    assert_eq!(spoken(Trouble::Silent), Spoken::default());
    assert_eq!(spoken(Trouble::Dies).acts, dies);
    assert!(spoken(Trouble::Dies).bytes.is_empty());
    assert_eq!(read(&spoken(Trouble::DiesHalfway)), Err(Refusal::Cut));
    assert_eq!(spoken(Trouble::DiesHalfway).acts, dies);
    assert_eq!(read(&spoken(Trouble::DiesAfter)), Ok(()));
    assert_eq!(spoken(Trouble::DiesAfter).acts, dies);
    assert!(spoken(Trouble::Drips).pace.is_some());
    assert_eq!(read(&spoken(Trouble::Giant)), Err(Refusal::TooLong));
    assert_eq!(read(&spoken(Trouble::Page)), Err(Refusal::NotSoap));
}

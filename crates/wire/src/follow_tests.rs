//! The second question, asked and answered by both sides, and by peers that will not.

use vocab::Power;

use super::*;
use crate::persona::{Persona, answer};
use crate::visca::Version;

const HOST: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);
const NONCE: u32 = u32::MAX;

fn port(word: ControlWord) -> ControlPort {
    ControlPort {
        word,
        port: word.usual_port().unwrap_or(9_000),
    }
}

fn persona(power: Power) -> Persona {
    Persona {
        version: Version {
            vendor: 1,
            model: 0x0511,
            rom: 0x0100,
        },
        power,
        server: "stage unit 3".to_owned(),
        title: String::new(),
        host_name: "organ-loft".to_owned(),
        login: true,
        onvif: true,
    }
}

#[test]
fn a_device_tells_whether_it_is_on_and_what_it_is_called() {
    for power in [Power::On, Power::Standby, Power::Fault] {
        for word in ControlWord::ALL {
            let Some(bytes) = request(port(word), HOST, NONCE) else {
                assert!(!matches!(
                    word,
                    ControlWord::ViscaUdp
                        | ControlWord::ViscaRawUdp
                        | ControlWord::ViscaTcp
                        | ControlWord::Onvif
                ));
                continue;
            };
            let wanted = match word {
                ControlWord::Onvif => Told::Name(Name {
                    text: "organ-loft".into(),
                    source: NameSource::Onvif,
                }),
                _ => Told::Power(power),
            };
            let wanted = Answer::Told(wanted);
            let back = answer(port(word), &persona(power), &bytes).unwrap();
            assert_eq!(Ear::new(port(word), NONCE).feed(&back), Some(wanted.clone()));
            if !word.is_udp() {
                let mut ear = Ear::new(port(word), NONCE);
                let first = back.iter().find_map(|b| ear.feed(&[*b]));
                assert_eq!(first, Some(wanted), "{word:?} byte by byte");
            }
        }
    }
}

#[test]
fn the_power_inquiry_is_the_manuals() {
    // Type 01 10, length 5, the next sequence number, 81 09 04 00 FF; the reply 90 50 03 FF.
    let asked = request(port(ControlWord::ViscaUdp), HOST, 6).unwrap();
    assert_eq!(
        asked,
        [0x01, 0x10, 0, 5, 0, 0, 0, 7, 0x81, 0x09, 0x04, 0x00, 0xff]
    );
    let mut ear = Ear::new(port(ControlWord::ViscaUdp), 6);
    let reply = [0x01, 0x11, 0, 4, 0, 0, 0, 7, 0x90, 0x50, 0x03, 0xff];
    assert_eq!(ear.feed(&reply), Some(Answer::Told(Told::Power(Power::Standby))));
}

#[test]
fn late_answers_and_those_to_others_say_nothing_of_power() {
    let version = Reply::Version(persona(Power::On).version).emit();
    let on = Reply::Byte(visca::reply::power_byte(Power::On)).emit();
    let headered = |sequence, payload: &[u8]| {
        Ear::new(port(ControlWord::ViscaUdp), 6).feed(
            &Datagram {
                kind: Kind::Reply,
                sequence,
                payload,
            }
            .emit(),
        )
    };
    assert_eq!(headered(6, &version), None);
    assert_eq!(headered(9, &on), None, "another asker's");
    assert_eq!(headered(7, &[0x90, 0x60, 0x02, 0xff]), Some(Answer::Nothing));
    let mut stream = Ear::new(port(ControlWord::ViscaTcp), 6);
    assert_eq!(stream.feed(&[&version[..], &on[..2]].concat()), None);
    assert_eq!(stream.feed(&on[2..]), Some(Answer::Told(Told::Power(Power::On))));
}

#[test]
fn endless_and_broken_answers_end() {
    let mut ear = Ear::new(port(ControlWord::Onvif), 1);
    assert_eq!(ear.feed(b"HTTP/1.1 200 OK\r\n\r\n<a>"), None);
    let fed = (0..100)
        .map(|_| ear.feed(&[b'x'; 1_000]))
        .take_while(Option::is_none)
        .count();
    assert!(fed <= 16, "{fed}");
    assert_eq!(
        Ear::new(port(ControlWord::Onvif), 1).feed(b"SSH-2.0\r\n"),
        Some(Answer::Nothing)
    );
    assert_eq!(
        Ear::new(port(ControlWord::ViscaTcp), 1).feed(&[0x90; 20]),
        Some(Answer::Nothing)
    );
}

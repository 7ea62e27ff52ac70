//! Every control word asked and answered by both sides, whole and in pieces, and by the wrong peer.

use super::*;
use crate::persona::{Persona, answer};
use crate::visca::Version;
use vocab::Power;

const HOST: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);
const NONCE: u32 = 0x0102_0304;

fn port(word: ControlWord) -> ControlPort {
    ControlPort {
        word,
        port: word.usual_port().unwrap_or(9_000),
    }
}

fn persona(login: bool) -> Persona {
    Persona {
        version: Version {
            vendor: 1,
            model: 0x0511,
            rom: 0x0100,
        },
        power: Power::On,
        server: "stage unit 3".to_owned(),
        title: String::new(),
        host_name: String::new(),
        login,
        onvif: true,
    }
}

fn judge(word: ControlWord, bytes: &[u8]) -> Verdict {
    Judge::new(port(word), NONCE).feed(bytes)
}

fn said(text: &str) -> Verdict {
    Verdict::Answered(Some(Text::clean(text)))
}

#[test]
fn every_word_is_asked_and_answered() {
    let version = "vendor 0001 model 0511, rom 0100";
    for login in [false, true] {
        for word in ControlWord::ALL.into_iter().filter(|w| *w != ControlWord::Tcp) {
            let request = request(port(word), HOST, NONCE);
            let bytes = answer(port(word), &persona(login), &request.first_bytes).unwrap();
            let wanted = match word {
                ControlWord::ViscaUdp | ControlWord::ViscaRawUdp | ControlWord::ViscaTcp => said(version),
                ControlWord::Https => Verdict::Answered(None),
                _ => said("server \"stage unit 3\""),
            };
            assert_eq!(judge(word, &bytes), wanted, "{word:?}");
            if word.is_udp() {
                continue;
            }
            // The same stream byte by byte: nothing is wrong on the way, and the end is the same.
            let mut judge = Judge::new(port(word), NONCE);
            assert_eq!(judge.on_open(), Verdict::More);
            let first = bytes
                .iter()
                .map(|b| judge.feed(&[*b]))
                .find(|v| *v != Verdict::More);
            assert_eq!(first, Some(wanted), "{word:?}");
        }
    }
}

#[test]
fn an_accepted_connection_is_enough_for_tcp_only() {
    for word in ControlWord::ALL {
        let judge = Judge::new(port(word), NONCE);
        let wanted = if word == ControlWord::Tcp {
            Verdict::Answered(None)
        } else {
            Verdict::More
        };
        assert_eq!(judge.on_open(), wanted);
        assert_eq!(judge.on_close(), Verdict::More);
    }
    assert!(request(port(ControlWord::Tcp), HOST, 1).first_bytes.is_empty());
}

#[test]
fn error_replies_and_other_numbers_prove_visca() {
    let headered = |kind, sequence, payload: &[u8]| {
        judge(
            ControlWord::ViscaUdp,
            &Datagram {
                kind,
                sequence,
                payload,
            }
            .emit(),
        )
    };
    let none = Verdict::Answered(None);
    let version = Reply::Version(persona(false).version).emit();
    assert_eq!(headered(Kind::Reply, NONCE, &[0x90, 0x60, 0x02, 0xff]), none);
    assert_eq!(headered(Kind::Reply, NONCE + 1, &version), none);
    assert_eq!(headered(Kind::ControlReply, NONCE, &[0x0f, 0x01]), none);
    assert_eq!(headered(Kind::ControlReply, NONCE, &[0x01]), none);
    assert_eq!(headered(Kind::Reply, NONCE, b"hello"), Verdict::Wrong);
    // Without its header it is another port's protocol; the raw port takes both.
    assert_eq!(judge(ControlWord::ViscaUdp, &version), Verdict::Wrong);
    let wrapped = Datagram {
        kind: Kind::Reply,
        sequence: NONCE,
        payload: &version,
    }
    .emit();
    assert_eq!(
        judge(ControlWord::ViscaRawUdp, &wrapped),
        judge(ControlWord::ViscaRawUdp, &version)
    );
}

#[test]
fn our_own_question_coming_back_is_no_answer() {
    for word in ControlWord::ALL
        .into_iter()
        .filter(|w| !matches!(w, ControlWord::Tcp | ControlWord::Https))
    {
        let echo = request(port(word), HOST, NONCE).first_bytes;
        assert_eq!(judge(word, &echo), Verdict::Wrong, "{word:?}");
    }
}

#[test]
fn another_protocol_is_wrong() {
    let page = b"HTTP/1.1 200 OK\r\nServer: a\r\nContent-Length: 4\r\n\r\npage";
    for word in [
        ControlWord::ViscaTcp,
        ControlWord::Rtsp,
        ControlWord::Https,
        ControlWord::Onvif,
    ] {
        assert_eq!(judge(word, page), Verdict::Wrong, "{word:?}");
    }
    assert_eq!(judge(ControlWord::Http, b"SSH-2.0-x\r\n"), Verdict::Wrong);
    assert_eq!(
        judge(ControlWord::Http, b"RTSP/1.0 200 OK\r\n\r\n"),
        Verdict::Wrong
    );
    assert_eq!(
        judge(
            ControlWord::Onvif,
            b"HTTP/1.1 401 No\r\nContent-Length: 0\r\n\r\n"
        ),
        Verdict::Wrong
    );
}

#[test]
fn a_status_line_counts_when_no_more_comes() {
    for (word, line) in [
        (ControlWord::Http, "HTTP/1.0 401 No"),
        (ControlWord::Rtsp, "RTSP/1.0 454 No\r\nA: b"),
    ] {
        let mut judge = Judge::new(port(word), NONCE);
        assert_eq!(judge.feed(line.as_bytes()), Verdict::More);
        assert_eq!(judge.on_close(), Verdict::Answered(None));
        let mut judge = Judge::new(port(word), NONCE);
        assert_eq!(judge.feed(&line.as_bytes()[..7]), Verdict::More);
        assert_eq!(judge.on_close(), Verdict::Wrong);
    }
}

#[test]
fn endless_answers_are_cut_off() {
    let mut judge = Judge::new(port(ControlWord::Onvif), NONCE);
    assert_eq!(judge.feed(b"HTTP/1.1 200 OK\r\n\r\n"), Verdict::More);
    let fed = (0..100)
        .map(|_| judge.feed(&[b'x'; 1_000]))
        .take_while(|v| *v == Verdict::More)
        .count();
    assert_eq!(fed, 16);
    let mut judge = Judge::new(port(ControlWord::Http), NONCE);
    assert_eq!(judge.feed(b"HTTP/1.1 200 OK\r\n"), Verdict::More);
    assert_eq!(judge.feed(&b"a: b\r\n".repeat(3_000)), Verdict::Answered(None));
}

#[test]
fn devices_answer_what_they_know_and_refuse_the_rest() {
    let ask = |word, bytes: &[u8]| answer(port(word), &persona(false), bytes);
    let both = [visca::Inquiry::Power.packet(), &[0x81, 0x09, 0x7f, 0x7f, 0xff]].concat();
    assert_eq!(
        ask(ControlWord::ViscaTcp, &both),
        Some(vec![0x90, 0x50, 0x02, 0xff, 0x90, 0x60, 0x02, 0xff])
    );
    assert_eq!(ask(ControlWord::ViscaTcp, &both[..4]), None);
    let reset = Datagram {
        kind: Kind::Control,
        sequence: 5,
        payload: &[1],
    }
    .emit();
    assert_eq!(
        ask(ControlWord::ViscaUdp, &reset),
        Some(vec![0x02, 0x01, 0, 1, 0, 0, 0, 5, 1])
    );
    assert_eq!(ask(ControlWord::Http, b"GET / HTTP/1.1\r\nHost: a\r\n"), None);
    let missing = ask(ControlWord::Http, b"GET /x HTTP/1.1\r\n\r\n").unwrap();
    assert_eq!(http::status(&missing), Ok(404));
    let post = onvif::time_request(HOST, 80);
    assert_eq!(ask(ControlWord::Onvif, &post[..post.len() - 1]), None);
    let other = String::from_utf8(post)
        .unwrap()
        .replace("GetSystemDateAndTime", "GetSystemBackupFiles");
    let fault = ask(ControlWord::Onvif, other.as_bytes()).unwrap();
    assert_eq!(judge(ControlWord::Onvif, &fault), said("server \"stage unit 3\""));
}

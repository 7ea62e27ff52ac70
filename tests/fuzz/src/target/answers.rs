//! What control ports answer, in pieces as a stream brings it.

use core::net::Ipv4Addr;

use vocab::{ControlPort, ControlWord, Power};
use wire::control::{Judge, Verdict};
use wire::follow::Ear;
use wire::persona::Persona;
use wire::visca::{Datagram, Reply, Version};
use wire::{control, follow, http, onvif, page, persona, rtsp, tls, visca};

use crate::{Bytes, Target, must_be_clean};

const HOST: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);
const NONCE: u32 = 7;

/// Answers to the first and the second question to a port, in pieces, and the device's side of it.
pub(super) const CONTROL: Target = Target {
    name: "control",
    longest: 20_000,
    short: 6_000,
    run: control_port,
    seeds: answers,
};

/// Heads and bodies of HTTP and RTSP, records of TLS.
pub(super) const HEADS: Target = Target {
    name: "heads",
    longest: 20_000,
    short: 6_000,
    run: heads,
    seeds: || answers().into_iter().map(|mut seed| seed.split_off(4)).collect(),
};

/// VISCA, datagrams and stream.
pub(super) const VISCA: Target = Target {
    name: "visca",
    longest: 64,
    short: 20_000,
    run: |data| {
        if let Ok(datagram) = visca::Datagram::parse(data) {
            assert_eq!(datagram.emit(), data);
        }
        if let Ok(reply) = visca::Reply::parse(data) {
            assert_eq!(
                visca::Reply::parse(&reply.emit()).map(|r| r.emit()),
                Ok(reply.emit())
            );
        }
        if let Some(inquiry) = visca::Inquiry::parse(data) {
            assert_eq!(inquiry.packet(), data);
        }
        if let Some(command) = visca::Command::parse(data) {
            let again = visca::Command::parse(&command.packet());
            assert_eq!(again, Some(command));
        }
        if let Some(position) = visca::Position::read(data) {
            assert_eq!(position.nibbles(), data);
        }
        if let Ok(control) = visca::Control::parse(data) {
            assert_eq!(control.packet(), data);
        }
        for framing in [
            visca::Framing::Headed,
            visca::Framing::Bare,
            visca::Framing::Stream,
        ] {
            let mut talk = visca::Exchange::new(framing, NONCE);
            for piece in data.chunks(1 + data.len() / 3) {
                assert!(visca::Exchange::hear(&mut talk, piece).len() <= 64);
            }
        }
        let (mut rest, mut all) = (data, Vec::<u8>::new());
        while let Ok(Some((packet, after))) = visca::split(rest) {
            assert!(after.len() < rest.len());
            all.extend(packet);
            rest = after;
        }
        all.extend(rest);
        assert_eq!(all, data);
    },
    seeds: || {
        answers()
            .into_iter()
            .map(|mut seed| seed.split_off(4))
            .filter(|s| s.len() <= 64)
            .collect()
    },
};

/// `word`, how long a piece is, then what comes.
fn control_port(data: &[u8]) {
    let mut bytes = Bytes::new(data);
    let word = bytes.one_of(&ControlWord::ALL);
    let port = ControlPort {
        word,
        port: word.usual_port().unwrap_or(8_000),
    };
    let size = usize::from(bytes.u8()) + 1;
    let persona = persona_of(bytes.u16());
    let heard = bytes.rest();
    let (mut judge, mut ear) = (Judge::new(port, NONCE), Ear::new(port, NONCE));
    let mut verdict = judge.on_open();
    for piece in heard.chunks(size) {
        if verdict != Verdict::More {
            break;
        }
        verdict = control::Judge::feed(&mut judge, piece);
    }
    for verdict in [verdict, judge.on_close()] {
        if let Verdict::Answered(Some(words)) = verdict {
            must_be_clean(words.as_str());
        }
    }
    for piece in heard.chunks(size) {
        match follow::Ear::feed(&mut ear, piece) {
            Some(follow::Answer::Told(vocab::Told::Name(name))) => {
                must_be_clean(name.text.as_str());
                break;
            }
            Some(_) => break,
            None => {}
        }
    }
    // A persona's answer to anything is never too much to be read.
    if let Some(answer) = persona::answer(port, &persona, heard) {
        assert!(answer.len() <= control::MAX_ANSWER);
    }
}

fn heads(data: &[u8]) {
    let _ = (http::status(data), rtsp::status(data));
    for head in [http::parse(data), rtsp::parse(data)].into_iter().flatten() {
        if let Some(server) = head.server() {
            must_be_clean(server.as_str());
        }
        let (body, _) = http::body(&head);
        assert!(body.len() <= data.len());
        let is_page = page::is_page(&head);
        for sought in [page::title(&head), onvif::host_name(&head)] {
            if let http::Sought::Found(text) = sought {
                must_be_clean(text.as_str());
            }
        }
        let _ = (is_page, onvif::is_soap(&head), head.field("content-type"));
    }
    let _ = tls::Record::parse(data);
}

fn persona_of(bits: u16) -> Persona {
    let has = |bit: u16, text: &str| {
        if bits & bit != 0 {
            text.to_owned()
        } else {
            String::new()
        }
    };
    Persona {
        version: Version {
            vendor: bits,
            model: 1,
            rom: 2,
        },
        power: Power::On,
        server: has(1, "stage box"),
        title: has(2, "Organ loft"),
        host_name: has(4, "organ-loft"),
        login: bits & 8 != 0,
        onvif: bits & 16 != 0,
    }
}

/// What our personas answer to our own questions, whole and in small pieces, and the questions.
fn answers() -> Vec<Vec<u8>> {
    let mut out = Vec::new();
    for (n, word) in ControlWord::ALL.into_iter().enumerate() {
        let port = ControlPort {
            word,
            port: word.usual_port().unwrap_or(8_000),
        };
        let mut put = |bits: u16, bytes: &[u8]| {
            let [high, low] = bits.to_be_bytes();
            out.push([&[n as u8, 255, high, low][..], bytes].concat());
            out.push([&[n as u8, 3, high, low][..], bytes].concat());
        };
        let first = control::request(port, HOST, NONCE).first_bytes;
        let second = follow::request(port, HOST, NONCE);
        for bits in [0_u16, 7, 15, 31] {
            for request in [Some(&first), second.as_ref()].into_iter().flatten() {
                put(bits, request);
                if let Some(answer) = persona::answer(port, &persona_of(bits), request) {
                    put(bits, &answer);
                }
            }
        }
        for reply in [Reply::Ack(1), Reply::Done(1), Reply::Byte(3), Reply::Other] {
            let payload = reply.emit();
            put(0, &payload);
            let kind = visca::Kind::Reply;
            put(
                0,
                &Datagram {
                    kind,
                    sequence: NONCE,
                    payload: &payload,
                }
                .emit(),
            );
        }
    }
    let chunked = "HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nTransfer-Encoding: chunked\r\n\r\n\
                   1a\r\n<html><title>Organ loft</tit\r\n4\r\nle>\n\r\n0\r\n\r\n";
    out.push([&[4, 9, 0, 0][..], chunked.as_bytes()].concat());
    out
}

//! The second question to a control port that answered the first: is it on, what is it called?
//!
//! VISCA's power inquiry (a camera maker's published technical manual: reply 02 on, 03 standby,
//! 04 fault inside) on the same connection; ONVIF's `GetHostname`, which needs no login (ONVIF Core
//! Specification), on one of its own. No I/O, as in [`crate::control`].

use core::net::Ipv4Addr;

use vocab::{ControlPort, ControlWord, Name, NameSource, Told};

use crate::control::MAX_ANSWER;
use crate::http::{self, Sought};
use crate::onvif;
use crate::visca::{self, Datagram, Inquiry, Kind, Reply};

/// What came of the second question.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Answer {
    /// What the device tells.
    Told(Told),
    /// It would not say, or says something else.
    Nothing,
}

/// Whether it goes over the connection of the first.
pub const fn same_connection(port: ControlPort) -> bool {
    !matches!(port.word, ControlWord::Onvif)
}

/// The second question to `port` of `host`; `None` where there is none. `nonce` is that of the first.
pub fn request(port: ControlPort, host: Ipv4Addr, nonce: u32) -> Option<Vec<u8>> {
    match port.word {
        ControlWord::ViscaUdp => Some(
            Datagram {
                kind: Kind::Inquiry,
                sequence: nonce.wrapping_add(1),
                payload: Inquiry::Power.packet(),
            }
            .emit(),
        ),
        ControlWord::ViscaRawUdp | ControlWord::ViscaTcp => Some(Inquiry::Power.packet().to_vec()),
        ControlWord::Onvif => Some(onvif::hostname_request(host, port.port)),
        ControlWord::Rtsp | ControlWord::Http | ControlWord::Https | ControlWord::Tcp => None,
    }
}

/// Listens for the answer.
#[derive(Debug, Clone)]
pub struct Ear {
    port: ControlPort,
    nonce: u32,
    heard: Vec<u8>,
}

impl Ear {
    /// An ear for the answer to [`request`] with the same `port` and `nonce`.
    pub const fn new(port: ControlPort, nonce: u32) -> Self {
        Self {
            port,
            nonce,
            heard: Vec::new(),
        }
    }

    /// Bytes came: one whole datagram, or any piece of a stream. `None` while more may come.
    pub fn feed(&mut self, bytes: &[u8]) -> Option<Answer> {
        match self.port.word {
            ControlWord::ViscaUdp => match Datagram::parse(bytes) {
                // Another number is the answer to another question, perhaps to another asker's.
                Ok(Datagram {
                    kind: Kind::Reply,
                    sequence,
                    payload,
                }) if sequence == self.nonce.wrapping_add(1) => reply(payload),
                _ => None,
            },
            ControlWord::ViscaRawUdp => reply(Datagram::parse(bytes).map_or(bytes, |d| d.payload)),
            _ => {
                let room = MAX_ANSWER - self.heard.len();
                self.heard.extend(bytes.iter().take(room));
                self.stream()
                    .or_else(|| (bytes.len() > room).then_some(Answer::Nothing))
            }
        }
    }

    fn stream(&mut self) -> Option<Answer> {
        if self.port.word == ControlWord::Onvif {
            return match http::parse(&self.heard) {
                Ok(head) => match onvif::host_name(&head) {
                    Sought::Found(text) => Some(Answer::Told(Told::Name(Name {
                        text,
                        source: NameSource::Onvif,
                    }))),
                    Sought::Nowhere => Some(Answer::Nothing),
                    Sought::NotYet => None,
                },
                Err(e) => (e.reason != crate::Reason::Short).then_some(Answer::Nothing),
            };
        }
        loop {
            let (packet, rest) = match visca::split(&self.heard) {
                Ok(Some(cut)) => cut,
                Ok(None) => return None,
                Err(_) => return Some(Answer::Nothing),
            };
            let told = reply(packet);
            self.heard = rest.to_vec();
            if told.is_some() {
                return told;
            }
        }
    }
}

/// What one packet tells; nothing yet if it is a late answer to the first question.
fn reply(packet: &[u8]) -> Option<Answer> {
    match Reply::parse(packet) {
        Ok(Reply::Version(_)) => None,
        Ok(Reply::Byte(byte)) => {
            Some(visca::reply::power(byte).map_or(Answer::Nothing, |power| Answer::Told(Told::Power(power))))
        }
        Ok(_) | Err(_) => Some(Answer::Nothing),
    }
}

#[cfg(test)]
#[path = "follow_tests.rs"]
mod tests;

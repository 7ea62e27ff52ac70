//! Asking a control port: what to send first, and whether what comes back speaks the protocol.
//!
//! No I/O: the scanner opens the connection or socket, feeds what arrives to a [`Judge`], and
//! stops at the first verdict. What counts as an answer is the contract's list of control words.

use core::net::Ipv4Addr;

use vocab::{ControlPort, ControlWord, Text};

use crate::head::Head;
use crate::http::{self, Sought};
use crate::malformed::{Malformed, Reason};
use crate::visca::{self, Datagram, Inquiry, Kind, Reply};
use crate::{onvif, page, rtsp, tls};

/// Most bytes of one answer that are looked at.
pub const MAX_ANSWER: usize = 16 * 1024;

/// How to begin.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Request {
    /// Datagrams, else a TCP connection.
    pub transport_is_udp: bool,
    /// What to send first. Empty where an accepted connection is all that is wanted.
    pub first_bytes: Vec<u8>,
}

/// What to send to `port` of `host`. `nonce` tells this try from others: VISCA's sequence number.
pub fn request(port: ControlPort, host: Ipv4Addr, nonce: u32) -> Request {
    let inquiry = Inquiry::Version.packet();
    let first_bytes = match port.word {
        ControlWord::ViscaUdp => Datagram {
            kind: Kind::Inquiry,
            sequence: nonce,
            payload: inquiry,
        }
        .emit(),
        ControlWord::ViscaRawUdp | ControlWord::ViscaTcp => inquiry.to_vec(),
        ControlWord::Rtsp => rtsp::options_request(),
        ControlWord::Http => http::get_request(host, port.port),
        ControlWord::Https => tls::client_hello(spread(nonce), spread(!nonce)),
        ControlWord::Onvif => onvif::time_request(host, port.port),
        ControlWord::Tcp => Vec::new(),
    };
    Request {
        transport_is_udp: port.word.is_udp(),
        first_bytes,
    }
}

/// Thirty-two bytes that differ from try to try. They protect nothing, so that a mixing step of
/// splitmix64 (from memory) will do.
fn spread(nonce: u32) -> [u8; 32] {
    let mut out = [0; 32];
    let mut state = u64::from(nonce);
    for word in out.as_chunks_mut::<8>().0 {
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (state ^ (state >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        *word = (mixed ^ (mixed >> 27)).to_be_bytes();
    }
    out
}

/// What has come so far shows this.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    /// Nothing yet.
    More,
    /// The protocol is spoken; with what the device says of itself, if anything.
    Answered(Option<Text>),
    /// Something else is spoken there.
    Wrong,
}

/// Judges what one control port sends back to one try.
#[derive(Debug, Clone)]
pub struct Judge {
    port: ControlPort,
    nonce: u32,
    heard: Vec<u8>,
}

impl Judge {
    /// A judge of answers to [`request`] with the same `port` and `nonce`.
    pub const fn new(port: ControlPort, nonce: u32) -> Self {
        Self {
            port,
            nonce,
            heard: Vec::new(),
        }
    }

    /// The connection was accepted. For UDP, which accepts nothing, it says nothing.
    pub fn on_open(&self) -> Verdict {
        match self.port.word {
            ControlWord::Tcp => Verdict::Answered(None),
            _ => Verdict::More,
        }
    }

    /// Bytes came: one whole datagram, or any piece of a stream.
    pub fn feed(&mut self, bytes: &[u8]) -> Verdict {
        if self.port.word.is_udp() {
            return self.datagram(bytes);
        }
        let room = MAX_ANSWER - self.heard.len();
        self.heard.extend(bytes.iter().take(room));
        match self.stream(false) {
            Verdict::More if bytes.len() > room => Verdict::Wrong,
            verdict => verdict,
        }
    }

    /// Nothing more will come: the peer closed, or there was no time to wait for the rest. A
    /// status line without the end of its headers still counts; silence stays [`Verdict::More`].
    pub fn on_close(&self) -> Verdict {
        if self.port.word.is_udp() || self.heard.is_empty() {
            return Verdict::More;
        }
        match self.stream(true) {
            Verdict::More => Verdict::Wrong,
            verdict => verdict,
        }
    }

    fn datagram(&self, bytes: &[u8]) -> Verdict {
        if bytes.len() > MAX_ANSWER {
            return Verdict::Wrong;
        }
        match (Datagram::parse(bytes), self.port.word) {
            (
                Ok(Datagram {
                    kind: Kind::Reply,
                    sequence,
                    payload,
                }),
                _,
            ) => match Reply::parse(payload) {
                // Some devices answer one peer with another's number: a sign of life, but perhaps
                // not the answer to our question.
                Ok(reply) if sequence == self.nonce => Verdict::Answered(detail(reply)),
                Ok(_) => Verdict::Answered(None),
                Err(_) => Verdict::Wrong,
            },
            // Acknowledged 01, or an error 0F with a code: both come from a VISCA peer.
            (
                Ok(Datagram {
                    kind: Kind::ControlReply | Kind::Control,
                    payload: [0x01] | [0x0f, _],
                    ..
                }),
                _,
            ) => Verdict::Answered(None),
            (_, ControlWord::ViscaRawUdp) => match Reply::parse(bytes) {
                Ok(reply) => Verdict::Answered(detail(reply)),
                Err(_) => Verdict::Wrong,
            },
            _ => Verdict::Wrong,
        }
    }

    /// `last`: the bytes heard so far are all that will ever come.
    fn stream(&self, last: bool) -> Verdict {
        let heard = self.heard.as_slice();
        if heard.is_empty() {
            return Verdict::More;
        }
        match self.port.word {
            ControlWord::ViscaTcp => match visca::split(heard) {
                Ok(None) => Verdict::More,
                Ok(Some((packet, _))) => match Reply::parse(packet) {
                    Ok(reply) => Verdict::Answered(detail(reply)),
                    Err(_) => Verdict::Wrong,
                },
                Err(_) => Verdict::Wrong,
            },
            ControlWord::Rtsp => by_head(rtsp::parse(heard).map(|h| said(&h)), rtsp::status(heard), last),
            ControlWord::Http => match http::parse(heard) {
                Ok(head) if page::is_page(&head) => match page::title(&head) {
                    Sought::Found(title) => {
                        Verdict::Answered(page::words(head.server().as_ref(), Some(&title)))
                    }
                    // So long a page, or so slow a one, has said enough.
                    Sought::NotYet if !last && heard.len() < MAX_ANSWER => Verdict::More,
                    Sought::NotYet | Sought::Nowhere => Verdict::Answered(said(&head)),
                },
                whole => by_head(whole.map(|h| said(&h)), http::status(heard), last),
            },
            ControlWord::Https => match tls::Record::parse(heard) {
                Ok(_) => Verdict::Answered(None),
                Err(e) => unfinished(e),
            },
            ControlWord::Onvif => match http::parse(heard) {
                Ok(head) => match onvif::is_soap(&head) {
                    Some(true) => Verdict::Answered(said(&head)),
                    // A note such as "100 Continue" comes before the answer itself.
                    Some(false) | None if head.status < 200 => Verdict::More,
                    Some(false) => Verdict::Wrong,
                    None => Verdict::More,
                },
                Err(e) => unfinished(e),
            },
            ControlWord::Tcp => Verdict::Answered(None),
            // Datagrams are judged one by one.
            ControlWord::ViscaUdp | ControlWord::ViscaRawUdp => Verdict::More,
        }
    }
}

/// What a server says of itself in its head.
fn said(head: &Head<'_>) -> Option<Text> {
    page::words(head.server().as_ref(), None)
}

fn detail(reply: Reply) -> Option<Text> {
    match reply {
        Reply::Version(version) => Some(version.describe()),
        _ => None,
    }
}

/// A whole head answers; so does a status line when no more will come, or the head grows too long.
fn by_head(whole: Result<Option<Text>, Malformed>, status: Result<u16, Malformed>, last: bool) -> Verdict {
    match (whole, status) {
        (Ok(server), _) => Verdict::Answered(server),
        (
            Err(Malformed {
                reason: Reason::Long, ..
            }),
            Ok(_),
        ) => Verdict::Answered(None),
        (Err(_), Ok(_)) if last => Verdict::Answered(None),
        (Err(e), _) => unfinished(e),
    }
}

fn unfinished(why: Malformed) -> Verdict {
    match why.reason {
        Reason::Short => Verdict::More,
        _ => Verdict::Wrong,
    }
}

#[cfg(test)]
#[path = "control_tests.rs"]
mod tests;

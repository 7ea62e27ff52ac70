//! One side of a talk with a device: packets put into the port's own form, replies taken out of it.
//!
//! No I/O, and no waiting: whoever sends keeps the time.

use vocab::ControlWord;

use super::ask::{Command, Inquiry};
use super::header::{Control, Datagram, Kind};
use super::reply::Reply;
use super::{MAX_PACKET, split};

/// How packets lie in what is sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Framing {
    /// A datagram each, with the header of VISCA over IP.
    Headed,
    /// A datagram each, as it is.
    Bare,
    /// One behind the other in a stream.
    Stream,
}

impl Framing {
    /// That of a control word; `None` where VISCA is not spoken.
    pub const fn of(word: ControlWord) -> Option<Self> {
        match word {
            ControlWord::ViscaUdp => Some(Self::Headed),
            ControlWord::ViscaRawUdp => Some(Self::Bare),
            ControlWord::ViscaTcp => Some(Self::Stream),
            ControlWord::Rtsp
            | ControlWord::Http
            | ControlWord::Https
            | ControlWord::Onvif
            | ControlWord::Tcp => None,
        }
    }
}

/// What is to be sent, and the number by which its answer is known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sending {
    /// Its number: stands in the header, if there is one.
    pub number: u32,
    /// One datagram, or so much of a stream.
    pub bytes: Vec<u8>,
}

/// What came from a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Heard {
    /// The number of what it answers; `None` where nothing has numbers.
    pub number: Option<u32>,
    /// What it says.
    pub said: Said,
}

/// What a device says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Said {
    /// To an inquiry or a command.
    Reply(Reply),
    /// About the exchange itself.
    Control(Control),
    /// Something that is no VISCA. A stream is of no further use after it.
    Rubbish,
}

/// Most packets that are taken out of one piece; what lies behind them is dropped.
const MOST: usize = 64;

/// Puts packets into a port's form, counts them, and takes replies out of it.
#[derive(Debug, Clone)]
pub struct Exchange {
    framing: Framing,
    next: u32,
    rest: Vec<u8>,
}

impl Exchange {
    /// A talk whose first sending has the number `first`.
    pub const fn new(framing: Framing, first: u32) -> Self {
        Self {
            framing,
            next: first,
            rest: Vec::new(),
        }
    }

    /// How its packets are packed.
    pub const fn framing(&self) -> Framing {
        self.framing
    }

    /// A question.
    pub fn inquire(&mut self, inquiry: Inquiry) -> Sending {
        self.put(Kind::Inquiry, inquiry.packet())
    }

    /// A command. Only after the user said yes to it.
    pub fn command(&mut self, command: Command) -> Sending {
        self.put(Kind::Command, &command.packet())
    }

    /// Begins the device's numbering anew: `None` where there is none. It disturbs whoever else
    /// counts with it, so it goes out only together with a command that the user said yes to, after
    /// a [`Control::SequenceError`]. The next sending has the number 1 (common practice, no source).
    pub fn reset(&mut self) -> Option<Sending> {
        if self.framing != Framing::Headed {
            return None;
        }
        self.next = 0;
        Some(self.put(Kind::Control, Control::Reset.packet()))
    }

    fn put(&mut self, kind: Kind, packet: &[u8]) -> Sending {
        let number = self.next;
        self.next = number.wrapping_add(1);
        let bytes = match self.framing {
            Framing::Headed => Datagram {
                kind,
                sequence: number,
                payload: packet,
            }
            .emit(),
            Framing::Bare | Framing::Stream => packet.to_vec(),
        };
        Sending { number, bytes }
    }

    /// One whole datagram, or any piece of a stream, came in. Nothing of what it says is believed to
    /// be an answer to a certain question but by its number, where there is one.
    pub fn hear(&mut self, bytes: &[u8]) -> Vec<Heard> {
        match self.framing {
            Framing::Headed => vec![headed(bytes).unwrap_or(Heard {
                number: None,
                said: Said::Rubbish,
            })],
            // Some put the header here too.
            Framing::Bare => vec![headed(bytes).unwrap_or_else(|| bare(bytes))],
            Framing::Stream => self.stream(bytes),
        }
    }

    /// The connection is a new one: half a packet from the old is forgotten.
    pub fn renew(&mut self) {
        self.rest.clear();
    }

    fn stream(&mut self, bytes: &[u8]) -> Vec<Heard> {
        self.rest.extend(bytes.iter().take(MOST * MAX_PACKET));
        let mut out = Vec::new();
        let mut at = 0;
        while let Some(ahead) = self.rest.get(at..).filter(|_| out.len() < MOST) {
            match split(ahead) {
                Ok(Some((packet, _))) => {
                    out.push(bare(packet));
                    at += packet.len();
                }
                Ok(None) => break,
                Err(_) => {
                    out.push(Heard {
                        number: None,
                        said: Said::Rubbish,
                    });
                    at = self.rest.len();
                }
            }
        }
        self.rest.drain(..at);
        if self.rest.len() >= MAX_PACKET {
            self.rest.clear();
        }
        out
    }
}

fn bare(packet: &[u8]) -> Heard {
    Heard {
        number: None,
        said: Reply::parse(packet).map_or(Said::Rubbish, Said::Reply),
    }
}

/// A datagram with a header; `None` if it has none, or one that no answer has.
fn headed(bytes: &[u8]) -> Option<Heard> {
    let datagram = Datagram::parse(bytes).ok()?;
    let said = match datagram.kind {
        Kind::Reply => Reply::parse(datagram.payload).map_or(Said::Rubbish, Said::Reply),
        // Errors of the exchange come as a control message with some, as a control reply with others.
        Kind::Control | Kind::ControlReply => {
            Control::parse(datagram.payload).map_or(Said::Rubbish, Said::Control)
        }
        Kind::Command | Kind::Inquiry | Kind::DeviceSetting => Said::Rubbish,
    };
    Some(Heard {
        number: Some(datagram.sequence),
        said,
    })
}

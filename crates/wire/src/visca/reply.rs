//! What a device says back: acknowledgement, completion, what it was asked for, or that it would not.
//!
//! To read beside it: SRG-300H Technical Manual, pp. 27–34; the length error stands in other makers'
//! command lists only.

use core::fmt;

use vocab::{Power, Text};

use super::position::Position;
use super::{END, MAX_PACKET};
use crate::malformed::{Layer, Malformed, Reason};

/// What a device says of itself in reply to a version inquiry. Vendor codes are not unique: one
/// maker's own manuals differ.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Version {
    /// Whose device.
    pub vendor: u16,
    /// Which model.
    pub model: u16,
    /// Which ROM revision.
    pub rom: u16,
}

impl Version {
    /// In our words, with the codes in hexadecimal as the manuals print them.
    pub fn describe(self) -> Text {
        Text::clean(&format!(
            "vendor {:04x} model {:04x}, rom {:04x}",
            self.vendor, self.model, self.rom
        ))
    }
}

/// Why a device would not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Refusal {
    /// 01: the packet has a wrong length.
    Length,
    /// 02: it does not know this.
    Syntax,
    /// 03: its buffer is full: it has too much to do.
    BufferFull,
    /// 04: somebody called it off.
    Cancelled,
    /// 05: there is no such command under way.
    NoSocket,
    /// 41: it cannot do this now, for instance while it is in standby.
    NotExecutable,
    /// Another code.
    Other(u8),
}

impl Refusal {
    /// The refusal with that code.
    pub const fn of(code: u8) -> Self {
        match code {
            0x01 => Self::Length,
            0x02 => Self::Syntax,
            0x03 => Self::BufferFull,
            0x04 => Self::Cancelled,
            0x05 => Self::NoSocket,
            0x41 => Self::NotExecutable,
            other => Self::Other(other),
        }
    }

    /// Its code.
    pub const fn code(self) -> u8 {
        match self {
            Self::Length => 0x01,
            Self::Syntax => 0x02,
            Self::BufferFull => 0x03,
            Self::Cancelled => 0x04,
            Self::NoSocket => 0x05,
            Self::NotExecutable => 0x41,
            Self::Other(code) => code,
        }
    }
}

impl fmt::Display for Refusal {
    /// What the device says by it, as the end of a sentence: "it says that ...".
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Length | Self::Syntax => f.write_str("it does not know this question or command"),
            Self::BufferFull => f.write_str("it has too much to do"),
            Self::Cancelled => f.write_str("somebody called it off"),
            Self::NoSocket => f.write_str("no such command is under way"),
            Self::NotExecutable => f.write_str("it cannot do this now"),
            Self::Other(code) => write!(f, "error {code:02x}"),
        }
    }
}

/// A packet from a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Reply {
    /// A command was accepted, and goes on in this socket (0–15).
    Ack(u8),
    /// The command in this socket is done (0 where the device names none).
    Done(u8),
    /// To the version inquiry.
    Version(Version),
    /// To the pan-tilt position inquiry.
    Position(Position),
    /// Told one byte: what it means depends on the question. See [`power`] and [`lamp`].
    Byte(u8),
    /// Told something else.
    Other,
    /// It would not.
    Refused(Refusal),
}

/// The byte in the answer to the power inquiry.
pub const fn power(byte: u8) -> Option<Power> {
    match byte {
        0x02 => Some(Power::On),
        0x03 => Some(Power::Standby),
        0x04 => Some(Power::Fault),
        _ => None,
    }
}

/// That byte.
pub const fn power_byte(power: Power) -> u8 {
    match power {
        Power::On => 0x02,
        Power::Standby => 0x03,
        Power::Fault => 0x04,
    }
}

/// The byte in the answer to the tally inquiry: whether the lamp is lit. With some makers 02 and 03
/// are two colours; nothing in the answer tells.
pub const fn lamp(byte: u8) -> Option<bool> {
    match byte {
        0x02 => Some(true),
        0x03 => Some(false),
        _ => None,
    }
}

/// That byte.
pub const fn lamp_byte(lit: bool) -> u8 {
    if lit { 0x02 } else { 0x03 }
}

impl Reply {
    /// Reads one packet that ends in `FF`.
    ///
    /// # Errors
    /// [`Reason::Short`], [`Reason::Long`], [`Reason::Value`] for what no device sends.
    pub fn parse(packet: &[u8]) -> Result<Self, Malformed> {
        let bad = |reason, at| Malformed::new(Layer::Visca, reason, at);
        if packet.len() > MAX_PACKET {
            return Err(bad(Reason::Long, MAX_PACKET));
        }
        let [from, body @ .., END] = packet else {
            return Err(bad(Reason::Short, packet.len()));
        };
        // A reply comes from address 1–7, which stands in the upper half as 9–F.
        if *from < 0x90 || from & 0x0f != 0 {
            return Err(bad(Reason::Value, 0));
        }
        if let Some(at) = body.iter().position(|b| *b == END) {
            return Err(bad(Reason::Value, 1 + at));
        }
        let pair = |hi: u8, lo: u8| u16::from_be_bytes([hi, lo]);
        Ok(match *body {
            [ack @ 0x40..=0x4f] => Self::Ack(ack & 0x0f),
            [done @ 0x50..=0x5f] => Self::Done(done & 0x0f),
            [0x50, v0, v1, m0, m1, r0, r1, _sockets] => Self::Version(Version {
                vendor: pair(v0, v1),
                model: pair(m0, m1),
                rom: pair(r0, r1),
            }),
            [0x50, byte] => Self::Byte(byte),
            [0x50, ref rest @ ..] => Position::read(rest).map_or(Self::Other, Self::Position),
            [0x51..=0x5f, ..] => Self::Other,
            [0x60..=0x6f, code] => Self::Refused(Refusal::of(code)),
            _ => return Err(bad(Reason::Value, 1)),
        })
    }

    /// The packet, as a device with the fixed address 1 sends it.
    pub fn emit(&self) -> Vec<u8> {
        let mut out = vec![0x90];
        match self {
            Self::Ack(socket) => out.push(0x40 | (socket & 0x0f)),
            Self::Done(socket) => out.push(0x50 | (socket & 0x0f)),
            Self::Version(v) => {
                out.push(0x50);
                for field in [v.vendor, v.model, v.rom] {
                    out.extend(field.to_be_bytes());
                }
                // Two command sockets.
                out.push(0x02);
            }
            Self::Position(position) => {
                out.push(0x50);
                out.extend(position.nibbles());
            }
            Self::Byte(byte) => out.extend([0x50, *byte]),
            Self::Other => out.extend([0x50, 0x00, 0x00]),
            Self::Refused(why) => out.extend([0x60, why.code()]),
        }
        out.push(END);
        out
    }
}

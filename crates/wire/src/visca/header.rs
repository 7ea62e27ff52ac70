//! The header of VISCA over IP: what the payload is, how long, and the asker's number.
//!
//! To read beside it: SRG-300H Technical Manual, pp. 27–34 (types, lengths, the numbering and the
//! control messages).

use super::MAX_PACKET;
use crate::malformed::{Layer, Malformed, Reason};

/// Bytes in the header: type, length, sequence number.
pub const HEADER: usize = 8;

/// What the payload behind a header is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// Do this.
    Command,
    /// Tell me this.
    Inquiry,
    /// The answer to either.
    Reply,
    /// Set up the peripheral itself.
    DeviceSetting,
    /// About the exchange: reset, error.
    Control,
    /// The answer to that.
    ControlReply,
}

impl Kind {
    const ALL: [Self; 6] = [
        Self::Command,
        Self::Inquiry,
        Self::Reply,
        Self::DeviceSetting,
        Self::Control,
        Self::ControlReply,
    ];

    const fn code(self) -> [u8; 2] {
        match self {
            Self::Command => [0x01, 0x00],
            Self::Inquiry => [0x01, 0x10],
            Self::Reply => [0x01, 0x11],
            Self::DeviceSetting => [0x01, 0x20],
            Self::Control => [0x02, 0x00],
            Self::ControlReply => [0x02, 0x01],
        }
    }
}

/// A datagram of VISCA over IP.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Datagram<'a> {
    /// What the payload is.
    pub kind: Kind,
    /// The asker's number, given back in the reply.
    pub sequence: u32,
    /// 1 to 16 bytes.
    pub payload: &'a [u8],
}

impl<'a> Datagram<'a> {
    /// Reads a datagram.
    ///
    /// # Errors
    /// [`Reason::Short`], [`Reason::Value`] for an unknown type, [`Reason::Length`] for a length
    /// that is not 1–16 or not that of the payload.
    pub fn parse(bytes: &'a [u8]) -> Result<Self, Malformed> {
        let bad = |reason, at| Malformed::new(Layer::Visca, reason, at);
        let Some((&[t0, t1, l0, l1, s0, s1, s2, s3], payload)) = bytes.split_first_chunk::<HEADER>() else {
            return Err(bad(Reason::Short, bytes.len()));
        };
        let kind = Kind::ALL
            .into_iter()
            .find(|k| k.code() == [t0, t1])
            .ok_or(bad(Reason::Value, 0))?;
        let len = usize::from(u16::from_be_bytes([l0, l1]));
        if len != payload.len() || !(1..=MAX_PACKET).contains(&len) {
            return Err(bad(Reason::Length, 2));
        }
        Ok(Self {
            kind,
            sequence: u32::from_be_bytes([s0, s1, s2, s3]),
            payload,
        })
    }

    /// The datagram. Payload beyond 16 bytes is left out.
    pub fn emit(&self) -> Vec<u8> {
        let payload = self.payload.get(..MAX_PACKET).unwrap_or(self.payload);
        let mut out = self.kind.code().to_vec();
        out.extend((payload.len() as u16).to_be_bytes());
        out.extend(self.sequence.to_be_bytes());
        out.extend(payload);
        out
    }
}

/// What is said about the exchange itself, in a control message or its reply.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Control {
    /// In a control message: begin numbering anew. In a control reply: done.
    Reset,
    /// The number was not the next one.
    SequenceError,
    /// The message's type has no place here.
    TypeError,
}

impl Control {
    /// The payload.
    pub const fn packet(self) -> &'static [u8] {
        match self {
            Self::Reset => &[0x01],
            Self::SequenceError => &[0x0f, 0x01],
            Self::TypeError => &[0x0f, 0x02],
        }
    }

    /// Reads the payload of a [`Kind::Control`] or [`Kind::ControlReply`].
    ///
    /// # Errors
    /// [`Reason::Value`] for anything else.
    pub fn parse(payload: &[u8]) -> Result<Self, Malformed> {
        [Self::Reset, Self::SequenceError, Self::TypeError]
            .into_iter()
            .find(|control| control.packet() == payload)
            .ok_or(Malformed::new(Layer::Visca, Reason::Value, 0))
    }
}

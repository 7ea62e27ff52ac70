//! VISCA over IP, and bare VISCA in datagrams and streams.
//!
//! To read beside it: a camera maker's published technical manual with the VISCA over IP command
//! list (SRG-300H Technical Manual, pp. 27–34); other makers' command lists for the raw ports.
//! Only inquiries are built here: a reset would disturb the numbering of a live controller.

use vocab::{Power, Text};

use crate::malformed::{Layer, Malformed, Reason};

/// Bytes in the header of VISCA over IP: type, length, sequence number.
pub const HEADER: usize = 8;
/// The longest packet, with its closing `FF`.
pub const MAX_PACKET: usize = 16;
/// What ends every packet.
const END: u8 = 0xff;
/// Which model and version are you?
pub const VERSION_INQUIRY: [u8; 5] = [0x81, 0x09, 0x00, 0x02, END];
/// Are you on?
pub const POWER_INQUIRY: [u8; 5] = [0x81, 0x09, 0x04, 0x00, END];

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

/// What a device says of itself in reply to [`VERSION_INQUIRY`]. Vendor codes are not unique:
/// one maker's own manuals differ.
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

/// The byte that says so in a reply.
const fn power_code(power: Power) -> u8 {
    match power {
        Power::On => 0x02,
        Power::Standby => 0x03,
        Power::Fault => 0x04,
    }
}

/// A packet from a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Reply {
    /// A command was accepted.
    Ack,
    /// To [`VERSION_INQUIRY`].
    Version(Version),
    /// A completion with one byte that can be a power state: what it means depends on the question.
    Power(Power),
    /// Another completion.
    Done,
    /// It would not: 02 syntax, 03 buffer full, 41 not executable, and more in the manual.
    Error(u8),
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
            [0x40..=0x4f] => Self::Ack,
            [0x50, v0, v1, m0, m1, r0, r1, _sockets] => Self::Version(Version {
                vendor: pair(v0, v1),
                model: pair(m0, m1),
                rom: pair(r0, r1),
            }),
            [0x50, 0x02] => Self::Power(Power::On),
            [0x50, 0x03] => Self::Power(Power::Standby),
            [0x50, 0x04] => Self::Power(Power::Fault),
            [0x50..=0x5f, ..] => Self::Done,
            [0x60..=0x6f, code] => Self::Error(code),
            _ => return Err(bad(Reason::Value, 1)),
        })
    }

    /// The packet, as a device with the fixed address 1 sends it.
    pub fn emit(&self) -> Vec<u8> {
        let mut out = vec![0x90];
        match self {
            Self::Ack => out.push(0x41),
            Self::Version(v) => {
                out.push(0x50);
                for field in [v.vendor, v.model, v.rom] {
                    out.extend(field.to_be_bytes());
                }
                // Two command sockets.
                out.push(0x02);
            }
            Self::Power(power) => out.extend([0x50, power_code(*power)]),
            Self::Done => out.push(0x51),
            Self::Error(code) => out.extend([0x60, *code]),
        }
        out.push(END);
        out
    }
}

/// A packet with its `FF`, and what follows it.
pub type Cut<'a> = (&'a [u8], &'a [u8]);

/// Takes the first packet off a stream: it and the rest, or `None` if its end has not come yet.
///
/// # Errors
/// [`Reason::Long`] if 16 bytes hold no end.
pub fn split(stream: &[u8]) -> Result<Option<Cut<'_>>, Malformed> {
    match stream.iter().take(MAX_PACKET).position(|b| *b == END) {
        Some(end) => Ok(stream.split_at_checked(end + 1)),
        None if stream.len() >= MAX_PACKET => Err(Malformed::new(Layer::Visca, Reason::Long, MAX_PACKET)),
        None => Ok(None),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Bytes as the manual named above prints them, with sample codes of our own.
    const VERSION_REPLY: [u8; 10] = [0x90, 0x50, 0x00, 0x01, 0x05, 0x11, 0x01, 0x00, 0x02, 0xff];
    const VERSION: Version = Version {
        vendor: 1,
        model: 0x0511,
        rom: 0x0100,
    };

    #[test]
    fn a_version_inquiry_and_its_reply() {
        let ask = Datagram {
            kind: Kind::Inquiry,
            sequence: 7,
            payload: &VERSION_INQUIRY,
        };
        let bytes = [0x01, 0x10, 0, 5, 0, 0, 0, 7, 0x81, 0x09, 0x00, 0x02, 0xff];
        assert_eq!(ask.emit(), bytes);
        assert_eq!(Datagram::parse(&bytes), Ok(ask));
        assert_eq!(Reply::parse(&VERSION_REPLY), Ok(Reply::Version(VERSION)));
        assert_eq!(Reply::Version(VERSION).emit(), VERSION_REPLY);
        assert_eq!(VERSION.describe().as_str(), "vendor 0001 model 0511, rom 0100");
    }

    #[test]
    fn power_acknowledgement_and_errors() {
        assert_eq!(
            Reply::parse(&[0x90, 0x50, 3, 0xff]),
            Ok(Reply::Power(Power::Standby))
        );
        assert_eq!(Reply::parse(&[0x90, 0x60, 2, 0xff]), Ok(Reply::Error(2)));
        assert_eq!(Reply::parse(&[0x90, 0x61, 0x41, 0xff]), Ok(Reply::Error(0x41)));
        assert_eq!(Reply::parse(&[0x90, 0x41, 0xff]), Ok(Reply::Ack));
        for reply in [
            Reply::Ack,
            Reply::Power(Power::Fault),
            Reply::Done,
            Reply::Error(2),
        ] {
            assert_eq!(Reply::parse(&reply.emit()), Ok(reply));
        }
    }

    #[test]
    fn an_echo_of_the_question_is_no_reply() {
        for packet in [
            &VERSION_INQUIRY[..],
            &[0x90, 0xff],
            &[0x80, 0x41, 0xff],
            &[0x91, 0x50, 0xff],
            &[0x90, 0x50],
            b"HTTP/1.1",
            b"",
        ] {
            assert!(Reply::parse(packet).is_err(), "{packet:02x?}");
        }
    }

    #[test]
    fn headers_that_lie_are_refused() {
        let why = |bytes: &[u8]| Datagram::parse(bytes).err().map(|e| e.reason);
        assert_eq!(why(&[1, 0x11, 0, 3, 0, 0, 0]), Some(Reason::Short));
        assert_eq!(why(&[1, 0x11, 0, 0, 0, 0, 0, 0]), Some(Reason::Length));
        assert_eq!(why(&[1, 0x11, 0, 2, 0, 0, 0, 0, 0xff]), Some(Reason::Length));
        assert_eq!(why(&[1, 0x12, 0, 1, 0, 0, 0, 0, 0xff]), Some(Reason::Value));
        let mut long = vec![1, 0x11, 0, 17, 0, 0, 0, 0];
        long.extend([0; 17]);
        assert_eq!(why(&long), Some(Reason::Length));
    }

    #[test]
    fn a_stream_is_cut_at_its_ends() {
        let stream = [&[0x90, 0x41, 0xff][..], &VERSION_REPLY, &[0x90]].concat();
        let (first, rest) = split(&stream).unwrap().unwrap();
        assert_eq!(first, [0x90, 0x41, 0xff]);
        let (second, rest) = split(rest).unwrap().unwrap();
        assert_eq!(second, VERSION_REPLY);
        assert_eq!(split(rest), Ok(None));
        assert!(split(&[0; 15]).unwrap().is_none());
        assert!(split(&[0; 16]).is_err());
    }
}

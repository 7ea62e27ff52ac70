//! ICMP: RFC 792 (messages), RFC 1122 section 3.2.2 (what hosts must do with them).

use core::net::Ipv4Addr;

use pnet_packet::icmp::echo_request::{EchoRequestPacket, MutableEchoRequestPacket};
use pnet_packet::icmp::{IcmpCode, IcmpPacket, IcmpTypes};
use vocab::FrameSize;

use crate::checksum::checksum;
use crate::malformed::{Layer, Malformed, Reason};
use crate::{Ipv4, Path, ipv4};

/// Bytes before the data of an echo message, and before the quoted packet of an error.
const HEADER: usize = 8;

/// The fields of an echo request or reply.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Echo<'a> {
    /// Whose question it is, by the asker's own numbering.
    pub identifier: u16,
    /// Which of its questions.
    pub sequence: u16,
    /// What comes back as it was sent.
    pub data: &'a [u8],
}

/// The packet that an error message speaks of, as far as it is quoted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Original {
    /// Whose packet it was.
    pub source: Ipv4Addr,
    /// Where it was to go.
    pub destination: Ipv4Addr,
    /// Its IP protocol number.
    pub protocol: u8,
    /// Source and destination port, where it was UDP or TCP, not a fragment, and both are quoted.
    pub ports: Option<(u16, u16)>,
}

/// An ICMP message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Icmp<'a> {
    /// Are you there? (type 8)
    EchoRequest(Echo<'a>),
    /// Yes. (type 0)
    EchoReply(Echo<'a>),
    /// It could not be delivered. (type 3)
    Unreachable {
        /// Why: 1 host, 2 protocol, 3 port, and more in RFC 792 and RFC 1122.
        code: u8,
        /// What could not, where the quotation can be read.
        original: Option<Original>,
    },
    /// Something else.
    Other {
        /// Its type.
        kind: u8,
        /// Its code.
        code: u8,
    },
}

/// [`Echo::OWN_DATA`] over and over.
static LONG: [u8; FrameSize::Full.echo_data() as usize] = {
    let mut out = [0; FrameSize::Full.echo_data() as usize];
    let mut at = 0;
    while at < out.len() {
        out[at] = Echo::OWN_DATA[at % Echo::OWN_DATA.len()];
        at += 1;
    }
    out
};

impl Echo<'_> {
    /// What our own requests carry. Nothing rests on it.
    pub const OWN_DATA: &'static [u8; 16] = b"rigmuster echo..";

    /// What the requests of a cable check carry: the same again and again, as long as it takes.
    pub fn trial_data(size: FrameSize) -> &'static [u8] {
        LONG.get(..usize::from(size.echo_data())).unwrap_or(&LONG)
    }
}

impl<'a> Icmp<'a> {
    /// Code of "port unreachable" (RFC 792).
    pub const PORT_UNREACHABLE: u8 = 3;

    /// Reads a message that fills `bytes`, with its checksum.
    ///
    /// # Errors
    /// [`Reason::Short`], [`Reason::Checksum`].
    pub fn parse(bytes: &'a [u8]) -> Result<Self, Malformed> {
        let bad = |reason, at| Malformed::new(Layer::Icmp, reason, at);
        let short = bad(Reason::Short, bytes.len());
        let view = IcmpPacket::new(bytes).ok_or(short)?;
        if checksum(bytes) != 0 {
            return Err(bad(Reason::Checksum, 2));
        }
        let rest = bytes.get(HEADER..);
        let echo = || {
            // A reply has the same fields in the same places.
            let view = EchoRequestPacket::new(bytes).ok_or(short)?;
            Ok(Echo {
                identifier: view.get_identifier(),
                sequence: view.get_sequence_number(),
                data: rest.unwrap_or_default(),
            })
        };
        let code = view.get_icmp_code().0;
        Ok(match (view.get_icmp_type(), code) {
            (IcmpTypes::EchoRequest, 0) => Self::EchoRequest(echo()?),
            (IcmpTypes::EchoReply, 0) => Self::EchoReply(echo()?),
            (IcmpTypes::DestinationUnreachable, _) => Self::Unreachable {
                code,
                original: quoted(rest.ok_or(short)?),
            },
            (kind, _) => Self::Other { kind: kind.0, code },
        })
    }
}

fn quoted(bytes: &[u8]) -> Option<Original> {
    let packet = Ipv4::parse_quoted(bytes).ok()?;
    let with_ports = matches!(packet.protocol, ipv4::UDP | ipv4::TCP) && !packet.fragment;
    let ports = match packet.payload {
        [a, b, c, d, ..] if with_ports => Some((u16::from_be_bytes([*a, *b]), u16::from_be_bytes([*c, *d]))),
        _ => None,
    };
    Some(Original {
        source: packet.source,
        destination: packet.destination,
        protocol: packet.protocol,
        ports,
    })
}

impl Echo<'_> {
    /// The request, with its checksum.
    pub fn emit_request(&self) -> Vec<u8> {
        self.emit(IcmpTypes::EchoRequest.0)
    }

    /// The reply, with its checksum.
    pub fn emit_reply(&self) -> Vec<u8> {
        self.emit(IcmpTypes::EchoReply.0)
    }

    fn emit(&self, kind: u8) -> Vec<u8> {
        let mut out = vec![0; HEADER];
        out.extend(self.data);
        if let Some(mut view) = MutableEchoRequestPacket::new(&mut out) {
            view.set_icmp_type(pnet_packet::icmp::IcmpType(kind));
            view.set_icmp_code(IcmpCode(0));
            view.set_identifier(self.identifier);
            view.set_sequence_number(self.sequence);
        }
        let sum = checksum(&out);
        if let Some(mut view) = MutableEchoRequestPacket::new(&mut out) {
            view.set_checksum(sum);
        }
        out
    }
}

/// A whole frame with an echo request.
pub fn echo_request_frame(path: Path, echo: &Echo<'_>) -> Vec<u8> {
    path.frame(ipv4::ICMP, &echo.emit_request())
}

/// A whole frame with an echo reply.
pub fn echo_reply_frame(path: Path, echo: &Echo<'_>) -> Vec<u8> {
    path.frame(ipv4::ICMP, &echo.emit_reply())
}

/// The message that `packet` (from its IPv4 header on) found no open port: quotes its header and
/// the 8 bytes after it, as RFC 792 asks.
pub fn port_unreachable(packet: &[u8]) -> Vec<u8> {
    let header = usize::from(packet.first().copied().unwrap_or_default() & 0x0f) * 4;
    let mut out = vec![
        IcmpTypes::DestinationUnreachable.0,
        Icmp::PORT_UNREACHABLE,
        0,
        0,
        0,
        0,
        0,
        0,
    ];
    out.extend(packet.iter().take(header.max(ipv4::HEADER) + 8));
    let [hi, lo] = checksum(&out).to_be_bytes();
    out.splice(2..4, [hi, lo]);
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Udp;

    const A: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 5);
    const B: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);

    #[test]
    fn the_echo_example_by_hand() {
        // 0800 0000 1234 0001: RFC 792's layout, sum 1a35, complement e5ca.
        let echo = Echo {
            identifier: 0x1234,
            sequence: 1,
            data: b"",
        };
        let bytes = echo.emit_request();
        assert_eq!(bytes, [8, 0, 0xe5, 0xca, 0x12, 0x34, 0, 1]);
        assert_eq!(Icmp::parse(&bytes), Ok(Icmp::EchoRequest(echo)));
        for cut in 0..bytes.len() {
            assert!(Icmp::parse(&bytes[..cut]).is_err(), "{cut}");
        }
    }

    #[test]
    fn data_comes_back_and_damage_is_seen() {
        let echo = Echo {
            identifier: 9,
            sequence: 0xffff,
            data: b"odd",
        };
        let mut bytes = echo.emit_reply();
        assert_eq!(Icmp::parse(&bytes), Ok(Icmp::EchoReply(echo)));
        bytes[9] ^= 0x40;
        assert_eq!(Icmp::parse(&bytes).map_err(|e| e.reason), Err(Reason::Checksum));
    }

    #[test]
    fn the_frames_of_a_cable_check_are_as_long_as_they_say_and_must_stay_whole() {
        let path = Path {
            from_mac: vocab::Mac::new([2, 0, 0, 0, 0, 1]),
            from: A,
            to_mac: vocab::Mac::new([2, 0, 0, 0, 0, 2]),
            to: B,
        };
        for size in FrameSize::ALL {
            let echo = Echo {
                identifier: 1,
                sequence: 2,
                data: Echo::trial_data(size),
            };
            let frame = echo_request_frame(path, &echo);
            // The check sequence is the port's matter.
            assert_eq!(frame.len() + 4, usize::from(size.bytes()));
            // RFC 791 section 3.1: bit 1 of the flags, the third of the header's fifth to eighth bytes.
            assert_eq!(frame[14 + 6], 0x40, "don't fragment");
        }
    }

    #[test]
    fn an_error_names_the_packet_it_speaks_of() {
        let udp = Udp {
            source_port: 50_000,
            destination_port: 52_381,
            payload: b"0123456789",
        }
        .emit(A, B);
        let packet = Ipv4::new(A, B, ipv4::UDP, &udp).emit();
        let bytes = port_unreachable(&packet);
        assert_eq!(bytes.len(), 8 + 28);
        let original = Original {
            source: A,
            destination: B,
            protocol: 17,
            ports: Some((50_000, 52_381)),
        };
        assert_eq!(
            Icmp::parse(&bytes),
            Ok(Icmp::Unreachable {
                code: 3,
                original: Some(original)
            })
        );
        // What stands first in a piece of a datagram is not a port.
        let mut piece = packet.clone();
        piece[6..8].copy_from_slice(&[0, 9]);
        let bytes = port_unreachable(&piece);
        let original = Original {
            ports: None,
            ..original
        };
        assert_eq!(
            Icmp::parse(&bytes),
            Ok(Icmp::Unreachable {
                code: 3,
                original: Some(original)
            })
        );
        let nonsense = port_unreachable(&[0xff; 40]);
        assert_eq!(
            Icmp::parse(&nonsense),
            Ok(Icmp::Unreachable {
                code: 3,
                original: None
            })
        );
    }

    #[test]
    fn other_kinds_are_kept_as_numbers() {
        let mut bytes = vec![11, 0, 0, 0, 0, 0, 0, 0];
        let [hi, lo] = checksum(&bytes).to_be_bytes();
        bytes.splice(2..4, [hi, lo]);
        assert_eq!(Icmp::parse(&bytes), Ok(Icmp::Other { kind: 11, code: 0 }));
    }
}

//! UDP: RFC 768, RFC 1122 section 4.1.3.4 (checksums).

use core::net::{Ipv4Addr, Ipv6Addr};

use pnet_packet::udp::{MutableUdpPacket, UdpPacket};

use crate::checksum::Sum;
use crate::malformed::{Layer, Malformed, Reason};
use crate::{Path, ipv4};

/// Bytes in a header.
pub const HEADER: usize = 8;

/// A UDP datagram.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Udp<'a> {
    /// Port it came from.
    pub source_port: u16,
    /// Port it is for.
    pub destination_port: u16,
    /// What it carries.
    pub payload: &'a [u8],
}

impl<'a> Udp<'a> {
    /// Reads a datagram without its checksum, which kernels leave unfinished on virtual links.
    ///
    /// # Errors
    /// [`Reason::Short`]; [`Reason::Length`] if its length is less than a header.
    pub fn parse(bytes: &'a [u8]) -> Result<Self, Malformed> {
        let bad = |reason, at| Malformed::new(Layer::Udp, reason, at);
        let view = UdpPacket::new(bytes).ok_or(bad(Reason::Short, bytes.len()))?;
        let len = usize::from(view.get_length());
        if len < HEADER {
            return Err(bad(Reason::Length, 4));
        }
        Ok(Self {
            source_port: view.get_source(),
            destination_port: view.get_destination(),
            payload: bytes.get(HEADER..len).ok_or(bad(Reason::Short, bytes.len()))?,
        })
    }

    /// Reads a datagram from `from` to `to` with its checksum; a checksum of zero means "none".
    ///
    /// # Errors
    /// As [`Udp::parse`], and [`Reason::Checksum`].
    pub fn parse_verified(bytes: &'a [u8], from: Ipv4Addr, to: Ipv4Addr) -> Result<Self, Malformed> {
        let udp = Self::parse(bytes)?;
        let len = HEADER + udp.payload.len();
        let whole = bytes.get(..len).unwrap_or(bytes);
        let none = matches!(whole, [_, _, _, _, _, _, 0, 0, ..]);
        if !none && Sum::pseudo(from, to, ipv4::UDP, len as u16).with(whole).finish() != 0 {
            return Err(Malformed::new(Layer::Udp, Reason::Checksum, 6));
        }
        Ok(udp)
    }

    /// The datagram with its checksum. Payload beyond 65,507 bytes is left out.
    pub fn emit(&self, from: Ipv4Addr, to: Ipv4Addr) -> Vec<u8> {
        self.emit_with(|len| Sum::pseudo(from, to, ipv4::UDP, len))
    }

    /// The same over IPv6, where the checksum is no choice (RFC 8200 section 8.1).
    pub fn emit6(&self, from: Ipv6Addr, to: Ipv6Addr) -> Vec<u8> {
        self.emit_with(|len| Sum::pseudo6(from, to, ipv4::UDP, usize::from(len)))
    }

    fn emit_with(&self, pseudo: impl Fn(u16) -> Sum) -> Vec<u8> {
        let most = usize::from(u16::MAX) - ipv4::HEADER - HEADER;
        let payload = self.payload.get(..most).unwrap_or(self.payload);
        let len = (HEADER + payload.len()) as u16;
        let mut out = vec![0; HEADER];
        out.extend(payload);
        if let Some(mut view) = MutableUdpPacket::new(&mut out) {
            view.set_source(self.source_port);
            view.set_destination(self.destination_port);
            view.set_length(len);
        }
        let sum = match pseudo(len).with(&out).finish() {
            // Zero says "no checksum"; its other form in one's complement is sent instead.
            0 => 0xffff,
            sum => sum,
        };
        if let Some(mut view) = MutableUdpPacket::new(&mut out) {
            view.set_checksum(sum);
        }
        out
    }

    /// A whole frame with the datagram.
    pub fn frame(&self, path: Path) -> Vec<u8> {
        path.frame(ipv4::UDP, &self.emit(path.from, path.to))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const A: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 5);
    const B: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);

    fn sample() -> Udp<'static> {
        Udp {
            source_port: 50_000,
            destination_port: 52_381,
            payload: b"stage",
        }
    }

    fn reason<T>(r: Result<T, Malformed>) -> Option<Reason> {
        r.err().map(|e| e.reason)
    }

    #[test]
    fn the_checksum_covers_addresses_and_data() {
        let good = sample().emit(A, B);
        assert_eq!(Udp::parse_verified(&good, A, B), Ok(sample()));
        assert_eq!(
            reason(Udp::parse_verified(&good, A, Ipv4Addr::LOCALHOST)),
            Some(Reason::Checksum)
        );
        let mut bad = good.clone();
        bad[9] ^= 1;
        assert_eq!(reason(Udp::parse_verified(&bad, A, B)), Some(Reason::Checksum));
        assert!(Udp::parse(&bad).is_ok());
        bad[6..8].fill(0);
        assert!(Udp::parse_verified(&bad, A, B).is_ok());
    }

    #[test]
    fn a_checksum_of_zero_is_sent_as_all_ones() {
        // The payload is chosen so that the sum comes out as 0xffff, whose complement is zero.
        let probe = Udp {
            payload: &[0, 0],
            ..sample()
        }
        .emit(A, B);
        let payload = [probe[6], probe[7]];
        let bytes = Udp {
            payload: &payload,
            ..sample()
        }
        .emit(A, B);
        assert_eq!(bytes[6..8], [0xff, 0xff]);
        assert!(Udp::parse_verified(&bytes, A, B).is_ok());
    }

    #[test]
    fn lengths_that_lie_are_refused() {
        let good = sample().emit(A, B);
        for cut in 0..good.len() {
            assert_eq!(
                Udp::parse(&good[..cut]),
                Err(Malformed::new(Layer::Udp, Reason::Short, cut))
            );
        }
        let mut bytes = good;
        bytes[5] = 7;
        assert_eq!(Udp::parse(&bytes).map_err(|e| e.reason), Err(Reason::Length));
        bytes[5] = 9;
        assert_eq!(Udp::parse(&bytes).map(|u| u.payload), Ok(&b"s"[..]));
    }
}

//! IPv4: RFC 791 section 3.1 (header), RFC 1122 section 3.2.1 (what hosts must check).

use core::net::Ipv4Addr;

use pnet_packet::ip::IpNextHeaderProtocol;
use pnet_packet::ipv4::{Ipv4Packet, MutableIpv4Packet};

use crate::checksum::checksum;
use crate::malformed::{Layer, Malformed, Reason};

/// Bytes in a header without options.
pub const HEADER: usize = 20;
/// The protocol number of ICMP (RFC 792).
pub const ICMP: u8 = 1;
/// The protocol number of TCP (RFC 9293).
pub const TCP: u8 = 6;
/// The protocol number of IGMP (RFC 2236).
pub const IGMP: u8 = 2;
/// The protocol number of UDP (RFC 768).
pub const UDP: u8 = 17;
/// The time to live that hosts give by default (IANA's recommended value, from memory).
pub const DEFAULT_TTL: u8 = 64;

/// An IPv4 packet. Options are skipped over and not kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ipv4<'a> {
    /// Whose address it comes from.
    pub source: Ipv4Addr,
    /// For which address it is.
    pub destination: Ipv4Addr,
    /// What it carries: an IP protocol number.
    pub protocol: u8,
    /// Hops it may still go.
    pub ttl: u8,
    /// The number that pieces of one datagram share.
    pub identification: u16,
    /// Whether it is a piece of a datagram: its payload is then not whole.
    pub fragment: bool,
    /// What it carries, without the padding of the frame.
    pub payload: &'a [u8],
}

impl<'a> Ipv4<'a> {
    /// A packet with the usual time to live, not a fragment.
    pub const fn new(source: Ipv4Addr, destination: Ipv4Addr, protocol: u8, payload: &'a [u8]) -> Self {
        Self {
            source,
            destination,
            protocol,
            ttl: DEFAULT_TTL,
            identification: 0,
            fragment: false,
            payload,
        }
    }

    /// Reads a packet, with its header checksum; what follows its total length is padding.
    ///
    /// # Errors
    /// As [`Ipv4::parse_unverified`], and [`Reason::Checksum`].
    pub fn parse(bytes: &'a [u8]) -> Result<Self, Malformed> {
        let (packet, header) = read(bytes, false)?;
        if checksum(header) != 0 {
            return Err(Malformed::new(Layer::Ipv4, Reason::Checksum, 10));
        }
        Ok(packet)
    }

    /// Reads a packet without looking at its header checksum.
    ///
    /// # Errors
    /// [`Reason::Short`] if the bytes end before the header or the total length does,
    /// [`Reason::Value`] for another version, [`Reason::Length`] if a length contradicts itself.
    pub fn parse_unverified(bytes: &'a [u8]) -> Result<Self, Malformed> {
        read(bytes, false).map(|(packet, _)| packet)
    }

    /// Reads the first bytes of a packet as an ICMP error quotes them (RFC 792): the payload may
    /// be cut short, and the checksum may have been changed on the way.
    ///
    /// # Errors
    /// As [`Ipv4::parse_unverified`], except that only the header must be whole.
    pub fn parse_quoted(bytes: &'a [u8]) -> Result<Self, Malformed> {
        read(bytes, true).map(|(packet, _)| packet)
    }

    /// The packet with a header of 20 bytes and its checksum, "don't fragment" set unless it is a
    /// fragment. Payload beyond 65,515 bytes is left out.
    pub fn emit(&self) -> Vec<u8> {
        let payload = self
            .payload
            .get(..usize::from(u16::MAX) - HEADER)
            .unwrap_or(self.payload);
        let total = HEADER + payload.len();
        let mut out = vec![0; HEADER];
        if let Some(mut view) = MutableIpv4Packet::new(&mut out) {
            view.set_version(4);
            view.set_header_length(5);
            view.set_total_length(total as u16);
            view.set_identification(self.identification);
            // Bit 1 of the three flags: don't fragment; bit 0: more fragments.
            view.set_flags(if self.fragment { 0b001 } else { 0b010 });
            view.set_ttl(self.ttl);
            view.set_next_level_protocol(IpNextHeaderProtocol(self.protocol));
            view.set_source(self.source);
            view.set_destination(self.destination);
        }
        let sum = checksum(&out);
        if let Some(mut view) = MutableIpv4Packet::new(&mut out) {
            view.set_checksum(sum);
        }
        out.extend(payload);
        out
    }
}

/// The packet and its header bytes. `quoted`: the total length may lie beyond the bytes.
fn read(bytes: &[u8], quoted: bool) -> Result<(Ipv4<'_>, &[u8]), Malformed> {
    let bad = |reason, at| Malformed::new(Layer::Ipv4, reason, at);
    let view = Ipv4Packet::new(bytes).ok_or(bad(Reason::Short, bytes.len()))?;
    if view.get_version() != 4 {
        return Err(bad(Reason::Value, 0));
    }
    let header_len = usize::from(view.get_header_length()) * 4;
    if header_len < HEADER {
        return Err(bad(Reason::Length, 0));
    }
    let total = usize::from(view.get_total_length());
    if total < header_len {
        return Err(bad(Reason::Length, 2));
    }
    let header = bytes.get(..header_len).ok_or(bad(Reason::Short, bytes.len()))?;
    let end = if quoted { total.min(bytes.len()) } else { total };
    let payload = bytes
        .get(header_len..end)
        .ok_or(bad(Reason::Short, bytes.len()))?;
    let packet = Ipv4 {
        source: view.get_source(),
        destination: view.get_destination(),
        protocol: view.get_next_level_protocol().0,
        ttl: view.get_ttl(),
        identification: view.get_identification(),
        fragment: view.get_flags() & 0b001 != 0 || view.get_fragment_offset() != 0,
        payload,
    };
    Ok((packet, header))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample() -> Ipv4<'static> {
        Ipv4::new(
            Ipv4Addr::new(10, 40, 8, 5),
            Ipv4Addr::new(10, 40, 8, 21),
            UDP,
            b"stage",
        )
    }

    fn reason(bytes: &[u8]) -> Option<(Reason, usize)> {
        Ipv4::parse(bytes).err().map(|e| (e.reason, e.offset))
    }

    #[test]
    fn padding_is_trimmed_and_the_checksum_verified() {
        let mut bytes = sample().emit();
        assert_eq!(checksum(&bytes[..HEADER]), 0);
        bytes.extend([0; 21]);
        assert_eq!(Ipv4::parse(&bytes), Ok(sample()));
        bytes[8] ^= 1;
        assert_eq!(reason(&bytes), Some((Reason::Checksum, 10)));
        assert!(Ipv4::parse_unverified(&bytes).is_ok());
    }

    #[test]
    fn options_are_skipped_and_fragments_flagged() {
        let mut bytes = sample().emit();
        bytes[0] = 0x46;
        bytes[3] += 4;
        bytes.splice(HEADER..HEADER, [1, 1, 1, 0]);
        assert_eq!(Ipv4::parse_unverified(&bytes), Ok(sample()));
        bytes[6] = 0x20;
        assert!(Ipv4::parse_unverified(&bytes).unwrap().fragment);
        bytes[6..8].copy_from_slice(&[0, 9]);
        assert!(Ipv4::parse_unverified(&bytes).unwrap().fragment);
    }

    #[test]
    fn lengths_that_lie_are_refused() {
        let good = sample().emit();
        let spoil = |at: usize, value: u8| {
            let mut bytes = good.clone();
            bytes[at] = value;
            reason(&bytes)
        };
        assert_eq!(spoil(0, 0x65), Some((Reason::Value, 0)));
        assert_eq!(spoil(0, 0x44), Some((Reason::Length, 0)));
        assert_eq!(spoil(3, 19), Some((Reason::Length, 2)));
        assert_eq!(spoil(2, 1), Some((Reason::Short, good.len())));
        assert_eq!(spoil(0, 0x4f), Some((Reason::Length, 2)));
        for cut in 0..good.len() {
            assert_eq!(reason(&good[..cut]), Some((Reason::Short, cut)), "{cut}");
        }
        assert_eq!(Ipv4::parse_quoted(&good[..HEADER + 3]).unwrap().payload, b"sta");
    }
}

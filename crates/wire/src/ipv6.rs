//! IPv6: RFC 8200 section 3 (header), RFC 2464 section 7 (multicast over Ethernet), RFC 4291
//! appendix A (addresses from hardware).
//!
//! Only packets without extension headers are read further; those with one are kept as they are.

use core::net::Ipv6Addr;

use pnet_packet::ip::IpNextHeaderProtocol;
use pnet_packet::ipv6::{Ipv6Packet, MutableIpv6Packet};
use vocab::Mac;

use crate::malformed::{Layer, Malformed, Reason};
use crate::{Ethernet, ethernet};

/// Bytes in a header.
pub const HEADER: usize = 40;
/// The number of `ICMPv6` (RFC 4443 section 1).
pub const ICMP6: u8 = 58;
/// All hosts of the link (RFC 4291 section 2.7.1).
pub const ALL_NODES: Ipv6Addr = Ipv6Addr::new(0xff02, 0, 0, 0, 0, 0, 0, 1);
/// All routers of the link (RFC 4291 section 2.7.1).
pub const ALL_ROUTERS: Ipv6Addr = Ipv6Addr::new(0xff02, 0, 0, 0, 0, 0, 0, 2);

/// An IPv6 packet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ipv6<'a> {
    /// Whose address it comes from.
    pub source: Ipv6Addr,
    /// For which address it is.
    pub destination: Ipv6Addr,
    /// What follows the header: an IP protocol number or that of an extension header.
    pub next: u8,
    /// Hops it may still go.
    pub hop_limit: u8,
    /// What it carries, without the padding of the frame.
    pub payload: &'a [u8],
}

impl<'a> Ipv6<'a> {
    /// Reads a packet.
    ///
    /// # Errors
    /// [`Reason::Short`]; [`Reason::Value`] for another version; [`Reason::Length`] if it says that
    /// it is longer than the bytes.
    pub fn parse(bytes: &'a [u8]) -> Result<Self, Malformed> {
        let bad = |reason, at| Malformed::new(Layer::Ipv6, reason, at);
        let view = Ipv6Packet::new(bytes).ok_or(bad(Reason::Short, bytes.len()))?;
        if view.get_version() != 6 {
            return Err(bad(Reason::Value, 0));
        }
        let end = HEADER + usize::from(view.get_payload_length());
        Ok(Self {
            source: view.get_source(),
            destination: view.get_destination(),
            next: view.get_next_header().0,
            hop_limit: view.get_hop_limit(),
            payload: bytes.get(HEADER..end).ok_or(bad(Reason::Length, 4))?,
        })
    }

    /// The packet. Payload beyond 65,535 bytes is left out.
    pub fn emit(&self) -> Vec<u8> {
        let payload = self.payload.get(..usize::from(u16::MAX)).unwrap_or(self.payload);
        let mut out = vec![0; HEADER];
        out.extend(payload);
        if let Some(mut view) = MutableIpv6Packet::new(&mut out) {
            view.set_version(6);
            view.set_payload_length(payload.len() as u16);
            view.set_next_header(IpNextHeaderProtocol(self.next));
            view.set_hop_limit(self.hop_limit);
            view.set_source(self.source);
            view.set_destination(self.destination);
        }
        out
    }

    /// A whole frame with the packet.
    pub fn frame(&self, from: Mac, to: Mac) -> Vec<u8> {
        Ethernet {
            destination: to,
            source: from,
            vlan: None,
            ethertype: ethernet::IPV6,
            payload: &self.emit(),
        }
        .emit()
    }
}

/// The hardware address of a group: 33-33 and its last four bytes.
pub const fn group_mac(group: Ipv6Addr) -> Mac {
    let [.., a, b, c, d] = group.octets();
    Mac::new([0x33, 0x33, a, b, c, d])
}

/// The link-local address that hardware makes of itself, if it hides nothing: the middle is filled with
/// ff-fe and the bit for "local" turned round.
pub const fn from_hardware(mac: Mac) -> Ipv6Addr {
    let [a, b, c, d, e, f] = mac.octets();
    Ipv6Addr::new(
        0xfe80,
        0,
        0,
        0,
        (((a ^ 2) as u16) << 8) | b as u16,
        ((c as u16) << 8) | 0xff,
        0xfe00 | d as u16,
        ((e as u16) << 8) | f as u16,
    )
}

/// Whether the second half of `address` is made from that hardware; the first may be that of any network.
pub fn is_from_hardware(address: Ipv6Addr, mac: Mac) -> bool {
    let [.., a, b, c, d] = address.segments();
    let [.., e, f, g, h] = from_hardware(mac).segments();
    [a, b, c, d] == [e, f, g, h]
}

#[cfg(test)]
mod tests {
    use super::*;

    const A: Ipv6Addr = Ipv6Addr::new(0xfe80, 0, 0, 0, 0, 0, 0, 1);

    fn sample() -> Ipv6<'static> {
        Ipv6 {
            source: A,
            destination: ALL_NODES,
            next: ICMP6,
            hop_limit: 255,
            payload: b"stage",
        }
    }

    #[test]
    fn what_was_written_is_read_back_and_padding_is_left_out() {
        let frame = sample().frame(Mac::new([2, 0, 0, 0, 0, 1]), group_mac(ALL_NODES));
        assert_eq!(frame[..6], [0x33, 0x33, 0, 0, 0, 1]);
        assert_eq!(Ipv6::parse(&frame[ethernet::HEADER..]), Ok(sample()));
    }

    #[test]
    fn lengths_that_lie_and_other_versions_are_refused() {
        let good = sample().emit();
        for cut in 0..good.len() {
            assert!(Ipv6::parse(&good[..cut]).is_err(), "{cut}");
        }
        let mut bytes = good;
        bytes[0] = 0x45;
        assert_eq!(Ipv6::parse(&bytes).map_err(|e| e.reason), Err(Reason::Value));
    }

    #[test]
    fn addresses_from_hardware_as_the_standards_give_them() {
        // RFC 4291 appendix A: 34-56-78-9A-BC-DE becomes 3656:78ff:fe9a:bcde.
        let mac = Mac::new([0x34, 0x56, 0x78, 0x9a, 0xbc, 0xde]);
        assert_eq!(
            from_hardware(mac),
            "fe80::3656:78ff:fe9a:bcde".parse::<Ipv6Addr>().unwrap()
        );
        // And the same at a global address (RFC 4291 section 2.5.1).
        let global = "2001:db8::3656:78ff:fe9a:bcde".parse().unwrap();
        assert!(is_from_hardware(global, mac));
        assert!(!is_from_hardware(
            global,
            Mac::new([0x34, 0x56, 0x78, 0x9a, 0xbc, 0xdf])
        ));
        // RFC 2464 section 7, by the example of ff02::fb.
        let dns = "ff02::fb".parse().unwrap();
        assert_eq!(group_mac(dns), Mac::new([0x33, 0x33, 0, 0, 0, 0xfb]));
    }
}

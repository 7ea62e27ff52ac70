//! Ethernet frames: IEEE 802.3 clause 3 (frame), IEEE 802.1Q clause 9 (tags), 802.1ad (double tags).
//!
//! Frames are taken without their check sequence. Nothing beyond the header is required: a kernel
//! on a virtual link sends an ARP reply of 42 bytes, a real wire pads it to 60, and the padding is
//! left in the payload for the next layer to trim by its own length.

use pnet_packet::Packet;
use pnet_packet::ethernet::{EtherType, EtherTypes, EthernetPacket, MutableEthernetPacket};
use vocab::Mac;

use crate::malformed::{Layer, Malformed, Reason};

/// Bytes in an untagged header: two addresses and the type.
pub const HEADER: usize = 14;
/// Bytes that a tag adds: its type and its control information (IEEE 802.1Q clause 9.3).
const TAG: usize = 4;
/// The least that goes on a wire without the check sequence (IEEE 802.3: 64 with it).
pub const MIN_FRAME: usize = 60;
/// The type of ARP (RFC 826).
pub const ARP: u16 = EtherTypes::Arp.0;
/// The type of IPv4 (RFC 894).
pub const IPV4: u16 = EtherTypes::Ipv4.0;
/// The type of IPv6 (RFC 2464 section 3).
pub const IPV6: u16 = EtherTypes::Ipv6.0;
/// The type of LLDP (IEEE 802.1AB clause 7.4).
pub const LLDP: u16 = 0x88cc;
/// The type of a customer's tag (IEEE 802.1Q).
pub const VLAN: u16 = 0x8100;
/// Tag types: customer, service (802.1ad), and an older double tag seen in practice (from memory).
const TAGS: [u16; 3] = [VLAN, 0x88a8, 0x9100];

/// An Ethernet frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ethernet<'a> {
    /// For whom it is.
    pub destination: Mac,
    /// Whose port sent it.
    pub source: Mac,
    /// The VLAN identifier (1–4094) of the outermost tag that names one.
    pub vlan: Option<u16>,
    /// What the payload is, from 0x0600 on; below that an 802.3 length.
    pub ethertype: u16,
    /// What it carries, with any padding.
    pub payload: &'a [u8],
}

impl<'a> Ethernet<'a> {
    /// Reads a frame from its destination address on. At most two tags are taken off; a third
    /// is left as the ethertype.
    ///
    /// # Errors
    /// [`Reason::Short`] if a header or tag is cut, [`Reason::Value`] for the reserved identifier 4095.
    pub fn parse(frame: &'a [u8]) -> Result<Self, Malformed> {
        let short = |at| Malformed::new(Layer::Ethernet, Reason::Short, at);
        let view = EthernetPacket::new(frame).ok_or(short(frame.len()))?;
        let mut ethertype = view.get_ethertype().0;
        let mut payload = frame.get(HEADER..).unwrap_or_default();
        let mut vlan = None;
        for tag in 0..2 {
            if !TAGS.contains(&ethertype) {
                break;
            }
            let Some((&[hi, lo, kind_hi, kind_lo], rest)) = payload.split_first_chunk::<TAG>() else {
                return Err(short(frame.len()));
            };
            let id = u16::from_be_bytes([hi, lo]) & 0x0fff;
            if id == 0x0fff {
                return Err(Malformed::new(Layer::Ethernet, Reason::Value, HEADER + tag * TAG));
            }
            // Identifier 0 is a priority only: it names no VLAN (IEEE 802.1Q table 9-2).
            if vlan.is_none() && id != 0 {
                vlan = Some(id);
            }
            ethertype = u16::from_be_bytes([kind_hi, kind_lo]);
            payload = rest;
        }
        Ok(Self {
            destination: Mac::new(view.get_destination().octets()),
            source: Mac::new(view.get_source().octets()),
            vlan,
            ethertype,
            payload,
        })
    }

    /// The frame with one 802.1Q tag if `vlan` is set, padded with zeros to [`MIN_FRAME`].
    pub fn emit(&self) -> Vec<u8> {
        let tag = if self.vlan.is_some() { TAG } else { 0 };
        let mut out = vec![0; (HEADER + tag + self.payload.len()).max(MIN_FRAME)];
        if let Some(mut view) = MutableEthernetPacket::new(&mut out) {
            view.set_destination(self.destination.octets().into());
            view.set_source(self.source.octets().into());
            if let Some(id) = self.vlan {
                view.set_ethertype(EtherTypes::Vlan);
                let mut inner = (id & 0x0fff).to_be_bytes().to_vec();
                inner.extend(self.ethertype.to_be_bytes());
                inner.extend(self.payload);
                view.set_payload(&inner);
            } else {
                view.set_ethertype(EtherType(self.ethertype));
                view.set_payload(self.payload);
            }
            debug_assert!(view.packet().len() >= MIN_FRAME);
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample(vlan: Option<u16>) -> Ethernet<'static> {
        Ethernet {
            destination: Mac::BROADCAST,
            source: Mac::new([2, 0x52, 0x43, 0, 0, 1]),
            vlan,
            ethertype: ARP,
            payload: b"payload that is long enough to need no padding at all",
        }
    }

    #[test]
    fn tags_are_inside_the_bytes() {
        // IEEE 802.1Q clause 9: type 0x8100, then priority, DEI and a 12-bit identifier.
        let bytes = sample(Some(40)).emit();
        assert_eq!(bytes[12..18], [0x81, 0x00, 0x00, 0x28, 0x08, 0x06]);
        assert_eq!(Ethernet::parse(&bytes), Ok(sample(Some(40))));
        let plain = sample(None).emit();
        assert_eq!(plain[12..14], [0x08, 0x06]);
        assert_eq!(Ethernet::parse(&plain), Ok(sample(None)));
    }

    #[test]
    fn the_outer_of_two_tags_is_kept_and_a_priority_tag_names_no_vlan() {
        let tagged = |tags: &[[u8; 4]]| {
            let mut bytes = vec![2; 12];
            for tag in tags {
                bytes.extend(tag);
            }
            bytes.extend([0x08, 0x00]);
            bytes
        };
        let vlan = |tags: &[[u8; 4]]| Ethernet::parse(&tagged(tags)).map(|e| (e.vlan, e.ethertype));
        assert_eq!(vlan(&[[0x88, 0xa8, 0, 7], [0x81, 0, 0, 9]]), Ok((Some(7), IPV4)));
        assert_eq!(vlan(&[[0x81, 0, 0x60, 0]]), Ok((None, IPV4)));
        assert_eq!(vlan(&[[0x81, 0, 0xe0, 0], [0x81, 0, 0, 9]]), Ok((Some(9), IPV4)));
        assert_eq!(
            vlan(&[[0x81, 0, 0, 1], [0x81, 0, 0, 2], [0x81, 0, 0, 3]]),
            Ok((Some(1), 0x8100))
        );
        assert_eq!(
            vlan(&[[0x81, 0, 0xff, 0xff]]).map_err(|e| e.reason),
            Err(Reason::Value)
        );
    }

    #[test]
    fn a_short_payload_is_padded_to_the_least_of_a_wire() {
        let frame = Ethernet {
            payload: b"x",
            ..sample(None)
        }
        .emit();
        assert_eq!(frame.len(), MIN_FRAME);
        assert!(frame[15..].iter().all(|b| *b == 0));
    }

    #[test]
    fn the_header_alone_is_enough_and_less_is_not() {
        let frame = sample(None).emit();
        assert!(Ethernet::parse(&frame[..HEADER]).is_ok());
        for cut in 0..HEADER {
            assert_eq!(
                Ethernet::parse(&frame[..cut]),
                Err(Malformed::new(Layer::Ethernet, Reason::Short, cut))
            );
        }
        let tagged = sample(Some(2)).emit();
        assert!(Ethernet::parse(&tagged[..HEADER]).is_err());
        assert!(Ethernet::parse(&tagged[..HEADER + TAG]).is_ok());
    }
}

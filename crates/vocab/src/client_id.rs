//! A DHCP client's identifier: RFC 2132 section 9.14, RFC 4361, RFC 8415 section 11.

use core::fmt::{self, Write as _};

use crate::{Mac, Text};

/// The longest unit identifier: two bytes of type and 128 more (RFC 8415 section 11.1).
const MAX_UNIT: usize = 130;
/// Hardware type of Ethernet (RFC 2132 section 9.14 takes it from the ARP numbers).
const ETHERNET: u8 = 1;
/// The type that a unit identifier follows (RFC 4361 section 6.1).
const UNIT: u8 = 255;

/// What a DHCP client is known to its server by, as it says itself.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ClientId {
    /// Hardware: usually that of the port it speaks from.
    Hardware(Mac),
    /// The identifier of the whole unit, the same at all its ports (DUID).
    Unit(Box<[u8]>),
    /// Anything else, as text or in hexadecimal.
    Other(Text),
}

impl ClientId {
    /// Reads the bytes of option 61; `None` if there are fewer than two (RFC 2132 section 9.14).
    pub fn read(bytes: &[u8]) -> Option<Self> {
        let (kind, rest) = bytes.split_first()?;
        Some(match (*kind, rest) {
            (_, []) => return None,
            (ETHERNET, [a, b, c, d, e, f]) => Self::Hardware(Mac::new([*a, *b, *c, *d, *e, *f])),
            // Four bytes say which of its ports it is, the rest which unit.
            (UNIT, [_, _, _, _, unit @ ..]) if (3..=MAX_UNIT).contains(&unit.len()) => {
                Self::Unit(unit.into())
            }
            // Type 0 is anything but hardware, such as a name.
            (0, text) if text.iter().all(|b| (0x21..0x7f).contains(b)) => {
                Self::Other(Text::clean_bytes(text))
            }
            _ => Self::Other(Text::clean(&hex(bytes))),
        })
    }

    /// The hardware that it names. A unit identifier may be made from any port of the unit, even one
    /// that is long gone (RFC 8415 sections 11.2 and 11.4).
    pub fn hardware(&self) -> Option<Mac> {
        match self {
            Self::Hardware(mac) => Some(*mac),
            Self::Unit(unit) => match **unit {
                [0, 1, 0, ETHERNET, _, _, _, _, a, b, c, d, e, f] | [0, 3, 0, ETHERNET, a, b, c, d, e, f] => {
                    Some(Mac::new([a, b, c, d, e, f]))
                }
                _ => None,
            },
            Self::Other(_) => None,
        }
    }
}

impl fmt::Display for ClientId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Hardware(mac) => write!(f, "hardware {mac}"),
            Self::Unit(unit) => write!(f, "unit {}", hex(unit)),
            Self::Other(text) => write!(f, "{text}"),
        }
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut out, byte| {
        let _ = write!(out, "{byte:02x}");
        out
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const PORT: [u8; 6] = [0x02, 0x52, 0x43, 0, 0, 0x21];

    fn read(bytes: &[u8]) -> ClientId {
        ClientId::read(bytes).unwrap()
    }

    #[test]
    fn hardware_units_and_names_are_told_apart() {
        let mac = Mac::new(PORT);
        let plain = read(&[&[1], &PORT[..]].concat());
        assert_eq!(plain, ClientId::Hardware(mac));
        assert_eq!(plain.to_string(), "hardware 02:52:43:00:00:21");
        // RFC 8415 section 11.2: type 1, hardware type, time, link-layer address; 11.4: the same without time.
        let timed = read(&[&[255, 0, 0, 0, 7, 0, 1, 0, 1, 9, 9, 9, 9], &PORT[..]].concat());
        let bare = read(&[&[255, 0, 0, 0, 7, 0, 3, 0, 1], &PORT[..]].concat());
        assert_eq!((timed.hardware(), bare.hardware()), (Some(mac), Some(mac)));
        assert_eq!(bare.to_string(), "unit 00030001025243000021");
        // Another port of the same unit has another number and the same unit.
        assert_eq!(read(&[&[255, 9, 9, 9, 9, 0, 3, 0, 1], &PORT[..]].concat()), bare);
        // RFC 8415 section 11.5: a UUID names no hardware.
        let uuid = read(&[&[255, 0, 0, 0, 1, 0, 4], &[0xab; 16][..]].concat());
        assert!(matches!(&uuid, ClientId::Unit(_)) && uuid.hardware().is_none());
        assert_eq!(read(b"\0organ-loft").to_string(), "organ-loft");
        assert_eq!(read(b"\0\x1b[2J").to_string(), "001b5b324a");
        assert_eq!(read(&[1, 2, 3]).to_string(), "010203");
        assert_eq!(ClientId::read(&[1]), None, "RFC 2132: at least two bytes");
        assert_eq!(ClientId::read(&[]), None);
    }
}

//! Hardware addresses.

use core::cmp::Ordering;
use core::fmt;
use core::hash::{Hash, Hasher};
use core::str::FromStr;

/// A 48-bit IEEE 802 hardware address (EUI-48).
///
/// Printed in lower case with colons, as the JSON contract wants it.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Mac([u8; 6]);

/// As its octets, first on the wire first; by one number, since ordered maps compare little else.
impl Ord for Mac {
    fn cmp(&self, other: &Self) -> Ordering {
        self.number().cmp(&other.number())
    }
}

impl Hash for Mac {
    fn hash<H: Hasher>(&self, state: &mut H) {
        state.write_u64(self.number());
    }
}

impl PartialOrd for Mac {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Mac {
    /// `ff:ff:ff:ff:ff:ff`.
    pub const BROADCAST: Self = Self([0xff; 6]);
    /// `00:00:00:00:00:00`, which RFC 5227 wants as target hardware address of a probe.
    pub const ZERO: Self = Self([0; 6]);

    /// The address made of these six octets, first on the wire first.
    pub const fn new(octets: [u8; 6]) -> Self {
        Self(octets)
    }

    /// The six octets, first on the wire first.
    pub const fn octets(self) -> [u8; 6] {
        self.0
    }

    /// All of it as one number below 2⁴⁸, the first octet on the wire as its highest.
    pub const fn number(self) -> u64 {
        let [a, b, c, d, e, f] = self.0;
        u64::from_be_bytes([0, 0, a, b, c, d, e, f])
    }

    /// Whether it names a group of stations (bit 0x01 of the first octet): never a host of its own.
    pub const fn is_group(self) -> bool {
        self.0[0] & 0x01 != 0
    }

    /// Whether it was given locally (bit 0x02 of the first octet), so that no vendor can be read from it.
    pub const fn is_local(self) -> bool {
        self.0[0] & 0x02 != 0
    }

    /// Whether one host can bear it: neither a group nor all zero.
    pub const fn is_host(self) -> bool {
        !self.is_group() && self.number() != 0
    }

    /// The first three octets, which a registry assigns to a vendor when [`Mac::is_local`] is false.
    pub const fn prefix(self) -> [u8; 3] {
        [self.0[0], self.0[1], self.0[2]]
    }
}

impl fmt::Display for Mac {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [a, b, c, d, e, g] = self.0;
        write!(f, "{a:02x}:{b:02x}:{c:02x}:{d:02x}:{e:02x}:{g:02x}")
    }
}

impl fmt::Debug for Mac {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

/// Why a text is not a hardware address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MacParseError;

impl fmt::Display for MacParseError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a hardware address is six pairs of hexadecimal digits, such as 02:52:43:00:00:21")
    }
}

impl core::error::Error for MacParseError {}

impl FromStr for Mac {
    type Err = MacParseError;

    /// Reads six pairs of hexadecimal digits in either case, parted by `:` or `-` throughout.
    fn from_str(text: &str) -> Result<Self, MacParseError> {
        let part = if text.contains('-') { '-' } else { ':' };
        let mut octets = [0_u8; 6];
        let mut pairs = text.split(part);
        for octet in &mut octets {
            let pair = pairs.next().ok_or(MacParseError)?;
            if pair.len() != 2 || !pair.bytes().all(|b| b.is_ascii_hexdigit()) {
                return Err(MacParseError);
            }
            *octet = u8::from_str_radix(pair, 16).map_err(|_| MacParseError)?;
        }
        if pairs.next().is_some() {
            return Err(MacParseError);
        }
        Ok(Self(octets))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_both_separators_and_prints_one() {
        let mac: Mac = "02-52-43-00-00-AF".parse().unwrap();
        assert_eq!(mac.to_string(), "02:52:43:00:00:af");
        assert_eq!(mac.to_string().parse::<Mac>().unwrap(), mac);
    }

    #[test]
    fn refuses_what_is_no_address() {
        for bad in [
            "",
            "02:52:43:00:00",
            "02:52:43:00:00:21:00",
            "02:52-43:00:00:21",
            "0252.4300.0021",
            "2:52:43:0:0:21",
            "+2:52:43:00:00:21",
        ] {
            assert!(bad.parse::<Mac>().is_err(), "{bad:?}");
        }
    }

    #[test]
    fn the_two_low_bits_of_the_first_octet_say_group_and_local() {
        assert!(Mac::BROADCAST.is_group() && !Mac::BROADCAST.is_host());
        assert!(!Mac::ZERO.is_host());
        let local = Mac::new([0x02, 0, 0, 0, 0, 1]);
        assert!(local.is_local() && local.is_host());
    }
}

//! Ranges of IPv4 addresses.

use core::fmt;
use core::net::Ipv4Addr;
use core::str::FromStr;

use ipnet::Ipv4Net;

/// A range of IPv4 addresses, both ends included; the first is never above the last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct AddressRange {
    first: Ipv4Addr,
    last: Ipv4Addr,
}

impl AddressRange {
    /// The range from `first` to `last`, or `None` if they stand the wrong way round.
    pub fn new(first: Ipv4Addr, last: Ipv4Addr) -> Option<Self> {
        (first <= last).then_some(Self { first, last })
    }

    /// The lowest address.
    pub const fn first(self) -> Ipv4Addr {
        self.first
    }

    /// The highest address.
    pub const fn last(self) -> Ipv4Addr {
        self.last
    }

    /// Whether `address` lies in it.
    pub fn contains(self, address: Ipv4Addr) -> bool {
        self.first <= address && address <= self.last
    }

    /// Whether the two share an address.
    pub fn overlaps(self, other: Self) -> bool {
        self.first <= other.last && other.first <= self.last
    }

    /// How many addresses it holds, 1 to 2³².
    pub fn count(self) -> u64 {
        u64::from(u32::from(self.last)) - u64::from(u32::from(self.first)) + 1
    }

    /// Its addresses from the lowest up.
    pub fn addresses(self) -> impl Iterator<Item = Ipv4Addr> {
        (u32::from(self.first)..=u32::from(self.last)).map(Ipv4Addr::from)
    }
}

impl From<Ipv4Net> for AddressRange {
    /// The whole subnet, its network and broadcast address included.
    fn from(subnet: Ipv4Net) -> Self {
        Self {
            first: subnet.network(),
            last: subnet.broadcast(),
        }
    }
}

impl fmt::Display for AddressRange {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.first == self.last {
            write!(f, "{}", self.first)
        } else {
            write!(f, "{}-{}", self.first, self.last)
        }
    }
}

/// Why a text is not an address range.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RangeParseError {
    /// Not of the form `10.40.8.100-10.40.8.180`, `10.40.8.20-59` or `10.40.8.20`.
    Form,
    /// The end lies below the beginning.
    Backwards,
}

impl fmt::Display for RangeParseError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Form => "a range is written 10.40.8.100-10.40.8.180 or 10.40.8.100-180",
            Self::Backwards => "the range ends below its beginning",
        })
    }
}

impl core::error::Error for RangeParseError {}

impl FromStr for AddressRange {
    type Err = RangeParseError;

    /// Reads `first-last`, where the last may be shortened to its final number, or one address.
    fn from_str(text: &str) -> Result<Self, RangeParseError> {
        let (first, last) = text.split_once('-').unwrap_or((text, text));
        let first: Ipv4Addr = first.trim().parse().map_err(|_| RangeParseError::Form)?;
        let last = last.trim();
        let last = match last.parse::<Ipv4Addr>() {
            Ok(whole) => whole,
            Err(_) if !last.is_empty() && last.bytes().all(|b| b.is_ascii_digit()) => {
                let [a, b, c, _] = first.octets();
                Ipv4Addr::new(a, b, c, last.parse().map_err(|_| RangeParseError::Form)?)
            }
            Err(_) => return Err(RangeParseError::Form),
        };
        Self::new(first, last).ok_or(RangeParseError::Backwards)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_short_and_single_forms() {
        let long: AddressRange = "10.40.8.100-10.40.8.180".parse().unwrap();
        assert_eq!("10.40.8.100-180".parse::<AddressRange>().unwrap(), long);
        assert_eq!(long.count(), 81);
        assert_eq!("10.40.8.7".parse::<AddressRange>().unwrap().count(), 1);
        assert_eq!(
            "0.0.0.0-255.255.255.255".parse::<AddressRange>().unwrap().count(),
            1 << 32
        );
    }

    #[test]
    fn nonsense_is_refused() {
        assert_eq!(
            "10.40.8.9-8".parse::<AddressRange>(),
            Err(RangeParseError::Backwards)
        );
        for bad in [
            "",
            "10.40.8.9-",
            "10.40.8.9-256",
            "10.40.8-9",
            "10.40.8.1-10.40.8.2-3",
            "10.40.8.1-+5",
        ] {
            assert_eq!(bad.parse::<AddressRange>(), Err(RangeParseError::Form), "{bad}");
        }
    }
}

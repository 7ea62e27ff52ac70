//! The Internet checksum: RFC 1071, and the pseudo headers of RFC 768 and RFC 9293 section 3.1,
//! and of RFC 8200 section 8.1.

use core::net::{Ipv4Addr, Ipv6Addr};

/// A running one's complement sum. Bytes may be added in pieces of any length.
#[derive(Debug, Clone, Copy, Default)]
pub struct Sum {
    total: u64,
    /// Whether an odd number of bytes was added, so that the next is the low half of a word.
    odd: bool,
}

impl Sum {
    /// An empty sum.
    pub const fn new() -> Self {
        Self { total: 0, odd: false }
    }

    /// A sum that starts with the pseudo header of a UDP or TCP segment of `len` bytes.
    pub fn pseudo(from: Ipv4Addr, to: Ipv4Addr, protocol: u8, len: u16) -> Self {
        Self::new()
            .with(&from.octets())
            .with(&to.octets())
            .with(&[0, protocol])
            .with(&len.to_be_bytes())
    }

    /// The same over IPv6 (RFC 8200 section 8.1).
    pub fn pseudo6(from: Ipv6Addr, to: Ipv6Addr, next: u8, len: usize) -> Self {
        Self::new()
            .with(&from.octets())
            .with(&to.octets())
            .with(&(len as u32).to_be_bytes())
            .with(&[0, 0, 0, next])
    }

    /// With these bytes added. A sum of 2^47 bytes and more would be needed to overflow it.
    #[must_use]
    pub fn with(mut self, bytes: &[u8]) -> Self {
        let mut rest = bytes;
        if self.odd
            && let Some((&low, after)) = rest.split_first()
        {
            self.total += u64::from(low);
            self.odd = false;
            rest = after;
        }
        let (words, last) = rest.as_chunks::<2>();
        self.total += words
            .iter()
            .map(|w| u64::from(u16::from_be_bytes(*w)))
            .sum::<u64>();
        if let [high] = last {
            self.total += u64::from(*high) << 8;
            self.odd = true;
        }
        self
    }

    /// The sum folded to 16 bits, not complemented.
    pub const fn folded(self) -> u16 {
        let mut total = self.total;
        while total > 0xffff {
            total = (total & 0xffff) + (total >> 16);
        }
        total as u16
    }

    /// The checksum: the complement of the folded sum. Over bytes that hold their own checksum it is 0.
    pub const fn finish(self) -> u16 {
        !self.folded()
    }
}

/// The checksum over `bytes`, whose own checksum field is zero or not yet there.
pub fn checksum(bytes: &[u8]) -> u16 {
    Sum::new().with(bytes).finish()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// The worked example of RFC 1071 section 3.
    const EXAMPLE: [u8; 8] = [0x00, 0x01, 0xf2, 0x03, 0xf4, 0xf5, 0xf6, 0xf7];

    #[test]
    fn the_worked_example_of_rfc_1071() {
        assert_eq!(Sum::new().with(&EXAMPLE).folded(), 0xddf2);
        assert_eq!(checksum(&EXAMPLE), 0x220d);
    }

    #[test]
    fn an_echo_request_by_hand() {
        // 0800 + 0000 + 1234 + 0001 = 1a35, complement e5ca.
        assert_eq!(checksum(&[8, 0, 0, 0, 0x12, 0x34, 0, 1]), 0xe5ca);
    }

    proptest! {
        #[test]
        fn pieces_sum_as_the_whole(bytes: Vec<u8>, cuts in prop::collection::vec(0usize..40, 0..8)) {
            let mut rest = bytes.as_slice();
            let mut sum = Sum::new();
            for cut in cuts {
                let (piece, after) = rest.split_at(cut.min(rest.len()));
                sum = sum.with(piece);
                rest = after;
            }
            prop_assert_eq!(sum.with(rest).finish(), checksum(&bytes));
        }

        /// RFC 1071 section 1: summed with its checksum in place the result is all ones.
        #[test]
        fn bytes_with_their_checksum_sum_to_nothing(mut bytes: Vec<u8>) {
            if bytes.len() % 2 == 1 {
                bytes.push(0);
            }
            let sum = checksum(&bytes);
            bytes.extend(sum.to_be_bytes());
            prop_assert_eq!(checksum(&bytes), 0);
        }
    }
}

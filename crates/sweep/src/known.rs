//! Every address that anybody was heard to use, or to look for: none of them is ever borrowed.

use core::net::Ipv4Addr;
use std::collections::BTreeMap;

use crate::here::is_askable;

/// The /24 networks that are remembered, 32 bytes each. Where a flood of made-up addresses fills
/// them, all other networks count as heard of altogether.
const NETS_MAX: usize = 4_096;

/// Addresses, one bit each, by their first three bytes.
#[derive(Debug, Default)]
pub(crate) struct Known {
    nets: BTreeMap<[u8; 3], [u128; 2]>,
}

impl Known {
    const fn place(address: Ipv4Addr) -> ([u8; 3], usize, u128) {
        let [a, b, c, d] = address.octets();
        ([a, b, c], (d >> 7) as usize, 1 << (d & 127))
    }

    /// It was heard.
    pub(crate) fn put(&mut self, address: Ipv4Addr) {
        if !is_askable(address) {
            return;
        }
        let (net, half, bit) = Self::place(address);
        if self.nets.len() < NETS_MAX || self.nets.contains_key(&net) {
            self.nets.entry(net).or_default()[half] |= bit;
        }
    }

    /// Whether it was heard, or may have been and was forgotten.
    pub(crate) fn has(&self, address: Ipv4Addr) -> bool {
        let (net, half, bit) = Self::place(address);
        self.nets
            .get(&net)
            .map_or(self.nets.len() >= NETS_MAX, |bits| bits[half] & bit != 0)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_flood_makes_the_rest_of_the_world_known_and_takes_no_more_room() {
        let mut known = Known::default();
        let early = Ipv4Addr::new(192, 168, 0, 20);
        known.put(early);
        for n in 0..200_000_u32 {
            known.put(Ipv4Addr::from(0x0a00_0000 + n * 256));
        }
        assert_eq!(known.nets.len(), NETS_MAX);
        assert!(known.has(early) && !known.has(Ipv4Addr::new(192, 168, 0, 21)));
        assert!(known.has(Ipv4Addr::new(172, 16, 0, 1)));
    }

    proptest! {
        /// What was put is had, and nothing else.
        #[test]
        fn it_has_what_was_put(put in prop::collection::btree_set(0_u32..2_000, 0..200), other in 0_u32..2_000) {
            let mut known = Known::default();
            let address = |n: u32| Ipv4Addr::from(0xc0a8_0000 + n);
            for n in &put {
                known.put(address(*n));
            }
            prop_assert!(put.iter().all(|n| known.has(address(*n))));
            prop_assert_eq!(known.has(address(other)), put.contains(&other));
        }
    }
}

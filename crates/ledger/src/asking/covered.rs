//! Which addresses are taken care of already, so that none is asked for twice.

use std::net::Ipv4Addr;

use vocab::AddressRange;

/// A set of addresses as ranges.
#[derive(Debug, Clone, Default)]
pub(crate) struct Covered {
    /// First and last of each, sorted; none overlaps or touches another.
    spans: Vec<(u32, u32)>,
}

impl Covered {
    /// Adds `range` and gives the parts of it that were not in the set, from the lowest up.
    pub(crate) fn add(&mut self, range: AddressRange) -> Vec<AddressRange> {
        let (first, last) = (u32::from(range.first()), u32::from(range.last()));
        let mut fresh = Vec::new();
        let mut part = |from: u32, to: u32| {
            fresh.extend(AddressRange::new(Ipv4Addr::from(from), Ipv4Addr::from(to)));
        };
        let mut whole = (first, last);
        let mut kept = Vec::with_capacity(self.spans.len() + 1);
        // The next address that may be new; none once the range's end is behind.
        let mut next = Some(first);
        for &(a, b) in &self.spans {
            if b < first || a > last {
                if b.checked_add(1) == Some(first) || last.checked_add(1) == Some(a) {
                    whole = (whole.0.min(a), whole.1.max(b));
                } else {
                    kept.push((a, b));
                }
                continue;
            }
            whole = (whole.0.min(a), whole.1.max(b));
            if let Some(from) = next
                && let Some(to) = a.checked_sub(1)
                && from <= to
            {
                part(from, to);
            }
            next = next.max(b.checked_add(1)).filter(|n| *n <= last && b < last);
        }
        if let Some(from) = next {
            part(from, last);
        }
        kept.push(whole);
        kept.sort_unstable();
        self.spans = kept;
        fresh
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use proptest::prelude::*;

    use super::*;

    fn range(first: u32, last: u32) -> AddressRange {
        AddressRange::new(first.into(), last.into()).unwrap()
    }

    #[test]
    fn the_ends_of_the_address_space_do_no_harm() {
        let mut covered = Covered::default();
        assert_eq!(covered.add(range(u32::MAX - 1, u32::MAX)).len(), 1);
        assert_eq!(covered.add(range(0, 0)), [range(0, 0)]);
        assert_eq!(covered.add(range(0, u32::MAX)), [range(1, u32::MAX - 2)]);
        assert!(covered.add(range(0, u32::MAX)).is_empty());
        assert_eq!(covered.spans, [(0, u32::MAX)]);
    }

    proptest! {
        /// The same as a plain set of numbers, whatever is added in whatever order.
        #[test]
        fn it_agrees_with_a_set(adds in prop::collection::vec((0_u32..60, 0_u32..20), 0..30)) {
            let mut covered = Covered::default();
            let mut set: BTreeSet<u32> = BTreeSet::new();
            for (first, more) in adds {
                let fresh = covered.add(range(first, first + more));
                let expected: Vec<u32> = (first..=first + more).filter(|n| set.insert(*n)).collect();
                let got: Vec<u32> = fresh.iter().flat_map(|r| r.addresses()).map(u32::from).collect();
                prop_assert_eq!(got, expected);
                prop_assert!(covered.spans.windows(2).all(|w| w[0].1 + 1 < w[1].0));
            }
        }
    }
}

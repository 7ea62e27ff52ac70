//! Who made a piece of hardware, by the first digits of its address: a search in the registries' table.

use std::borrow::Cow;
use std::cmp::Ordering;
use std::fmt;

use vocab::{Mac, Text};

/// How many hexadecimal digits the registries' prefixes have, the longest first: MA-S 36 bits, MA-M
/// 28, MA-L 24. A longer prefix lies inside a shorter one that the registry keeps for itself.
const DIGITS: [usize; 3] = [9, 7, 6];

/// The table of hardware prefixes: one line a prefix, sorted by bytes, each the prefix in 6, 7 or 9
/// upper-case hexadecimal digits, a tab, and the name, which is empty where the registry tells none.
/// Lines that begin with `#` stand before all others; the first gives the date in seconds since 1970.
///
/// Nothing is read before it is asked for: [`Vendors::maker`] searches in the bytes as they are. Any
/// bytes may be given; what is no such table knows nobody.
#[derive(Clone, PartialEq, Eq, Default)]
pub struct Vendors(Cow<'static, [u8]>);

impl Vendors {
    /// A table that knows nobody.
    pub const NONE: Self = Self(Cow::Borrowed(&[]));

    /// The table in these bytes.
    pub const fn new(table: Cow<'static, [u8]>) -> Self {
        Self(table)
    }

    /// The bytes of the table.
    pub fn table(&self) -> &[u8] {
        &self.0
    }

    /// When the registries were read, in seconds since 1970 (UTC); `None` if the table does not say.
    pub fn dated(&self) -> Option<u64> {
        let line = self.0.strip_prefix(b"# ")?;
        let digits = line.split(|b| !b.is_ascii_digit()).next()?;
        core::str::from_utf8(digits).ok()?.parse().ok()
    }

    /// Who made `mac`: the longest prefix that the registries list. `None` for an address that was
    /// given locally, for a prefix that nobody has, and where the registry keeps the name to itself.
    pub fn maker(&self, mac: Mac) -> Option<Text> {
        if mac.is_local() || mac.is_group() {
            return None;
        }
        let digits = mac.octets().map(|b| {
            [
                b"0123456789ABCDEF"[usize::from(b >> 4)],
                b"0123456789ABCDEF"[usize::from(b & 15)],
            ]
        });
        let digits = digits.as_flattened();
        let name = DIGITS.iter().find_map(|n| self.find(&digits[..*n]))?;
        Some(Text::clean_bytes(name)).filter(|name| !name.is_empty())
    }

    /// The name on the line of that prefix.
    fn find(&self, prefix: &[u8]) -> Option<&[u8]> {
        let table: &[u8] = &self.0;
        let (mut low, mut high) = (0, table.len());
        while low < high {
            let middle = low + (high - low) / 2;
            let start = table[low..middle]
                .iter()
                .rposition(|b| *b == b'\n')
                .map_or(low, |at| low + at + 1);
            let end = table[start..]
                .iter()
                .position(|b| *b == b'\n')
                .map_or(table.len(), |at| start + at);
            let line = &table[start..end];
            let tab = line.iter().position(|b| *b == b'\t').unwrap_or(line.len());
            match line[..tab].cmp(prefix) {
                Ordering::Less => low = end + 1,
                Ordering::Greater => high = start,
                Ordering::Equal => return Some(line.get(tab + 1..).unwrap_or_default()),
            }
        }
        None
    }
}

impl fmt::Debug for Vendors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Vendors({} bytes, dated {:?})", self.0.len(), self.dated())
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn shipped() -> Vendors {
        Vendors::new(Cow::Borrowed(include_bytes!("../../../../assets/vendors.txt")))
    }

    #[test]
    fn makers_are_those_of_the_registries_rows() {
        // fixtures/vendors/make.py reads them from the CSV files of ieee-data in its own way.
        let rows = include_str!("../../../../fixtures/vendors/makers.tsv");
        let vendors = shipped();
        let mut asked = 0;
        for (mac, name) in rows.lines().filter_map(|row| row.split_once('\t')) {
            let want = Some(Text::clean(name)).filter(|t| !t.is_empty());
            assert_eq!(vendors.maker(mac.parse().unwrap()), want, "{mac}");
            asked += 1;
        }
        assert!(asked > 300);
    }

    #[test]
    fn every_line_of_the_table_is_found_and_the_lines_are_in_order() {
        let vendors = shipped();
        assert!(vendors.dated().is_some());
        let lines = core::str::from_utf8(&vendors.0).unwrap().lines();
        let rows: Vec<_> = lines
            .filter(|l| !l.starts_with('#'))
            .map(|l| l.split_once('\t').unwrap())
            .collect();
        assert!(rows.is_sorted_by(|a, b| a.0 < b.0));
        for (prefix, name) in rows {
            assert_eq!(vendors.find(prefix.as_bytes()), Some(name.as_bytes()), "{prefix}");
        }
    }

    #[test]
    fn the_longest_prefix_counts_and_names_are_cleaned() {
        let table = b"# 7 made up\n00005E\tOuter\n00005E0\t\n00005E1\tIn\x1bner\n00005E100\tLeast";
        let vendors = Vendors::new(Cow::Borrowed(table));
        let of = |mac: &str| vendors.maker(mac.parse().unwrap()).map(|t| t.to_string());
        assert_eq!(of("00:00:5e:20:00:00"), Some("Outer".into()));
        assert_eq!(of("00:00:5e:0f:00:00"), None);
        assert_eq!(of("00:00:5e:10:10:00"), Some("Inner".into()));
        assert_eq!(of("00:00:5e:10:0f:ff"), Some("Least".into()));
        assert_eq!(of("02:00:5e:20:00:00"), None);
        assert_eq!(vendors.dated(), Some(7));
        assert_eq!(Vendors::NONE.maker(Mac::ZERO), None);
    }

    proptest! {
        #[test]
        fn any_bytes_are_searched_without_harm(
            table in prop::collection::vec(prop_oneof![Just(b'\n'), Just(b'\t'), Just(b'0'), any::<u8>()], 0..400),
            mac in any::<[u8; 6]>(),
        ) {
            let vendors = Vendors::new(Cow::Owned(table));
            let _ = (vendors.maker(Mac::new(mac)), vendors.dated());
        }
    }
}

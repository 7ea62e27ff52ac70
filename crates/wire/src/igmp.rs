//! IGMP queries: RFC 2236 section 2, and RFC 3376 section 4.1. Nothing of it is ever sent from here.

use crate::checksum::checksum;
use crate::malformed::{Layer, Malformed, Reason};

/// Bytes of a message; version 3 goes on after them.
const LENGTH: usize = 8;
/// A query, in every version.
pub const QUERY: u8 = 0x11;

/// A message, as far as it is of use here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Igmp {
    /// Who listens?
    Query,
    /// Something else: what hosts tell the querier.
    Other {
        /// Its type.
        kind: u8,
    },
}

impl Igmp {
    /// Reads a message that fills `bytes`, with its checksum.
    ///
    /// # Errors
    /// [`Reason::Short`], [`Reason::Checksum`].
    pub fn parse(bytes: &[u8]) -> Result<Self, Malformed> {
        let bad = |reason, at| Malformed::new(Layer::Igmp, reason, at);
        let Some(&[kind, ..]) = bytes.first_chunk::<LENGTH>() else {
            return Err(bad(Reason::Short, bytes.len()));
        };
        if checksum(bytes) != 0 {
            return Err(bad(Reason::Checksum, 2));
        }
        Ok(match kind {
            QUERY => Self::Query,
            kind => Self::Other { kind },
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_query_is_told_from_a_report_and_a_damaged_one() {
        // 0x1164 and its complement 0xee9b.
        let query = [0x11, 0x64, 0xee, 0x9b, 0, 0, 0, 0];
        assert_eq!(Igmp::parse(&query), Ok(Igmp::Query));
        let report = [0x16, 0, 0xfa, 0x04, 239, 255, 255, 250];
        assert_eq!(Igmp::parse(&report), Ok(Igmp::Other { kind: 0x16 }));
        let mut broken = query;
        broken[1] = 0x65;
        assert_eq!(Igmp::parse(&broken).unwrap_err().reason, Reason::Checksum);
        assert_eq!(Igmp::parse(&query[..7]).unwrap_err().reason, Reason::Short);
    }
}

//! TLS: RFC 8446 sections 4.1.2 (client hello) and 5.1 (records), RFC 5246 for the older versions.
//!
//! Only as much as shows that TLS is spoken: one hello, and whether the answer is a record.

use crate::malformed::{Layer, Malformed, Reason};

/// Bytes in a record's header.
const HEADER: usize = 5;
/// The longest record: 2^14 bytes of data and 2048 of what protects it (RFC 5246 section 6.2.3).
const MAX_RECORD: usize = (1 << 14) + 2_048;
/// The suites of RFC 8446, then common older ones with and without forward secrecy (IANA registry).
const SUITES: [u16; 15] = [
    0x1301, 0x1302, 0x1303, 0xc02b, 0xc02f, 0xc02c, 0xc030, 0xcca9, 0xcca8, 0xc013, 0xc014, 0x009c, 0x009d,
    0x002f, 0x0035,
];

/// The header of a record.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Record {
    /// Content type: 20 change of cipher, 21 alert, 22 handshake, 23 data, 24 heartbeat.
    pub content: u8,
    /// The minor version after the 3: 1 for TLS 1.0, 3 for 1.2 and later.
    pub minor: u8,
    /// Bytes that follow.
    pub len: usize,
}

impl Record {
    /// Reads a record's header; its content need not have come yet.
    ///
    /// # Errors
    /// [`Reason::Value`] as soon as it cannot be a record, [`Reason::Length`] for an impossible
    /// length, [`Reason::Short`] while fewer than 5 bytes have come.
    pub fn parse(bytes: &[u8]) -> Result<Self, Malformed> {
        let bad = |reason, at| Malformed::new(Layer::Tls, reason, at);
        if bytes.first().is_some_and(|c| !(20..=24).contains(c)) {
            return Err(bad(Reason::Value, 0));
        }
        if bytes.get(1).is_some_and(|v| *v != 3) {
            return Err(bad(Reason::Value, 1));
        }
        if bytes.get(2).is_some_and(|v| *v > 4) {
            return Err(bad(Reason::Value, 2));
        }
        let Some(&[content, _, minor, l0, l1]) = bytes.first_chunk::<HEADER>() else {
            return Err(bad(Reason::Short, bytes.len()));
        };
        let len = usize::from(u16::from_be_bytes([l0, l1]));
        if len == 0 || len > MAX_RECORD {
            return Err(bad(Reason::Length, 3));
        }
        Ok(Self { content, minor, len })
    }
}

/// A client hello that offers TLS 1.3 and 1.2, without a server name. `random` need not be
/// secret: no connection is ever made of it. `key` is taken as an x25519 public key.
pub fn client_hello(random: [u8; 32], key: [u8; 32]) -> Vec<u8> {
    let suites: Vec<u8> = SUITES.iter().flat_map(|s| s.to_be_bytes()).collect();
    let extensions = [
        // Renegotiation (RFC 5746), extended master secret (RFC 7627): empty.
        extension(0xff01, &[0]),
        extension(23, &[]),
        // Groups: x25519, P-256, P-384 (RFC 8446 section 4.2.7); points uncompressed (RFC 8422).
        extension(10, &counted16(&[0x00, 0x1d, 0x00, 0x17, 0x00, 0x18])),
        extension(11, &[1, 0]),
        // Signatures (RFC 8446 section 4.2.3): ECDSA, RSA-PSS and RSA with SHA-256 and SHA-384, RSA with SHA-1.
        extension(
            13,
            &counted16(&[4, 3, 8, 4, 4, 1, 5, 3, 8, 5, 5, 1, 8, 6, 6, 1, 2, 1]),
        ),
        extension(43, &[4, 3, 4, 3, 3]),
        extension(51, &counted16(&[&[0x00, 0x1d][..], &counted16(&key)].concat())),
    ]
    .concat();
    let mut hello = vec![3, 3];
    hello.extend(random);
    // A session identifier as TLS 1.3 wants it for middleboxes (RFC 8446 appendix D.4).
    hello.push(32);
    hello.extend(random.map(|b| b ^ 0xa5));
    hello.extend(counted16(&suites));
    hello.extend([1, 0]);
    hello.extend(counted16(&extensions));
    // Handshake type 1 with a length of three bytes, in a handshake record of version 3.1.
    let handshake = [&[1, 0][..], &counted16(&hello)].concat();
    [&[22, 3, 1][..], &counted16(&handshake)].concat()
}

/// A fatal alert "handshake failure" (RFC 8446 section 6): what a server sends that knows none of the suites.
pub const HANDSHAKE_FAILURE: [u8; 7] = [21, 3, 3, 0, 2, 2, 40];

fn extension(kind: u16, data: &[u8]) -> Vec<u8> {
    [&kind.to_be_bytes()[..], &counted16(data)].concat()
}

fn counted16(data: &[u8]) -> Vec<u8> {
    [&(data.len() as u16).to_be_bytes()[..], data].concat()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_lengths_of_a_hello_add_up() {
        let hello = client_hello([7; 32], [9; 32]);
        let record = Record::parse(&hello).unwrap();
        assert_eq!(
            (record.content, record.minor, record.len),
            (22, 1, hello.len() - 5)
        );
        // A client hello whose own version says TLS 1.2 (RFC 8446 section 4.1.2).
        assert_eq!((hello[5], &hello[9..11]), (1, &[3, 3][..]));
        assert_eq!(
            usize::from(hello[7]) * 256 + usize::from(hello[8]),
            hello.len() - 9
        );
        // Version, random, session, suites, compression, extensions, to the last byte.
        let mut at = 9 + 2 + 32 + 1 + 32;
        at += 2 + SUITES.len() * 2;
        assert_eq!(hello[at..at + 2], [1, 0]);
        at += 2;
        assert_eq!(
            usize::from(hello[at]) * 256 + usize::from(hello[at + 1]),
            hello.len() - at - 2
        );
        at += 2;
        while at < hello.len() {
            at += 4 + usize::from(hello[at + 2]) * 256 + usize::from(hello[at + 3]);
        }
        assert_eq!(at, hello.len());
    }

    #[test]
    fn records_and_what_is_none() {
        assert_eq!(
            Record::parse(&HANDSHAKE_FAILURE),
            Ok(Record {
                content: 21,
                minor: 3,
                len: 2
            })
        );
        let why = |bytes: &[u8]| Record::parse(bytes).err().map(|e| e.reason);
        for cut in 0..HEADER {
            assert_eq!(why(&HANDSHAKE_FAILURE[..cut]), Some(Reason::Short));
        }
        assert_eq!(why(b"HTTP/1.1 400"), Some(Reason::Value));
        assert_eq!(why(&[22, 2]), Some(Reason::Value));
        assert_eq!(why(&[22, 3, 9]), Some(Reason::Value));
        assert_eq!(why(&[22, 3, 3, 0xff, 0xff]), Some(Reason::Length));
    }
}

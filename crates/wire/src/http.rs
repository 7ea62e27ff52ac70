//! HTTP/1.1: RFC 9112 sections 3 and 4 (request and status line), 6 and 7 (body), RFC 9110 (fields).

use core::net::Ipv4Addr;

use vocab::Text;

use crate::head::{Head, status_line};
use crate::malformed::{Layer, Malformed};

const PROTOCOL: &[u8] = b"HTTP/";

/// Asks for the front page. Not HEAD: small servers have been known to ignore it (common practice, no source).
pub fn get_request(host: Ipv4Addr, port: u16) -> Vec<u8> {
    format!(
        "GET / HTTP/1.1\r\nHost: {}\r\nUser-Agent: rigmuster\r\nAccept: */*\r\nConnection: close\r\n\r\n",
        authority(host, port)
    )
    .into_bytes()
}

/// The `Host` field: the port stands there unless it is 80 (RFC 9110 section 7.2).
pub(crate) fn authority(host: Ipv4Addr, port: u16) -> String {
    if port == 80 {
        host.to_string()
    } else {
        format!("{host}:{port}")
    }
}

/// Reads the head of a response.
///
/// # Errors
/// [`crate::Reason::Short`] while more may come, [`crate::Reason::Value`] if it is not HTTP,
/// [`crate::Reason::Long`] beyond 8 KiB.
pub fn parse(bytes: &[u8]) -> Result<Head<'_>, Malformed> {
    Head::parse(bytes, PROTOCOL, Layer::Http)
}

/// Reads no more than the status.
///
/// # Errors
/// As [`parse`].
pub fn status(bytes: &[u8]) -> Result<u16, Malformed> {
    status_line(bytes, PROTOCOL, Layer::Http)
}

/// As much of a response's body as has come, out of its chunks, and whether that is all of it.
pub fn body(head: &Head<'_>) -> (Vec<u8>, bool) {
    let chunked = head
        .field("transfer-encoding")
        .is_some_and(|v| v.to_ascii_lowercase().ends_with(b"chunked"));
    if chunked {
        return unchunk(head.body);
    }
    let length = head
        .field("content-length")
        .and_then(|v| core::str::from_utf8(v).ok()?.parse::<usize>().ok());
    match length {
        Some(n) => (
            head.body.get(..n).unwrap_or(head.body).to_vec(),
            head.body.len() >= n,
        ),
        // Without a length the body ends with the connection.
        None => (head.body.to_vec(), false),
    }
}

/// A text that is looked for in a body which comes piece by piece.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Sought {
    /// Here it is.
    Found(Text),
    /// All of the body came without it.
    Nowhere,
    /// It may still come.
    NotYet,
}

impl Sought {
    /// What was `found` in a body of which `all` has come, or a part.
    pub(crate) fn of(found: Option<Text>, all: bool) -> Self {
        match found {
            Some(text) if !text.is_empty() => Self::Found(text),
            Some(_) => Self::Nowhere,
            None if all => Self::Nowhere,
            None => Self::NotYet,
        }
    }
}

/// RFC 9112 section 7.1. A broken chunk ends the body.
fn unchunk(mut rest: &[u8]) -> (Vec<u8>, bool) {
    let mut out = Vec::new();
    while let Some(end) = rest.iter().position(|b| *b == b'\n') {
        let (line, after) = rest.split_at_checked(end + 1).unwrap_or((rest, &[]));
        let digits = line
            .split(|b| matches!(b, b';' | b'\r' | b'\n'))
            .next()
            .unwrap_or_default();
        let size = core::str::from_utf8(digits.trim_ascii())
            .ok()
            .and_then(|d| usize::from_str_radix(d, 16).ok());
        match size {
            None | Some(0) => return (out, true),
            Some(size) => {
                let data = after.get(..size).unwrap_or(after);
                out.extend(data);
                let Some(next) = after.get(size..) else {
                    return (out, false);
                };
                rest = next
                    .strip_prefix(b"\r\n")
                    .or(next.strip_prefix(b"\n"))
                    .unwrap_or(next);
            }
        }
    }
    (out, false)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_request_names_its_host() {
        let host = Ipv4Addr::new(10, 40, 8, 21);
        let text = |port| String::from_utf8(get_request(host, port)).unwrap();
        assert!(text(80).starts_with("GET / HTTP/1.1\r\nHost: 10.40.8.21\r\n"));
        assert!(text(8080).contains("\r\nHost: 10.40.8.21:8080\r\n"));
        assert!(text(80).ends_with("\r\n\r\n"));
    }

    #[test]
    fn bodies_with_a_length_in_chunks_and_to_the_end() {
        let whole = |text: &str| {
            let (bytes, all) = body(&parse(text.as_bytes()).unwrap());
            (String::from_utf8(bytes).unwrap(), all)
        };
        let with = |fields: &str, rest: &str| whole(&format!("HTTP/1.1 200 OK\r\n{fields}\r\n{rest}"));
        assert_eq!(
            with("Content-Length: 5\r\n", "stage left"),
            ("stage".into(), true)
        );
        assert_eq!(with("Content-Length: 50\r\n", "stage"), ("stage".into(), false));
        assert_eq!(with("", "stage"), ("stage".into(), false));
        let chunked = "Transfer-Encoding: chunked\r\n";
        assert_eq!(
            with(chunked, "2;x=y\r\nst\r\n3\r\nage\r\n0\r\n\r\n"),
            ("stage".into(), true)
        );
        assert_eq!(with(chunked, "2\r\nst\r\n3\r\na"), ("sta".into(), false));
        assert_eq!(with(chunked, "ffffffffffffffff\r\nst"), ("st".into(), false));
        assert_eq!(with(chunked, "zz\r\nst"), (String::new(), true));
    }
}

//! The status line and header block that HTTP and RTSP share: RFC 9112 sections 2–5, RFC 2326 section 7.

use vocab::Text;

use crate::malformed::{Layer, Malformed, Reason};

/// The longest header block that is read.
pub const MAX: usize = 8 * 1024;

/// The head of a response.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Head<'a> {
    /// The status, 100–999.
    pub status: u16,
    /// The lines after the status line.
    fields: &'a [u8],
    /// What follows the head.
    pub body: &'a [u8],
}

impl<'a> Head<'a> {
    /// The value of the first field of that name, without blanks around it.
    pub fn field(&self, name: &str) -> Option<&'a [u8]> {
        self.all(name).next()
    }

    /// The values of all fields of that name, without blanks around them.
    pub fn all(&self, name: &str) -> impl Iterator<Item = &'a [u8]> {
        self.fields.split(|b| *b == b'\n').filter_map(move |line| {
            let colon = line.iter().position(|b| *b == b':')?;
            let (key, value) = line.split_at_checked(colon)?;
            key.eq_ignore_ascii_case(name.as_bytes())
                .then(|| value.get(1..).unwrap_or_default().trim_ascii())
        })
    }

    /// What the server calls itself (RFC 9110 section 10.2.4), cleaned.
    pub fn server(&self) -> Option<Text> {
        self.field("server")
            .map(Text::clean_bytes)
            .filter(|t| !t.is_empty())
    }

    /// Reads a head that begins with `protocol`, such as `HTTP/`.
    pub(crate) fn parse(bytes: &'a [u8], protocol: &[u8], layer: Layer) -> Result<Self, Malformed> {
        let status = status_line(bytes, protocol, layer)?;
        let seen = bytes.get(..MAX).unwrap_or(bytes);
        let end = end_of_head(seen).ok_or(if bytes.len() >= MAX {
            Malformed::new(layer, Reason::Long, MAX)
        } else {
            Malformed::new(layer, Reason::Short, bytes.len())
        })?;
        let (head, body) = bytes.split_at_checked(end).unwrap_or((bytes, &[]));
        let first = head.iter().position(|b| *b == b'\n').map_or(0, |n| n + 1);
        Ok(Self {
            status,
            fields: head.get(first..).unwrap_or_default(),
            body,
        })
    }
}

/// Where the body begins: after the first empty line. A bare line feed ends a line too (RFC 9112
/// section 2.2).
pub(crate) fn end_of_head(bytes: &[u8]) -> Option<usize> {
    let mut line = 0;
    for (at, byte) in bytes.iter().enumerate() {
        if *byte == b'\n' {
            let text = bytes.get(line..at)?;
            if line != 0 && (text.is_empty() || text == b"\r") {
                return Some(at + 1);
            }
            line = at + 1;
        }
    }
    None
}

/// The status at the beginning of a response: `protocol`, a version of two digits, three digits.
///
/// [`Reason::Short`] as long as what has come could still become one.
pub(crate) fn status_line(bytes: &[u8], protocol: &[u8], layer: Layer) -> Result<u16, Malformed> {
    let fits = |at: usize, byte: u8| match (at.checked_sub(protocol.len()), protocol.get(at)) {
        (_, Some(wanted)) => byte == *wanted,
        (Some(0 | 2 | 5 | 6), _) => byte.is_ascii_digit(),
        (Some(1), _) => byte == b'.',
        (Some(3), _) => byte == b' ',
        (Some(4), _) => matches!(byte, b'1'..=b'9'),
        (Some(7), _) => matches!(byte, b' ' | b'\r' | b'\n'),
        _ => false,
    };
    let len = protocol.len() + 8;
    if let Some(at) = bytes
        .iter()
        .take(len)
        .enumerate()
        .position(|(at, b)| !fits(at, *b))
    {
        return Err(Malformed::new(layer, Reason::Value, at));
    }
    let digits = bytes
        .get(len - 4..len)
        .ok_or(Malformed::new(layer, Reason::Short, bytes.len()))?;
    Ok(digits.iter().take(3).fold(0, |n, d| n * 10 + u16::from(d - b'0')))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Head<'_>, Malformed> {
        Head::parse(text.as_bytes(), b"HTTP/", Layer::Http)
    }

    #[test]
    fn fields_are_found_in_any_case_and_cleaned() {
        let head = read("HTTP/1.1 401 No\r\nsErVer:  stage\u{1b}[2J box \r\nX: y\r\n\r\nbody").unwrap();
        assert_eq!((head.status, head.body), (401, &b"body"[..]));
        assert_eq!(head.server().unwrap().as_str(), "stage[2J box");
        assert_eq!(head.field("x"), Some(&b"y"[..]));
        assert_eq!(head.field("http/1.1 401 no"), None);
        assert!(read("HTTP/1.0 200\n\n").unwrap().server().is_none());
    }

    #[test]
    fn what_could_still_become_a_head_is_short_and_what_could_not_is_wrong() {
        let whole = "HTTP/1.1 200 OK\r\nServer: a\r\n\r\n";
        for cut in 0..whole.len() {
            assert_eq!(
                read(&whole[..cut]).map_err(|e| e.reason),
                Err(Reason::Short),
                "{cut}"
            );
        }
        for wrong in [
            "RTSP/1.0 200 OK",
            "HTTP/1.1 2000",
            "HTTP/1.1 020 ",
            "HTTP/1x",
            "H2",
            "<html>",
        ] {
            assert_eq!(read(wrong).map_err(|e| e.reason), Err(Reason::Value), "{wrong}");
        }
        let endless = format!("HTTP/1.1 200 OK\r\n{}", "a: b\r\n".repeat(2_000));
        assert_eq!(read(&endless).map_err(|e| e.reason), Err(Reason::Long));
    }
}

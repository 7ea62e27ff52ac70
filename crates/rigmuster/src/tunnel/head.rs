//! Heads of HTTP messages, checked and rewritten (RFC 9110, RFC 9112).
//!
//! Only what must be said otherwise is: whom a request is for, where it comes from, and where an answer
//! leads. All other headers go through as they are, and bodies are never looked at.

use httparse::Status;

use super::framing::Framing;
use super::names::Names;

/// The longest head.
pub(crate) const LONGEST: usize = 64 * 1024;
/// The most headers in one.
const MOST: usize = 256;

/// The door at which a message goes through.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Door {
    /// Its loopback port.
    pub local: u16,
    /// The device's port.
    pub port: u16,
}

/// A request that may pass.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Request {
    /// Its head, for the device.
    pub head: Vec<u8>,
    /// So long the head was.
    pub length: usize,
    /// Its body.
    pub body: Framing,
    /// The answer has no body.
    pub is_head: bool,
    /// It offers to speak another protocol from then on (RFC 9110, section 7.8).
    pub upgrades: bool,
    /// No other follows on the connection.
    pub last: bool,
}

/// An answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Answer {
    /// Its head, for the client.
    pub head: Vec<u8>,
    /// So long the head was.
    pub length: usize,
    /// Its body.
    pub body: Framing,
    /// Another answer to the same request follows (RFC 9110, section 15.2).
    pub interim: bool,
    /// The connection speaks another protocol from now on (RFC 9110, section 15.2.2).
    pub switches: bool,
    /// No other follows on the connection.
    pub last: bool,
}

/// Why a request does not pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Refusal {
    /// It is none, or says two things at once.
    Malformed,
    /// Its head is too long.
    TooLong,
    /// It is for another host.
    Misdirected,
    /// A page from elsewhere sends it.
    Foreign,
    /// A way of framing that nobody here knows.
    Unknown,
    /// The device cannot be spoken to now.
    NoDevice,
}

impl Refusal {
    /// The answer, after which the connection ends.
    pub(crate) fn answer(self) -> Vec<u8> {
        let (status, why) = match self {
            Self::Malformed => ("400 Bad Request", "This is no request that can be passed on."),
            Self::TooLong => (
                "431 Request Header Fields Too Large",
                "The head of the request is too long.",
            ),
            Self::Misdirected => (
                "421 Misdirected Request",
                "This tunnel is not for that host. Use the address that rigmuster printed.",
            ),
            Self::Foreign => (
                "403 Forbidden",
                "A page from elsewhere sent this, and it may move a head: it was not passed on. Type the \
                 address that rigmuster printed.",
            ),
            Self::Unknown => ("501 Not Implemented", "The request is framed in an unknown way."),
            Self::NoDevice => (
                "502 Bad Gateway",
                "The device does not take the connection now. The terminal in which rigmuster runs says more.",
            ),
        };
        format!(
            "HTTP/1.1 {status}\r\nContent-Type: text/plain; charset=utf-8\r\nContent-Length: {}\r\n\
             Cache-Control: no-store\r\nConnection: close\r\n\r\n{why}\n",
            why.len() + 1
        )
        .into_bytes()
    }
}

/// Reads the head of a request that begins with `bytes`; `None` while it is not whole.
///
/// # Errors
/// It must not pass.
pub(crate) fn request(bytes: &[u8], names: &Names, door: Door) -> Result<Option<Request>, Refusal> {
    let mut headers = [httparse::EMPTY_HEADER; MOST];
    let mut parsed = httparse::Request::new(&mut headers);
    let length = match parsed.parse(bytes) {
        Ok(Status::Complete(length)) if length <= LONGEST => length,
        Ok(Status::Partial) if bytes.len() < LONGEST => return Ok(None),
        Ok(_) | Err(httparse::Error::TooManyHeaders) => return Err(Refusal::TooLong),
        Err(_) => return Err(Refusal::Malformed),
    };
    let (Some(method), Some(target), Some(minor)) = (parsed.method, parsed.path, parsed.version) else {
        return Err(Refusal::Malformed);
    };
    let fields = Fields(parsed.headers);
    let hosts: Vec<&str> = fields.texts("host").collect();
    match (hosts.as_slice(), minor) {
        ([host], _) if Names::is_door(host, door.local, 80) => {}
        ([_], _) => return Err(Refusal::Misdirected),
        // RFC 9112, section 3.2: only HTTP/1.0 may leave it out.
        ([], 0) => {}
        _ => return Err(Refusal::Malformed),
    }
    if fields.count("host") != hosts.len() {
        return Err(Refusal::Malformed);
    }
    // The absolute form of a target overrides Host (RFC 9112, section 3.2.2); the authority form is for
    // proxies only.
    let target = match target.as_bytes().first() {
        Some(b'/' | b'*') => target.to_owned(),
        _ => names.inward(target).ok_or(Refusal::Misdirected)?,
    };
    if method == "CONNECT" {
        return Err(Refusal::Misdirected);
    }
    let foreign = fields.texts("origin").any(|origin| !names.is_own_origin(origin))
        || fields.count("origin") != fields.texts("origin").count()
        || fields
            .texts("sec-fetch-site")
            .any(|site| site.eq_ignore_ascii_case("cross-site"));
    if foreign {
        return Err(Refusal::Foreign);
    }
    let body = match (fields.coding(), fields.length()) {
        (Coding::None, Length::None) => Framing::NONE,
        (Coding::None, Length::Bytes(n)) => Framing::Length(n),
        (Coding::Chunked, Length::None) => Framing::CHUNKED,
        // RFC 9112, section 6.1: both together are an attack.
        (Coding::Chunked | Coding::None, _) => return Err(Refusal::Malformed),
        (Coding::Other, _) => return Err(Refusal::Unknown),
    };
    let mut head = format!("{method} {target} HTTP/1.{minor}\r\n").into_bytes();
    for header in &*parsed.headers {
        let own = |text: Option<String>| text.map_or_else(|| header.value.to_vec(), String::into_bytes);
        let name = header.name.to_ascii_lowercase();
        let value = match name.as_str() {
            "host" => own(Some(authority(names, door))),
            "origin" | "referer" => own(text(header.value).and_then(|url| names.inward(url))),
            _ => header.value.to_vec(),
        };
        put(&mut head, header.name, &value);
    }
    head.extend_from_slice(b"\r\n");
    Ok(Some(Request {
        head,
        length,
        body,
        is_head: method == "HEAD",
        upgrades: fields.count("upgrade") > 0
            && fields
                .words("connection")
                .any(|w| w.eq_ignore_ascii_case("upgrade")),
        last: fields.is_last(minor),
    }))
}

/// Reads the head of an answer that begins with `bytes`; `None` while it is not whole.
///
/// # Errors
/// It is none.
pub(crate) fn answer(bytes: &[u8], names: &Names, is_head: bool) -> Result<Option<Answer>, Refusal> {
    let mut headers = [httparse::EMPTY_HEADER; MOST];
    let mut parsed = httparse::Response::new(&mut headers);
    // Devices are not always strict.
    let mut lenient = httparse::ParserConfig::default();
    lenient
        .allow_spaces_after_header_name_in_responses(true)
        .allow_obsolete_multiline_headers_in_responses(true)
        .ignore_invalid_headers_in_responses(true);
    let length = match lenient.parse_response(&mut parsed, bytes) {
        Ok(Status::Complete(length)) if length <= LONGEST => length,
        Ok(Status::Partial) if bytes.len() < LONGEST => return Ok(None),
        _ => return Err(Refusal::Malformed),
    };
    let (Some(status), Some(minor)) = (parsed.code, parsed.version) else {
        return Err(Refusal::Malformed);
    };
    let fields = Fields(parsed.headers);
    // RFC 9112, section 6.3.
    let bare = is_head || status < 200 || status == 204 || status == 304;
    let body = match (fields.coding(), fields.length()) {
        _ if bare => Framing::NONE,
        (Coding::Chunked, _) => Framing::CHUNKED,
        (Coding::None, Length::Bytes(n)) => Framing::Length(n),
        _ => Framing::Close,
    };
    let reason = parsed.reason.unwrap_or_default();
    let mut head = format!("HTTP/1.{minor} {status} {reason}\r\n").into_bytes();
    for header in &*parsed.headers {
        let leads = header.name.eq_ignore_ascii_case("location")
            || header.name.eq_ignore_ascii_case("content-location");
        let value = text(header.value)
            .filter(|_| leads)
            .and_then(|url| names.outward(url))
            .map_or_else(|| header.value.to_vec(), String::into_bytes);
        put(&mut head, header.name, &value);
    }
    head.extend_from_slice(b"\r\n");
    Ok(Some(Answer {
        head,
        length,
        body,
        interim: status < 200 && status != 101,
        switches: status == 101,
        last: body == Framing::Close || fields.is_last(minor),
    }))
}

/// The device's address as `Host` gives it.
fn authority(names: &Names, door: Door) -> String {
    match door.port {
        80 => names.device().to_string(),
        port => format!("{}:{port}", names.device()),
    }
}

fn put(head: &mut Vec<u8>, name: &str, value: &[u8]) {
    head.extend_from_slice(name.as_bytes());
    head.extend_from_slice(b": ");
    // A value folded over several lines (RFC 9112, section 5.2) is told in one.
    head.extend(
        value
            .iter()
            .map(|b| if matches!(b, b'\r' | b'\n') { b' ' } else { *b }),
    );
    head.extend_from_slice(b"\r\n");
}

fn text(value: &[u8]) -> Option<&str> {
    std::str::from_utf8(value).ok().map(str::trim)
}

/// How a body is coded for its way.
enum Coding {
    None,
    Chunked,
    Other,
}

/// How long a body is said to be.
enum Length {
    None,
    Bytes(u64),
    Unclear,
}

struct Fields<'a>(&'a [httparse::Header<'a>]);

impl Fields<'_> {
    fn count(&self, name: &str) -> usize {
        self.values(name).count()
    }

    fn values(&self, name: &str) -> impl Iterator<Item = &[u8]> {
        let named = move |h: &&httparse::Header<'_>| h.name.eq_ignore_ascii_case(name);
        self.0.iter().filter(named).map(|h| h.value)
    }

    /// Those that are text.
    fn texts(&self, name: &str) -> impl Iterator<Item = &str> {
        self.values(name).filter_map(text)
    }

    /// The words of a list.
    fn words(&self, name: &str) -> impl Iterator<Item = &str> {
        let lists = self.values(name).map(|v| text(v).unwrap_or("?"));
        lists.flat_map(|list| list.split(',')).map(str::trim)
    }

    fn coding(&self) -> Coding {
        let mut words = self.words("transfer-encoding");
        match (words.next(), words.next()) {
            (None, _) => Coding::None,
            (Some(word), None) if word.eq_ignore_ascii_case("chunked") => Coding::Chunked,
            _ => Coding::Other,
        }
    }

    fn length(&self) -> Length {
        let mut lengths = self.words("content-length").map(|word| {
            let digits = !word.is_empty() && word.bytes().all(|b| b.is_ascii_digit());
            word.parse::<u64>().ok().filter(|_| digits)
        });
        match lengths.next() {
            None => Length::None,
            // The same number twice is one (RFC 9110, section 8.6).
            Some(Some(n)) if lengths.all(|other| other == Some(n)) => Length::Bytes(n),
            Some(_) => Length::Unclear,
        }
    }

    /// Whether the connection ends after this message (RFC 9112, section 9.3).
    fn is_last(&self, minor: u8) -> bool {
        let says = |word: &str| self.words("connection").any(|w| w.eq_ignore_ascii_case(word));
        says("close") || minor == 0 && !says("keep-alive")
    }
}

#[cfg(test)]
#[path = "head_tests.rs"]
mod tests;

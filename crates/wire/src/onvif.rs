//! The ONVIF device service: ONVIF Core Specification (`GetSystemDateAndTime` and `GetHostname`, which
//! need no login), SOAP 1.2 part 1 section 5 (envelope), SOAP 1.1 for older answers.
//!
//! Below it stands what changes a device's address: [`Question`] makes whole requests, an [`Ear`] listens for
//! the [`Answer`], and the `read_` functions say what it tells or why it was refused ([`Refusal`]). No I/O, no
//! clock and no chance of its own: all three are given in.
//!
//! Whether an answer is SOAP is only judged, without an XML reader: the search is bounded by the bytes
//! given. Its one text that is wanted is read with `quick-xml`; a document type is refused.

use core::net::Ipv4Addr;

use quick_xml::NsReader;
use quick_xml::escape::resolve_xml_entity;
use quick_xml::events::Event;
use quick_xml::name::{Namespace, ResolveResult};
use vocab::Text;

use crate::head::Head;
use crate::http::{self, Sought};

mod answer;
mod asked;
mod clock;
mod digest;
mod fault;
mod network;
mod question;
mod secret;
mod service;
mod token;
mod tree;

pub use answer::{Answer, Ear, MAX_ANSWER, Refusal};
pub(crate) use asked::{Asked, Tried};
pub use clock::{DeviceTime, read_clock};
pub use digest::Challenge;
pub use fault::{Fault, Wrong};
pub use network::{Demand, Interface, NoChoice, Token, choose, read_demand, read_gateways, read_interfaces};
pub use question::{Pass, Question, Setting, read_gateway_set, read_needs_restart, read_restart};
pub use secret::{Draw, Login, Secret};
pub use service::{Place, ServicePath};

/// Where the service lives on every device (ONVIF Core Specification; only the port may differ).
pub const PATH: &str = "/onvif/device_service";
/// The envelope's namespace in SOAP 1.2 and in 1.1.
const NAMESPACES: [&str; 2] = [
    "http://www.w3.org/2003/05/soap-envelope",
    "http://schemas.xmlsoap.org/soap/envelope/",
];

/// The namespaces of the service and of the types in it (ONVIF Core).
const DEVICE: &str = "http://www.onvif.org/ver10/device/wsdl";
const SCHEMA: &str = "http://www.onvif.org/ver10/schema";
/// Elements inside each other, at most.
const MAX_DEPTH: usize = 16;

/// An element with nothing but text, which is escaped.
fn text(name: &str, text: &str) -> String {
    format!("<{name}>{}</{name}>", quick_xml::escape::escape(text))
}

/// Asks a device for its time: the lightest question that every device must answer without login.
pub fn time_request(host: Ipv4Addr, port: u16) -> Vec<u8> {
    request(host, port, "GetSystemDateAndTime")
}

/// Asks a device for the name that was given to it.
pub fn hostname_request(host: Ipv4Addr, port: u16) -> Vec<u8> {
    request(host, port, "GetHostname")
}

fn request(host: Ipv4Addr, port: u16, question: &str) -> Vec<u8> {
    let body = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\
         <s:Envelope xmlns:s=\"http://www.w3.org/2003/05/soap-envelope\"><s:Body>\
         <{question} xmlns=\"{DEVICE}\"/></s:Body></s:Envelope>"
    );
    format!(
        "POST {PATH} HTTP/1.1\r\nHost: {}\r\nUser-Agent: rigmuster\r\n\
         Content-Type: application/soap+xml; charset=utf-8\r\nContent-Length: {}\r\n\
         Connection: close\r\n\r\n{body}",
        http::authority(host, port),
        body.len()
    )
    .into_bytes()
}

/// The name in an answer to [`hostname_request`].
pub fn host_name(head: &Head<'_>) -> Sought {
    let (body, all) = http::body(head);
    // A note such as "100 Continue" comes before the answer itself.
    Sought::of(read_name(&body), all || head.status >= 300)
}

/// The text of `Name` inside `HostnameInformation`, each in its namespace, as far as the document
/// came and makes sense.
fn read_name(body: &[u8]) -> Option<Text> {
    let mut reader = NsReader::from_str(core::str::from_utf8(body).ok()?);
    let mut path: Vec<bool> = Vec::new();
    let mut name = String::new();
    loop {
        let inside = || path.len() >= 2 && path.ends_with(&[true, true]);
        match reader.read_resolved_event().ok()? {
            (ResolveResult::Bound(Namespace(space)), Event::Start(tag)) => {
                let wanted = match path.last() {
                    Some(true) => "Name",
                    _ => "HostnameInformation",
                };
                let known = space == DEVICE || space == SCHEMA;
                let local = tag.local_name();
                path.push(known && local.as_ref() == wanted);
            }
            (_, Event::Start(_)) => path.push(false),
            (_, Event::End(_)) => {
                if inside() {
                    return Some(Text::clean(&name)).filter(|n| !n.is_empty());
                }
                path.pop();
            }
            (_, Event::Text(text)) if inside() => name.push_str(&text),
            (_, Event::GeneralRef(entity)) if inside() => match entity.resolve_char_ref().ok()? {
                Some(c) => name.push(c),
                None => name.push_str(resolve_xml_entity(&entity)?),
            },
            (_, Event::DocType(_) | Event::Eof) => return None,
            _ => {}
        }
        if path.len() > MAX_DEPTH {
            return None;
        }
    }
}

/// Whether a response carries SOAP, a fault included: `None` while more of its body may come.
pub fn is_soap(head: &Head<'_>) -> Option<bool> {
    let (body, all) = http::body(head);
    if has_envelope(&body) {
        return Some(true);
    }
    all.then_some(false)
}

/// Whether a start tag `Envelope`, with or without a prefix, names a SOAP namespace.
fn has_envelope(body: &[u8]) -> bool {
    body.split(|b| *b == b'<').skip(1).any(|tag| {
        // The last piece may lack its end: then it is not a tag yet.
        let Some(end) = tag.iter().position(|b| *b == b'>') else {
            return false;
        };
        let tag = String::from_utf8_lossy(tag.get(..end).unwrap_or_default());
        let name = tag
            .split(|c: char| c.is_ascii_whitespace() || c == '/')
            .next()
            .unwrap_or_default();
        let local = name.split_once(':').map_or(name, |(_, local)| local);
        local == "Envelope" && NAMESPACES.iter().any(|ns| tag.contains(ns))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn judge(fields: &str, body: &str) -> Option<bool> {
        let text = format!(
            "HTTP/1.1 200 OK\r\n{fields}Content-Length: {}\r\n\r\n{body}",
            body.len()
        );
        is_soap(&http::parse(text.as_bytes()).unwrap())
    }

    #[test]
    fn a_request_is_as_long_as_it_says() {
        let text = String::from_utf8(time_request(Ipv4Addr::LOCALHOST, 80)).unwrap();
        let (head, body) = text.split_once("\r\n\r\n").unwrap();
        assert!(head.contains(&format!("Content-Length: {}\r\n", body.len())));
        assert!(has_envelope(body.as_bytes()));
    }

    #[test]
    fn a_name_is_read_in_its_place_and_nowhere_else() {
        let named = |fields: &str, body: &str| {
            let text = format!("HTTP/1.1 200 OK\r\n{fields}\r\n{body}");
            host_name(&http::parse(text.as_bytes()).unwrap())
        };
        let found = |t: &str| Sought::Found(Text::clean(t));
        // As the ONVIF Core Specification's schema orders it; prefixes are free.
        let good = "<E:Envelope xmlns:E='http://www.w3.org/2003/05/soap-envelope' xmlns:d='http://www.onvif.org/ver10/device/wsdl' \
             xmlns:t='http://www.onvif.org/ver10/schema'><E:Body><d:GetHostnameResponse><d:HostnameInformation>\
             <t:FromDHCP>false</t:FromDHCP><t:Name>organ&#45;loft &amp;\u{9b}1</t:Name></d:HostnameInformation>";
        assert_eq!(named("", good), found("organ-loft &1"));
        let cut = &good[..good.len() - 60];
        assert_eq!(named("", cut), Sought::NotYet, "more may come");
        assert_eq!(
            named(&format!("Content-Length: {}\r\n", cut.len()), cut),
            Sought::Nowhere
        );
        for odd in [
            good.replace("ver10/schema", "ver99/schema"),
            good.replace("<t:Name>", "<t:Names><t:Name>"),
            good.replace("HostnameInformation", "Other"),
            format!("<!DOCTYPE x [<!ENTITY a 'b'>]>{good}"),
            format!("{}{good}", "<a>".repeat(20)),
        ] {
            let length = format!("Content-Length: {}\r\n", odd.len());
            assert_eq!(named(&length, &odd), Sought::Nowhere, "{odd}");
        }
    }

    #[test]
    fn envelopes_and_faults_count_and_pages_do_not() {
        let v12 = r#"<?xml version="1.0"?><SOAP-ENV:Envelope xmlns:SOAP-ENV="http://www.w3.org/2003/05/soap-envelope"><SOAP-ENV:Body/>"#;
        assert_eq!(judge("", v12), Some(true));
        let v11 =
            "<Envelope\n xmlns='http://schemas.xmlsoap.org/soap/envelope/'><Body><Fault/></Body></Envelope>";
        assert_eq!(judge("", v11), Some(true));
        for page in [
            "<html>http://www.w3.org/2003/05/soap-envelope Envelope</html>",
            "<Envelope xmlns='urn:other'/>",
            "&lt;s:Envelope xmlns:s='http://www.w3.org/2003/05/soap-envelope'&gt;",
            "<EnvelopeX xmlns='http://www.w3.org/2003/05/soap-envelope'>",
            "",
        ] {
            assert_eq!(judge("", page), Some(false), "{page}");
        }
    }

    #[test]
    fn an_envelope_may_be_cut_by_chunks() {
        let text = "HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n\
            9\r\n<s:Envelo\r\n39\r\npe xmlns:s='http://www.w3.org/2003/05/soap-envelope'><b/>\r\n0\r\n\r\n";
        assert_eq!(is_soap(&http::parse(text.as_bytes()).unwrap()), Some(true));
        let part = &text.as_bytes()[..60];
        assert_eq!(is_soap(&http::parse(part).unwrap()), None);
    }
}

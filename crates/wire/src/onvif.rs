//! The ONVIF device service: ONVIF Core Specification (`GetSystemDateAndTime`, which needs no login),
//! SOAP 1.2 part 1 section 5 (envelope), SOAP 1.1 for older answers.
//!
//! No XML reader: an answer is only judged, not read. The search is bounded by the bytes given.

use core::net::Ipv4Addr;

use crate::head::Head;
use crate::http;

/// Where the service lives on a device (ONVIF Core).
pub const PATH: &str = "/onvif/device_service";
/// The envelope's namespace in SOAP 1.2 and in 1.1.
const NAMESPACES: [&str; 2] = [
    "http://www.w3.org/2003/05/soap-envelope",
    "http://schemas.xmlsoap.org/soap/envelope/",
];

/// Asks a device for its time: the lightest question that every device must answer without login.
pub fn time_request(host: Ipv4Addr, port: u16) -> Vec<u8> {
    let body = concat!(
        r#"<?xml version="1.0" encoding="UTF-8"?>"#,
        r#"<s:Envelope xmlns:s="http://www.w3.org/2003/05/soap-envelope"><s:Body>"#,
        r#"<GetSystemDateAndTime xmlns="http://www.onvif.org/ver10/device/wsdl"/>"#,
        "</s:Body></s:Envelope>"
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

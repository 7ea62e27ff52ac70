//! The other side of the control ports: what a device answers. For the simulated venue and for tests.
//!
//! Nothing here is used to read what comes off a wire.

pub mod camera;
pub mod device;
mod device_words;
pub mod head;

use vocab::{ControlPort, ControlWord, Power};

use crate::head::end_of_head;
use crate::visca::{self, Control, Datagram, Inquiry, Kind, Refusal, Reply, Version};
use crate::{onvif, tls};

/// What a device is like at its control ports. Its words go out as they stand here, whatever is in them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Persona {
    /// Its codes in VISCA.
    pub version: Version,
    /// Whether it is on.
    pub power: Power,
    /// What its RTSP and HTTP servers call themselves; empty for nothing.
    pub server: String,
    /// The title of its front page; empty for a page without one.
    pub title: String,
    /// The name that was given to it, which ONVIF tells; empty for none.
    pub host_name: String,
    /// Whether RTSP and HTTP want a login first (401).
    pub login: bool,
    /// Whether the ONVIF device service stands on its HTTP ports.
    pub onvif: bool,
}

/// What the device sends back to `request`: one datagram, or all of a stream since the last answer.
/// `None` while a stream's request is unfinished, and where a device would keep silent.
pub fn answer(port: ControlPort, persona: &Persona, request: &[u8]) -> Option<Vec<u8>> {
    match port.word {
        ControlWord::ViscaUdp => headered(persona, request),
        ControlWord::ViscaRawUdp => bare(persona, request),
        ControlWord::ViscaTcp => stream(persona, request),
        ControlWord::Rtsp => rtsp(persona, request),
        ControlWord::Http | ControlWord::Onvif => http(persona, request),
        ControlWord::Https => tls::Record::parse(request)
            .ok()
            .map(|_| tls::HANDSHAKE_FAILURE.to_vec()),
        ControlWord::Tcp => None,
    }
}

fn headered(persona: &Persona, request: &[u8]) -> Option<Vec<u8>> {
    let asked = Datagram::parse(request).ok()?;
    let reply = |kind, payload: &[u8]| {
        Some(
            Datagram {
                kind,
                sequence: asked.sequence,
                payload,
            }
            .emit(),
        )
    };
    match asked.kind {
        Kind::Command | Kind::Inquiry => reply(Kind::Reply, &bare(persona, asked.payload)?),
        Kind::Control if asked.payload == Control::Reset.packet() => {
            reply(Kind::ControlReply, Control::Reset.packet())
        }
        Kind::Control | Kind::DeviceSetting => reply(Kind::ControlReply, Control::TypeError.packet()),
        Kind::Reply | Kind::ControlReply => None,
    }
}

/// The answer to one bare packet.
fn bare(persona: &Persona, packet: &[u8]) -> Option<Vec<u8>> {
    let reply = match packet {
        p if Inquiry::parse(p) == Some(Inquiry::Version) => Reply::Version(persona.version),
        p if Inquiry::parse(p) == Some(Inquiry::Power) => {
            Reply::Byte(visca::reply::power_byte(persona.power))
        }
        [0x81, .., 0xff] => Reply::Refused(Refusal::Syntax),
        _ => return None,
    };
    Some(reply.emit())
}

fn stream(persona: &Persona, mut request: &[u8]) -> Option<Vec<u8>> {
    let mut out = Vec::new();
    while let Ok(Some((packet, rest))) = visca::split(request) {
        out.extend(bare(persona, packet).unwrap_or_default());
        request = rest;
    }
    (!out.is_empty()).then_some(out)
}

fn rtsp(persona: &Persona, request: &[u8]) -> Option<Vec<u8>> {
    let (head, _) = request.split_at_checked(end_of_head(request)?)?;
    let head = String::from_utf8_lossy(head);
    let sequence: u32 = head
        .lines()
        .filter_map(|line| line.split_once(':'))
        .find(|(key, _)| key.trim().eq_ignore_ascii_case("cseq"))
        .and_then(|(_, value)| value.trim().parse().ok())
        .unwrap_or(0);
    let (status, field) = match head.split(' ').next() {
        _ if persona.login => ("401 Unauthorized", "WWW-Authenticate: Basic realm=\"device\""),
        Some("OPTIONS") => ("200 OK", "Public: OPTIONS, DESCRIBE, SETUP, TEARDOWN, PLAY"),
        _ => ("501 Not Implemented", "Public: OPTIONS"),
    };
    let server = server(persona);
    Some(format!("RTSP/1.0 {status}\r\nCSeq: {sequence}\r\n{field}\r\n{server}\r\n").into_bytes())
}

fn http(persona: &Persona, request: &[u8]) -> Option<Vec<u8>> {
    let (head, body) = request.split_at_checked(end_of_head(request)?)?;
    let head = String::from_utf8_lossy(head);
    let length: usize = head
        .lines()
        .filter_map(|line| line.split_once(':'))
        .find(|(key, _)| key.trim().eq_ignore_ascii_case("content-length"))
        .and_then(|(_, value)| value.trim().parse().ok())
        .unwrap_or(0);
    let body = body.get(..length)?;
    let mut words = head.split(' ');
    let method = words.next().unwrap_or_default();
    let (status, kind, page) = match (method, words.next()) {
        ("POST", Some(onvif::PATH)) if persona.onvif => {
            let (status, page) = soap(persona, body);
            (status, "application/soap+xml; charset=utf-8", page)
        }
        _ if persona.login => ("401 Unauthorized", "text/plain", "Log in first.\n".to_owned()),
        ("GET" | "HEAD", Some("/")) if !persona.title.is_empty() => ("200 OK", "text/html", page(persona)),
        ("GET" | "HEAD", Some("/")) => ("200 OK", "text/plain", "A simulated device.\n".to_owned()),
        _ => ("404 Not Found", "text/plain", "Nothing here.\n".to_owned()),
    };
    let login = if status.starts_with("401") {
        "WWW-Authenticate: Basic realm=\"device\"\r\n"
    } else {
        ""
    };
    let server = server(persona);
    let length = page.len();
    let page = if method == "HEAD" { "" } else { &page };
    Some(
        format!(
            "HTTP/1.1 {status}\r\n{server}{login}Content-Type: {kind}\r\nContent-Length: {length}\r\n\
             Connection: close\r\n\r\n{page}"
        )
        .into_bytes(),
    )
}

fn page(persona: &Persona) -> String {
    let title = quick_xml::escape::escape(&persona.title);
    format!(
        "<!DOCTYPE html><html><head><title>{title}</title></head><body>A simulated device.</body></html>\n"
    )
}

/// The service's answer: the time of a clock that was never set, its name, or a fault.
fn soap(persona: &Persona, request: &[u8]) -> (&'static str, String) {
    let asks = |what: &str| request.windows(what.len()).any(|w| w == what.as_bytes());
    let (status, inner) = if asks("GetSystemDateAndTime") {
        let inner = "<tds:GetSystemDateAndTimeResponse xmlns:tds=\"http://www.onvif.org/ver10/device/wsdl\" \
             xmlns:tt=\"http://www.onvif.org/ver10/schema\"><tds:SystemDateAndTime>\
             <tt:DateTimeType>Manual</tt:DateTimeType><tt:DaylightSavings>false</tt:DaylightSavings>\
             <tt:UTCDateTime><tt:Time><tt:Hour>0</tt:Hour><tt:Minute>0</tt:Minute><tt:Second>0</tt:Second></tt:Time>\
             <tt:Date><tt:Year>2000</tt:Year><tt:Month>1</tt:Month><tt:Day>1</tt:Day></tt:Date></tt:UTCDateTime>\
             </tds:SystemDateAndTime></tds:GetSystemDateAndTimeResponse>";
        ("200 OK", inner.to_owned())
    } else if asks("GetHostname") {
        let name = quick_xml::escape::escape(&persona.host_name);
        let name = if name.is_empty() {
            String::new()
        } else {
            format!("<tt:Name>{name}</tt:Name>")
        };
        let inner = format!(
            "<tds:GetHostnameResponse xmlns:tds=\"http://www.onvif.org/ver10/device/wsdl\" \
             xmlns:tt=\"http://www.onvif.org/ver10/schema\"><tds:HostnameInformation>\
             <tt:FromDHCP>false</tt:FromDHCP>{name}</tds:HostnameInformation></tds:GetHostnameResponse>"
        );
        ("200 OK", inner)
    } else {
        let inner = "<s:Fault><s:Code><s:Value>s:Sender</s:Value></s:Code>\
             <s:Reason><s:Text xml:lang=\"en\">Not done here</s:Text></s:Reason></s:Fault>";
        ("400 Bad Request", inner.to_owned())
    };
    let page = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\
         <s:Envelope xmlns:s=\"http://www.w3.org/2003/05/soap-envelope\"><s:Body>{inner}</s:Body></s:Envelope>"
    );
    (status, page)
}

fn server(persona: &Persona) -> String {
    if persona.server.is_empty() {
        String::new()
    } else {
        format!("Server: {}\r\n", persona.server)
    }
}

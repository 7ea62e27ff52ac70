//! WS-Discovery in both forms: the publication of April 2005, which ONVIF devices speak, and OASIS
//! WS-Discovery 1.1; SOAP 1.2 part 1 section 5 (envelope); ONVIF Core Specification, chapter on
//! device discovery (scopes).
//!
//! Read with `quick-xml`. Bytes, depth and lists are bounded; a document type, and with it every
//! entity of its own, is refused. Addresses in it are data: nobody is called because of them.

use core::net::Ipv4Addr;

use percent_encoding::percent_decode_str;
use quick_xml::NsReader;
use quick_xml::escape::resolve_xml_entity;
use quick_xml::events::Event;
use quick_xml::name::{Namespace, ResolveResult};
use vocab::{Mac, Name, NameSource, Text};

use crate::malformed::{Layer, Malformed, Reason};
use crate::onvif::{Place, ServicePath};
use crate::{Path, Udp};

/// The port that devices listen on (WS-Discovery section 2.4).
pub const PORT: u16 = 3702;
/// Our end of a probe, to which the answers come: any port of the dynamic range would do
/// (RFC 6335 section 6).
pub const OWN_PORT: u16 = 53_702;
/// The group (WS-Discovery section 2.4).
pub const GROUP: Ipv4Addr = Ipv4Addr::new(239, 255, 255, 250);
/// The group's hardware address (RFC 1112 section 6.4).
pub const GROUP_MAC: Mac = Mac::new([0x01, 0x00, 0x5e, 0x7f, 0xff, 0xfa]);
/// The longest message that is read; what does not fit a jumbo frame came in pieces anyway.
pub const MAX: usize = 16_384;
/// Elements inside each other, at most; the deepest place that is read is the sixth.
const MAX_DEPTH: usize = 16;
/// Devices kept of one message, and addresses kept of one device.
const MAX_KEPT: usize = 16;
/// Scopes looked at for one device.
const MAX_SCOPES: usize = 64;

const SOAP: &str = "http://www.w3.org/2003/05/soap-envelope";
/// The root of ONVIF's scopes.
const ONVIF: &str = "onvif://www.onvif.org/";

/// Types of ONVIF devices (ONVIF Core Specification, and Profile S from memory).
const VIDEO: [&str; 2] = ["NetworkVideoTransmitter", "NetworkVideoDisplay"];

/// Which of the two publications a message follows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Version {
    /// April 2005.
    April2005,
    /// OASIS 1.1, of 2009.
    Oasis11,
}

impl Version {
    /// Both.
    pub const ALL: [Self; 2] = [Self::April2005, Self::Oasis11];

    /// The namespace of its elements, and the beginning of its actions.
    pub(crate) const fn namespace(self) -> &'static str {
        match self {
            Self::April2005 => "http://schemas.xmlsoap.org/ws/2005/04/discovery",
            Self::Oasis11 => "http://docs.oasis-open.org/ws-dd/ns/discovery/2009/01",
        }
    }

    /// The namespace of the addressing that it uses.
    pub(crate) const fn addressing(self) -> &'static str {
        match self {
            Self::April2005 => "http://schemas.xmlsoap.org/ws/2004/08/addressing",
            Self::Oasis11 => "http://www.w3.org/2005/08/addressing",
        }
    }

    /// To whom multicast messages go.
    pub(crate) const fn everybody(self) -> &'static str {
        match self {
            Self::April2005 => "urn:schemas-xmlsoap-org:ws:2005:04:discovery",
            Self::Oasis11 => "urn:docs-oasis-open-org:ws-dd:ns:discovery:2009:01",
        }
    }
}

/// What a message is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// A device comes.
    Hello,
    /// A device goes.
    Bye,
    /// Who is there?
    Probe,
    /// An answer to that.
    ProbeMatches,
}

/// A message, as far as it is of use here.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// By which publication.
    pub version: Version,
    /// What it is for.
    pub kind: Kind,
    /// Its own number.
    pub id: Text,
    /// The devices that it tells of.
    pub devices: Vec<Device>,
}

/// A device as it tells of itself.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Device {
    /// Its name among the scopes.
    pub name: Option<Text>,
    /// Its hardware among the scopes.
    pub hardware: Option<Text>,
    /// Where it stands, among the scopes.
    pub location: Option<Text>,
    /// Its hardware address among the scopes.
    pub mac: Option<Mac>,
    /// Whether it is one of ONVIF: by its types, or by any scope.
    pub onvif: bool,
    /// Where it says that its service is, as far as it says so in numbers (`XAddrs`, `http` only); the path where
    /// it is one that can go into a request.
    pub places: Vec<(Ipv4Addr, u16, Option<ServicePath>)>,
}

impl Message {
    /// Reads a message. `None` if it is one of a kind that is not read here.
    ///
    /// # Errors
    /// [`Reason::Long`] beyond [`MAX`] bytes or too deep; [`Reason::Value`] for anything that is no
    /// XML, has a document type or an unknown entity, or is no SOAP 1.2 envelope.
    pub fn parse(bytes: &[u8]) -> Result<Option<Self>, Malformed> {
        if bytes.len() > MAX {
            return Err(Malformed::new(Layer::WsDiscovery, Reason::Long, MAX));
        }
        let text = core::str::from_utf8(bytes)
            .map_err(|e| Malformed::new(Layer::WsDiscovery, Reason::Value, e.valid_up_to()))?;
        let mut reader = NsReader::from_str(text);
        // A start tag without its own end is closed at once.
        reader.config_mut().expand_empty_elements = true;
        let mut state = State::default();
        loop {
            let at = usize::try_from(reader.buffer_position()).unwrap_or(MAX);
            let bad = |reason| Malformed::new(Layer::WsDiscovery, reason, at);
            let value = || bad(Reason::Value);
            match reader.read_resolved_event().map_err(|_| value())? {
                (namespace, Event::Start(tag)) => {
                    let local = tag.local_name();
                    let name = known(&namespace, local.as_ref());
                    if state.path.is_empty() && name != Some(Tag::Envelope) {
                        return Err(value());
                    }
                    if state.path.len() >= MAX_DEPTH {
                        return Err(bad(Reason::Long));
                    }
                    state.open(name);
                }
                (_, Event::End(_)) => state.close(),
                (_, Event::Text(text)) => state.add(&text),
                (_, Event::CData(text)) => state.add(&text),
                (_, Event::GeneralRef(entity)) => {
                    let plain = entity.resolve_char_ref().map_err(|_| value())?;
                    match plain {
                        Some(c) => state.add(c.encode_utf8(&mut [0; 4])),
                        None => state.add(resolve_xml_entity(&entity).ok_or_else(value)?),
                    }
                }
                (_, Event::DocType(_)) => return Err(value()),
                (_, Event::Eof) => {
                    return if state.done {
                        Ok(state.message())
                    } else {
                        Err(bad(Reason::Short))
                    };
                }
                (_, Event::Comment(_) | Event::Decl(_) | Event::PI(_) | Event::Empty(_)) => {}
            }
        }
    }

    /// What the host with this hardware calls itself in the message. A message that tells of several
    /// devices, or of one with another hardware address, speaks for others: then nothing.
    pub fn names_of(&self, mac: Mac) -> Vec<Name> {
        let [device] = self.devices.as_slice() else {
            return Vec::new();
        };
        if self.kind == Kind::Probe || device.mac.is_some_and(|m| m != mac) {
            return Vec::new();
        }
        let named = |text: &Option<Text>, source| text.clone().map(|text| Name { text, source });
        [
            named(&device.name, NameSource::WsDiscovery),
            named(&device.hardware, NameSource::Hardware),
            named(&device.location, NameSource::Location),
        ]
        .into_iter()
        .flatten()
        .collect()
    }

    /// The addresses at which the host with this hardware says that its services are: its own, if the
    /// message tells of no other.
    pub fn addresses_of(&self, mac: Mac) -> impl Iterator<Item = Ipv4Addr> {
        let own = self.own_device(mac).into_iter();
        own.flat_map(|device| device.places.iter().map(|(address, ..)| *address))
    }

    /// The one device that it tells of, if that tells of itself: not of several, and not with other
    /// hardware than `mac`.
    fn own_device(&self, mac: Mac) -> Option<&Device> {
        let speaks = matches!(self.kind, Kind::Hello | Kind::ProbeMatches);
        match self.devices.as_slice() {
            [device] if speaks && device.mac.is_none_or(|m| m == mac) => Some(device),
            _ => None,
        }
    }

    /// The port at which the host with this hardware and address has its ONVIF service, as it says, and
    /// whether it has one at all. Addresses of other hosts are nothing of its own.
    pub fn onvif_of(&self, mac: Mac, from: Ipv4Addr) -> (bool, Option<u16>) {
        let Some(device) = self.own_device(mac).filter(|device| device.onvif) else {
            return (false, None);
        };
        let place = device.places.iter().find(|(host, ..)| *host == from);
        (true, place.map(|(_, port, _)| *port))
    }

    /// All places at which the host with this hardware and address says that its ONVIF service is, in its own
    /// order. Those of other hosts are left out.
    pub fn services_of(&self, mac: Mac, from: Ipv4Addr) -> Vec<Place> {
        let own = self.own_device(mac).filter(|device| device.onvif);
        let places = own.into_iter().flat_map(|device| &device.places);
        let own = places.filter(|(host, ..)| *host == from);
        own.map(|(host, port, path)| Place {
            host: *host,
            port: *port,
            path: path.clone().unwrap_or_default(),
        })
        .collect()
    }
}

/// The host, port and path of an address such as `http://10.40.8.21:2000/onvif`, if it is in numbers.
fn place(url: &str) -> Option<(Ipv4Addr, u16, Option<ServicePath>)> {
    let (scheme, rest) = url.split_at_checked(7)?;
    if !scheme.eq_ignore_ascii_case("http://") {
        return None;
    }
    let (host, path) = rest.split_at(rest.find(['/', '?', '#']).unwrap_or(rest.len()));
    let (host, port) = host.split_once(':').unwrap_or((host, "80"));
    let port = port.parse().ok().filter(|port| *port != 0)?;
    Some((host.parse().ok()?, port, ServicePath::new(path)))
}

/// A question to all devices of this publication; `id` makes its number.
pub fn probe(version: Version, id: u128) -> Vec<u8> {
    envelope(version, "Probe", version.everybody(), id, None, "<d:Probe/>")
}

/// A whole frame to the group with `message`, from `source_port`: to it the answers come.
pub fn frame(from_mac: Mac, from: Ipv4Addr, source_port: u16, message: &[u8]) -> Vec<u8> {
    let path = Path {
        from_mac,
        from,
        to_mac: GROUP_MAC,
        to: GROUP,
    };
    Udp {
        source_port,
        destination_port: PORT,
        payload: message,
    }
    .frame(path)
}

/// A whole message with one body.
pub(crate) fn envelope(
    version: Version,
    action: &str,
    to: &str,
    id: u128,
    relates_to: Option<&str>,
    body: &str,
) -> Vec<u8> {
    let (d, a) = (version.namespace(), version.addressing());
    // A random number in the form of RFC 9562 section 5.4.
    let id = (id & !(0xf << 76) & !(0x3 << 62)) | (0x4 << 76) | (0x2 << 62);
    let hex = format!("{id:032x}");
    let part = |from: usize, to: usize| hex.get(from..to).unwrap_or_default();
    let uuid = [part(0, 8), part(8, 12), part(12, 16), part(16, 20), part(20, 32)].join("-");
    let relates = relates_to.map_or_else(String::new, |id| {
        format!("<a:RelatesTo>{}</a:RelatesTo>", quick_xml::escape::escape(id))
    });
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\
         <s:Envelope xmlns:s=\"{SOAP}\" xmlns:a=\"{a}\" xmlns:d=\"{d}\"><s:Header>\
         <a:Action>{d}/{action}</a:Action><a:MessageID>urn:uuid:{uuid}</a:MessageID>{relates}\
         <a:To>{to}</a:To></s:Header><s:Body>{body}</s:Body></s:Envelope>"
    )
    .into_bytes()
}

/// Elements that matter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Tag {
    Envelope,
    Header,
    Body,
    MessageId,
    Message(Version, Kind),
    ProbeMatch,
    Scopes,
    Types,
    XAddrs,
}

fn known(namespace: &ResolveResult<'_>, local: &str) -> Option<Tag> {
    let ResolveResult::Bound(Namespace(namespace)) = namespace else {
        return None;
    };
    let is = |text: &str| *namespace == text;
    if is(SOAP) {
        return match local {
            "Envelope" => Some(Tag::Envelope),
            "Header" => Some(Tag::Header),
            "Body" => Some(Tag::Body),
            _ => None,
        };
    }
    if Version::ALL.iter().any(|v| is(v.addressing())) {
        return (local == "MessageID").then_some(Tag::MessageId);
    }
    let version = Version::ALL.into_iter().find(|v| is(v.namespace()))?;
    Some(match local {
        "Hello" => Tag::Message(version, Kind::Hello),
        "Bye" => Tag::Message(version, Kind::Bye),
        "Probe" => Tag::Message(version, Kind::Probe),
        "ProbeMatches" => Tag::Message(version, Kind::ProbeMatches),
        "ProbeMatch" => Tag::ProbeMatch,
        "Scopes" => Tag::Scopes,
        "Types" => Tag::Types,
        "XAddrs" => Tag::XAddrs,
        _ => return None,
    })
}

/// Where the reading stands.
#[derive(Debug, Default)]
struct State {
    path: Vec<Option<Tag>>,
    /// The root element is closed.
    done: bool,
    found: Option<(Version, Kind)>,
    id: String,
    /// The list that is being read.
    text: String,
    devices: Vec<Device>,
}

impl State {
    fn open(&mut self, tag: Option<Tag>) {
        self.path.push(tag);
        match self.path.as_slice() {
            [_, Some(Tag::Body), Some(Tag::Message(version, kind))] => {
                self.found = self.found.or(Some((*version, *kind)));
                if matches!(kind, Kind::Hello | Kind::Bye) {
                    self.begin();
                }
            }
            [
                _,
                Some(Tag::Body),
                Some(Tag::Message(_, Kind::ProbeMatches)),
                Some(Tag::ProbeMatch),
            ] => {
                self.begin();
            }
            _ => {}
        }
    }

    fn begin(&mut self) {
        if self.devices.len() < MAX_KEPT {
            self.devices.push(Device::default());
        }
    }

    /// Of which list of a device the text here is part.
    fn list(&self) -> Option<Tag> {
        let (inside, last) = match self.path.as_slice() {
            [_, body, message, last] => ([*body, *message], last),
            [_, body, message, Some(Tag::ProbeMatch), last] => ([*body, *message], last),
            _ => return None,
        };
        let deep = self.path.len() == 5;
        let fair = match inside {
            [Some(Tag::Body), Some(Tag::Message(_, Kind::Hello | Kind::Bye))] => !deep,
            [Some(Tag::Body), Some(Tag::Message(_, Kind::ProbeMatches))] => deep,
            _ => false,
        };
        last.filter(|tag| fair && matches!(tag, Tag::Scopes | Tag::Types | Tag::XAddrs))
    }

    fn add(&mut self, text: &str) {
        if self.list().is_some() {
            self.text.push_str(text);
        } else if let [_, Some(Tag::Header), Some(Tag::MessageId)] = self.path.as_slice() {
            self.id.push_str(text);
        }
    }

    fn close(&mut self) {
        if let Some(list) = self.list() {
            let text = core::mem::take(&mut self.text);
            if let Some(device) = self.devices.last_mut() {
                match list {
                    Tag::Types => device.take_types(&text),
                    Tag::XAddrs => device.take_places(&text),
                    _ => device.take(&text),
                }
            }
        }
        self.path.pop();
        self.done |= self.path.is_empty();
    }

    fn message(self) -> Option<Message> {
        let (version, kind) = self.found?;
        Some(Message {
            version,
            kind,
            id: Text::clean(&self.id),
            devices: self.devices,
        })
    }
}

impl Device {
    /// Reads a list of types. Their prefixes stand for namespaces, which are not looked up: the types of
    /// ONVIF that are read have names of their own.
    fn take_types(&mut self, types: &str) {
        let names = types.split_ascii_whitespace().take(MAX_SCOPES);
        let mut local = names.map(|name| name.rsplit_once(':').map_or(name, |(_, local)| local));
        self.onvif |= local.any(|name| VIDEO.contains(&name));
    }

    /// Reads a list of addresses.
    fn take_places(&mut self, urls: &str) {
        let urls = urls.split_ascii_whitespace().take(MAX_KEPT);
        self.places.extend(urls.filter_map(place));
        self.places.truncate(MAX_KEPT);
    }

    /// Reads a list of scopes; the first of each sort counts.
    fn take(&mut self, scopes: &str) {
        for scope in scopes.split_ascii_whitespace().take(MAX_SCOPES) {
            let Some((root, rest)) = scope.split_at_checked(ONVIF.len()) else {
                continue;
            };
            let Some((sort, value)) = rest.split_once('/') else {
                continue;
            };
            if !root.eq_ignore_ascii_case(ONVIF) {
                continue;
            }
            self.onvif = true;
            let value = Text::clean_bytes(&percent_decode_str(value).collect::<Vec<u8>>());
            if value.is_empty() {
                continue;
            }
            match sort.to_ascii_lowercase().as_str() {
                "name" => self.name = self.name.take().or(Some(value)),
                "hardware" => self.hardware = self.hardware.take().or(Some(value)),
                "location" => self.location = self.location.take().or(Some(value)),
                // Common practice, no source: the standard's list has no such category.
                "mac" => self.mac = self.mac.or_else(|| value.as_str().parse().ok()),
                _ => {}
            }
        }
    }
}

#[cfg(test)]
#[path = "wsd_tests.rs"]
mod tests;

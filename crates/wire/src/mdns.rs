//! Multicast DNS: RFC 6762; services by it: RFC 6763; the message itself: RFC 1035 section 4.
//!
//! Read with `hickory-proto`, which follows a compressed name only backwards. What a message says is
//! kept as lists, each bounded; who is meant by it is told by [`Message::names_of`].

use core::net::{IpAddr, Ipv4Addr, Ipv6Addr};

use hickory_proto::op::{Header, Message as Dns, MessageType, OpCode, Query};
use hickory_proto::rr::{Name as DnsName, RecordType};
use hickory_proto::serialize::binary::{BinDecodable, BinDecoder, Restrict};
use vocab::{Mac, Name, NameSource, Text};

use crate::malformed::{Layer, Malformed, Reason};
use crate::{Ethernet, Ipv4, Ipv6, Udp, ethernet, ipv4, ipv6};

/// The port, at both ends (RFC 6762 section 5.2).
pub const PORT: u16 = 5353;
/// The group (RFC 6762 section 3). Routers never pass it on.
pub const GROUP: Ipv4Addr = Ipv4Addr::new(224, 0, 0, 251);
/// The same over IPv6, on this link only.
pub const GROUP6: Ipv6Addr = Ipv6Addr::new(0xff02, 0, 0, 0, 0, 0, 0, 0xfb);
/// The group's hardware address (RFC 1112 section 6.4).
pub const GROUP_MAC: Mac = Mac::new([0x01, 0x00, 0x5e, 0x00, 0x00, 0xfb]);
/// The longest message that is read (RFC 6762 section 17, headers included there).
pub const MAX: usize = 9_000;
/// Hops that a message may go (RFC 6762 section 11).
const TTL: u8 = 255;
/// What is kept of each sort.
const MAX_KEPT: usize = 64;
/// Asked for its types, a network answers for this name (RFC 6763 section 9).
const TYPES: [&str; 4] = ["_services", "_dns-sd", "_udp", "local"];
/// The class of all records here (RFC 1035 section 3.2.4).
const INTERNET: u16 = 1;
/// The only domain of multicast DNS that is read.
const DOMAIN: &str = "local";

/// A type of service, such as `_http._tcp`, in lower case.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ServiceType(String);

impl ServiceType {
    /// A type by its words, such as `_rtsp._tcp`; `None` where RFC 6763 section 7 allows no such
    /// type, its first word being longer than 15 characters included (RFC 6335 section 5.1).
    pub fn new(text: &str) -> Option<Self> {
        let (what, transport) = text.split_once('.')?;
        let name = what.strip_prefix('_')?;
        let fair =
            (1..=15).contains(&name.len()) && name.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-');
        let transport = transport.to_ascii_lowercase();
        (fair && (transport == "_tcp" || transport == "_udp"))
            .then(|| Self(format!("{}.{transport}", what.to_ascii_lowercase())))
    }

    /// The words, with a full stop between them.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// Its full name in the domain of multicast DNS.
    fn name(&self) -> Option<DnsName> {
        DnsName::from_ascii(format!("{}.{DOMAIN}.", self.0)).ok()
    }
}

/// What a query wants to know, as far as devices are asked for it here.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Question {
    /// Which types of service are there? (RFC 6763 section 9)
    Types,
    /// Who offers this type? (RFC 6763 section 4)
    Offers(ServiceType),
}

/// A service that somebody offers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Offer {
    /// Its name, meant for people.
    pub label: Text,
    /// Its type.
    pub kind: ServiceType,
    /// The host that it runs on, in lower case and without the domain, where the message says so.
    pub host: Option<Text>,
    /// Its port there.
    pub port: Option<u16>,
}

/// The name of a service, the host that it runs on, and its port there.
type RunsOn = (Vec<String>, Text, u16);

/// A message, as far as it is of use here.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Message {
    /// An answer or an announcement, not a query.
    pub response: bool,
    /// What a query asks.
    pub questions: Vec<Question>,
    /// Host names, without the domain, with their addresses.
    pub hosts: Vec<(Text, IpAddr)>,
    /// Types of service that somebody offers.
    pub types: Vec<ServiceType>,
    /// Services that somebody offers.
    pub offers: Vec<Offer>,
}

impl Message {
    /// Reads a message.
    ///
    /// # Errors
    /// [`Reason::Long`] beyond [`MAX`] bytes, [`Reason::Value`] for anything that is no DNS message,
    /// names that loop included. The offset is 0: the library does not say where it gave up.
    pub fn parse(bytes: &[u8]) -> Result<Self, Malformed> {
        let bad = |reason| Malformed::new(Layer::Mdns, reason, 0);
        if bytes.len() > MAX {
            return Err(bad(Reason::Long));
        }
        let mut out = Self::default();
        let mut runs_on: Vec<RunsOn> = Vec::new();
        out.walk(bytes, &mut runs_on).ok_or(bad(Reason::Value))?;
        for offer in &mut out.offers {
            let is_it = |labels: &[String]| {
                labels.split_first().is_some_and(|(first, rest)| {
                    Text::clean(first)
                        .as_str()
                        .eq_ignore_ascii_case(offer.label.as_str())
                        && service_type(rest).as_ref() == Some(&offer.kind)
                })
            };
            if let Some((_, host, port)) = runs_on.iter().find(|(name, ..)| is_it(name)) {
                offer.host = Some(host.clone());
                offer.port = Some(*port);
            }
        }
        Ok(out)
    }

    /// Goes through a message record by record, because devices send some that are against the
    /// rules, such as an empty text record, and the rest counts all the same.
    fn walk(&mut self, bytes: &[u8], runs_on: &mut Vec<RunsOn>) -> Option<()> {
        let mut decoder = BinDecoder::new(bytes);
        let header = Header::read(&mut decoder).ok()?;
        // Messages with another opcode are to be ignored in silence (RFC 6762 section 18.3).
        if header.metadata.op_code != OpCode::Query {
            return Some(());
        }
        self.response = header.metadata.message_type == MessageType::Response;
        for _ in 0..header.counts.queries {
            let asked = Query::read(&mut decoder).ok()?;
            if !self.response && self.questions.len() < MAX_KEPT {
                self.questions.extend(question(&asked));
            }
        }
        // Records in a query are what its sender knows of others, or would like to be called.
        if !self.response {
            return Some(());
        }
        let counts = header.counts;
        let records = [counts.answers, counts.authorities, counts.additionals];
        for _ in 0..records.into_iter().map(usize::from).sum() {
            self.record(&mut decoder, runs_on)?;
        }
        Some(())
    }

    /// One record (RFC 1035 section 4.1.3).
    fn record(&mut self, decoder: &mut BinDecoder<'_>, runs_on: &mut Vec<RunsOn>) -> Option<()> {
        let owner = labels(&DnsName::read(decoder).ok()?);
        let kind = RecordType::from(number(decoder)?);
        // The top bit says that it replaces what was known (RFC 6762 section 10.2).
        let class = number(decoder)? & 0x7fff;
        // A lifetime of zero takes it back (RFC 6762 section 10.1).
        let holds = number(decoder)? | number(decoder)? > 0;
        let end = usize::from(number(decoder)?) + decoder.index();
        if holds && class == INTERNET {
            match kind {
                RecordType::A => {
                    let address =
                        Ipv4Addr::from((u32::from(number(decoder)?) << 16) | u32::from(number(decoder)?));
                    self.host(&owner, address.into());
                }
                RecordType::AAAA => {
                    let mut parts = [0; 8];
                    for part in &mut parts {
                        *part = number(decoder)?;
                    }
                    self.host(&owner, Ipv6Addr::from(parts).into());
                }
                RecordType::PTR => {
                    let target = labels(&DnsName::read(decoder).ok()?);
                    self.pointer(&owner, &target);
                }
                RecordType::SRV => {
                    // Priority and weight (RFC 2782) are for who would use it.
                    let [_, _, port] = [number(decoder)?, number(decoder)?, number(decoder)?];
                    let host = host_name(&labels(&DnsName::read(decoder).ok()?));
                    if let Some((label, rest)) = owner.split_first()
                        && let (Some(kind), Some(host)) = (service_type(rest), host)
                        && runs_on.len() < MAX_KEPT
                    {
                        self.offer(label, kind);
                        runs_on.push((owner, host, port));
                    }
                }
                _ => {}
            }
        }
        let rest = end.checked_sub(decoder.index())?;
        decoder.read_slice(rest).ok().map(|_| ())
    }

    fn host(&mut self, owner: &[String], address: IpAddr) {
        if let Some(host) = host_name(owner).filter(|_| self.hosts.len() < MAX_KEPT) {
            self.hosts.push((host, address));
        }
    }

    fn pointer(&mut self, owner: &[String], target: &[String]) {
        if is_types(owner) {
            let kind = service_type(target);
            let new = kind.filter(|k| !self.types.contains(k) && self.types.len() < MAX_KEPT);
            self.types.extend(new);
        } else if let (Some(kind), Some((label, rest))) = (service_type(owner), target.split_first())
            && service_type(rest).as_ref() == Some(&kind)
        {
            self.offer(label, kind);
        }
    }

    fn offer(&mut self, label: &str, kind: ServiceType) {
        let label = Text::clean(label);
        let known = self.offers.iter().any(|o| o.label == label && o.kind == kind);
        if !label.is_empty() && !known && self.offers.len() < MAX_KEPT {
            self.offers.push(Offer {
                label,
                kind,
                host: None,
                port: None,
            });
        }
    }

    /// The address by which the message speaks of its sender, whose frame came from `mac` and whose
    /// packet from `from`: that, unless it holds no IPv4 address at all, but an IPv6 address made from
    /// that hardware (RFC 4291 appendix A). Whoever passes it on has other hardware.
    pub fn speaker(&self, from: Ipv4Addr, mac: Mac) -> IpAddr {
        let made = self.hosts.iter().find_map(|(_, address)| match address {
            IpAddr::V6(six) if ipv6::is_from_hardware(*six, mac) => Some(*address),
            _ => None,
        });
        let no_v4 = self.hosts.iter().all(|(_, address)| address.is_ipv6());
        made.filter(|_| no_v4).unwrap_or(from.into())
    }

    /// The IPv4 addresses that the host at `from`, which sent the message, gives itself in it, each once.
    pub fn addresses_of(&self, from: impl Into<IpAddr>) -> Vec<Ipv4Addr> {
        let from = from.into();
        let mut out = Vec::new();
        for (host, address) in &self.hosts {
            let own = self.own_hosts(from).any(|own| same(own, host));
            if let IpAddr::V4(address) = address
                && self.speaks_for(from)
                && own
                && !out.contains(address)
            {
                out.push(*address);
            }
        }
        out
    }

    /// What the host at `from`, which sent the message, calls itself in it. What is said of other
    /// hosts is left out: proxies and reflectors speak for those.
    pub fn names_of(&self, from: impl Into<IpAddr>) -> Vec<Name> {
        let from = from.into();
        let mut out: Vec<Name> = Vec::new();
        let named = |text: &Text, source| Name {
            text: text.clone(),
            source,
        };
        let all = self
            .own_hosts(from)
            .map(|host| named(host, NameSource::Mdns))
            .chain(self.offers_of(from).map(|o| named(&o.label, NameSource::DnsSd)));
        for name in all {
            if self.speaks_for(from) && !out.iter().any(|n| n.text == name.text) {
                out.push(name);
            }
        }
        out
    }

    /// What that host offers.
    pub fn offers_of(&self, from: impl Into<IpAddr>) -> impl Iterator<Item = &Offer> {
        let from = from.into();
        self.offers.iter().filter(move |o| {
            self.speaks_for(from)
                && match &o.host {
                    Some(host) => self.own_hosts(from).any(|own| same(own, host)),
                    // A short answer without the rest: who else would send it?
                    None => true,
                }
        })
    }

    fn own_hosts(&self, from: IpAddr) -> impl Iterator<Item = &Text> {
        let own = self.hosts.iter().filter(move |(_, a)| *a == from);
        own.map(|(host, _)| host)
    }

    /// Whether it says anything of the host at `from`.
    fn speaks_for(&self, from: IpAddr) -> bool {
        self.response && (self.hosts.is_empty() || self.own_hosts(from).next().is_some())
    }
}

/// A query with these questions, to be answered to everybody ("QM", RFC 6762 section 5.4).
pub fn query(questions: &[Question]) -> Vec<u8> {
    // The number is zero in multicast queries (RFC 6762 section 18.1).
    let mut dns = Dns::new(0, MessageType::Query, OpCode::Query);
    dns.add_queries(questions.iter().filter_map(|question| {
        let name = match question {
            Question::Types => DnsName::from_ascii(format!("{}.", TYPES.join("."))).ok(),
            Question::Offers(kind) => kind.name(),
        };
        Some(Query::query(name?, RecordType::PTR))
    }));
    // Only names that are too long fail to be written, and those made none above.
    dns.to_vec().unwrap_or_default()
}

/// A whole frame to the group with `message`, from a host's own port 5353.
pub fn frame(from_mac: Mac, from: Ipv4Addr, message: &[u8]) -> Vec<u8> {
    let udp = Udp {
        source_port: PORT,
        destination_port: PORT,
        payload: message,
    }
    .emit(from, GROUP);
    let packet = Ipv4 {
        ttl: TTL,
        ..Ipv4::new(from, GROUP, ipv4::UDP, &udp)
    }
    .emit();
    Ethernet {
        destination: GROUP_MAC,
        source: from_mac,
        vlan: None,
        ethertype: ethernet::IPV4,
        payload: &packet,
    }
    .emit()
}

/// The same over IPv6.
pub fn frame6(from_mac: Mac, from: Ipv6Addr, message: &[u8]) -> Vec<u8> {
    let udp = Udp {
        source_port: PORT,
        destination_port: PORT,
        payload: message,
    }
    .emit6(from, GROUP6);
    Ipv6 {
        source: from,
        destination: GROUP6,
        next: ipv4::UDP,
        hop_limit: TTL,
        payload: &udp,
    }
    .frame(from_mac, ipv6::group_mac(GROUP6))
}

/// Names are the same whatever the case of their letters (RFC 6762 section 16).
fn same(a: &Text, b: &Text) -> bool {
    a.as_str().eq_ignore_ascii_case(b.as_str())
}

fn number(decoder: &mut BinDecoder<'_>) -> Option<u16> {
    // Whatever it is, nothing in it is trusted by itself.
    decoder.read_u16().ok().map(Restrict::unverified)
}

fn question(query: &Query) -> Option<Question> {
    if !matches!(query.query_type(), RecordType::PTR | RecordType::ANY) {
        return None;
    }
    let labels = labels(query.name());
    if is_types(&labels) {
        Some(Question::Types)
    } else {
        service_type(&labels).map(Question::Offers)
    }
}

/// The labels as text; whatever is no UTF-8 in them is replaced.
fn labels(name: &DnsName) -> Vec<String> {
    name.iter()
        .map(|l| String::from_utf8_lossy(l).into_owned())
        .collect()
}

fn is_types(labels: &[String]) -> bool {
    labels.len() == TYPES.len() && labels.iter().zip(TYPES).all(|(a, b)| a.eq_ignore_ascii_case(b))
}

/// The type that `_http._tcp.local` stands for.
fn service_type(labels: &[String]) -> Option<ServiceType> {
    let [what, transport, domain] = labels else {
        return None;
    };
    let kind = ServiceType::new(&format!("{what}.{transport}"))?;
    domain.eq_ignore_ascii_case(DOMAIN).then_some(kind)
}

/// The name that `organ-loft.local` stands for.
fn host_name(labels: &[String]) -> Option<Text> {
    let [host, domain] = labels else {
        return None;
    };
    let host = Text::clean(host);
    (domain.eq_ignore_ascii_case(DOMAIN) && !host.is_empty()).then_some(host)
}

#[cfg(test)]
#[path = "mdns_tests.rs"]
mod tests;

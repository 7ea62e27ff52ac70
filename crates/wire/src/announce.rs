//! The other side of discovery: what devices say of themselves. For the simulated venue and for tests.
//!
//! Nothing here is used to read what comes off a wire.

use core::net::{IpAddr, Ipv4Addr};

use hickory_proto::op::{Message as Dns, MessageType, OpCode};
use hickory_proto::rr::rdata::{A, AAAA, PTR, SRV, TXT};
use hickory_proto::rr::{Name as DnsName, RData, Record};

use percent_encoding::{NON_ALPHANUMERIC, utf8_percent_encode};

use vocab::Mac;

use crate::checksum::checksum;
use crate::mdns::ServiceType;
use crate::wsd::{self, Version};
use crate::{Ethernet, Ipv4, ethernet, ipv4};

/// Seconds that records with a host's name hold (RFC 6762 section 10).
const HOST_TTL: u32 = 120;
/// Seconds that other records hold (RFC 6762 section 10).
const OTHER_TTL: u32 = 4_500;

/// A device and one name for all its services.
#[derive(Debug, Clone, Copy)]
pub struct Device<'a> {
    /// What it calls itself, for people: at most 63 bytes (RFC 1035 section 3.1), the rest is left out.
    pub name: &'a str,
    /// Where it is.
    pub address: IpAddr,
    /// What it offers.
    pub services: &'a [(ServiceType, u16)],
    /// At which port its ONVIF service is.
    pub onvif: u16,
}

/// A query of IGMP version 2 to everybody (RFC 2236 section 2), as the router at `from` sends it.
pub fn group_query(mac: Mac, from: Ipv4Addr) -> Vec<u8> {
    let mut query = [0x11, 100, 0, 0, 0, 0, 0, 0];
    let [high, low] = checksum(&query).to_be_bytes();
    (query[2], query[3]) = (high, low);
    let packet = Ipv4 {
        ttl: 1,
        ..Ipv4::new(from, Ipv4Addr::new(224, 0, 0, 1), ipv4::IGMP, &query)
    };
    let head = Ethernet {
        destination: Mac::new([0x01, 0x00, 0x5e, 0, 0, 1]),
        source: mac,
        vlan: None,
        ethertype: ethernet::IPV4,
        payload: &packet.emit(),
    };
    head.emit()
}

impl Device<'_> {
    /// Its host name: the name in lower case with hyphens.
    fn host(&self) -> Option<DnsName> {
        let host: String = self
            .name
            .chars()
            .map(|c| {
                if c.is_ascii_alphanumeric() {
                    c.to_ascii_lowercase()
                } else {
                    '-'
                }
            })
            .take(63)
            .collect();
        DnsName::from_labels([host.as_bytes(), b"local"]).ok()
    }

    /// An announcement, or an answer to whoever asked: address, and each service in full. Empty
    /// where the name makes none.
    pub fn mdns(&self) -> Vec<u8> {
        self.records().map_or_else(Vec::new, |records| {
            let mut dns = Dns::new(0, MessageType::Response, OpCode::Query);
            dns.metadata.authoritative = true;
            dns.add_answers(records);
            dns.to_vec().unwrap_or_default()
        })
    }

    fn records(&self) -> Option<Vec<Record>> {
        let host = self.host()?;
        let unique = |mut record: Record| {
            record.mdns_cache_flush = true;
            record
        };
        let mut end = self.name.len().min(63);
        while !self.name.is_char_boundary(end) {
            end -= 1;
        }
        let label = self.name.get(..end)?;
        let mut out = vec![unique(Record::from_rdata(
            host.clone(),
            HOST_TTL,
            match self.address {
                IpAddr::V4(address) => RData::A(A(address)),
                IpAddr::V6(address) => RData::AAAA(AAAA(address)),
            },
        ))];
        for (kind, port) in self.services {
            let (what, transport) = kind.as_str().split_once('.')?;
            let of_type = DnsName::from_labels([what.as_bytes(), transport.as_bytes(), b"local"]).ok()?;
            let labels = [label.as_bytes(), what.as_bytes(), transport.as_bytes(), b"local"];
            let instance = DnsName::from_labels(labels).ok()?;
            let types = DnsName::from_ascii("_services._dns-sd._udp.local.").ok()?;
            out.push(Record::from_rdata(
                types,
                OTHER_TTL,
                RData::PTR(PTR(of_type.clone())),
            ));
            out.push(Record::from_rdata(
                of_type,
                OTHER_TTL,
                RData::PTR(PTR(instance.clone())),
            ));
            let service = SRV::new(0, 0, *port, host.clone());
            out.push(unique(Record::from_rdata(
                instance.clone(),
                HOST_TTL,
                RData::SRV(service),
            )));
            // A text record is never left out, and holds at least one empty string (RFC 6763 section 6.1).
            let text = TXT::new(vec![String::new()]);
            out.push(unique(Record::from_rdata(instance, OTHER_TTL, RData::TXT(text))));
        }
        Some(out)
    }

    /// A WS-Discovery Hello; `id` makes its number.
    pub fn hello(&self, version: Version, id: u128) -> Vec<u8> {
        let body = format!("<d:Hello>{}</d:Hello>", self.parts());
        wsd::envelope(version, "Hello", version.everybody(), id, None, &body)
    }

    /// The answer to a probe with the number `relates_to`.
    pub fn probe_matches(&self, version: Version, id: u128, relates_to: &str) -> Vec<u8> {
        let match_ = format!("<d:ProbeMatch>{}</d:ProbeMatch>", self.parts());
        let body = format!("<d:ProbeMatches>{match_}</d:ProbeMatches>");
        let to = format!("{}/anonymous", version.addressing());
        wsd::envelope(version, "ProbeMatches", &to, id, Some(relates_to), &body)
    }

    fn parts(&self) -> String {
        let name = utf8_percent_encode(self.name, NON_ALPHANUMERIC);
        let (address, onvif) = (self.address, self.onvif);
        let number = match address {
            IpAddr::V4(address) => u64::from(u32::from(address)),
            IpAddr::V6(address) => u64::from(address.octets()[15]),
        };
        format!(
            "<a:EndpointReference><a:Address>urn:uuid:00000000-0000-4000-8000-{number:012x}</a:Address></a:EndpointReference>\
             <d:Types xmlns:n=\"http://www.onvif.org/ver10/network/wsdl\">n:NetworkVideoTransmitter</d:Types>\
             <d:Scopes>onvif://www.onvif.org/type/video_encoder onvif://www.onvif.org/name/{name}</d:Scopes>\
             <d:XAddrs>http://{address}:{onvif}/onvif/device_service</d:XAddrs><d:MetadataVersion>1</d:MetadataVersion>"
        )
    }
}

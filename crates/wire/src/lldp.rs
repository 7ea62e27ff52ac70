//! LLDP: IEEE 802.1AB clauses 8 (format) and 9.2.7.7 (what a receiver checks).
//!
//! A list of type, length and value. Three come first and in order (chassis, port, time to live),
//! an end closes the list; the padding of a short frame stands behind it.

use core::fmt::Write as _;
use core::net::Ipv4Addr;
use core::time::Duration;

use vocab::{Mac, Text};

use crate::malformed::{Layer, Malformed, Reason};
use crate::{Ethernet, ethernet};

/// The group that no switch passes on: the neighbour at the other end of the cable (clause 7.1).
pub const GROUP_MAC: Mac = Mac::new([0x01, 0x80, 0xc2, 0x00, 0x00, 0x0e]);
/// How long a switch's word holds by default: four times 30 s and one more (clause 9.2.5.23, from memory).
pub const USUAL_TTL: Duration = Duration::from_secs(121);
/// Entries looked at: a frame of 1,500 bytes holds more only if most are empty.
const MAX_ENTRIES: usize = 128;
/// Bytes of an identifier (clauses 8.5.2.2 and 8.5.3.2: 1 to 255).
const MAX_ID: usize = 255;

// Types of entry (clause 8.4.1, table 8-1).
const END: u8 = 0;
const CHASSIS: u8 = 1;
const PORT: u8 = 2;
const TIME_TO_LIVE: u8 = 3;
const PORT_DESCRIPTION: u8 = 4;
const NAME: u8 = 5;
const CAPABILITIES: u8 = 7;
const MANAGEMENT: u8 = 8;

/// Capabilities of a device that passes frames on (clause 8.5.8.1, table 8-4): repeater, bridge,
/// access point, router.
const PASSES_ON: u16 = 0x02 | 0x04 | 0x08 | 0x10;
/// Address family of IPv4 (IANA's address family numbers).
const FAMILY_IPV4: u8 = 1;

/// A frame's content, as far as it is of use here.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// What the device is known by.
    pub chassis: Id,
    /// What its port is known by.
    pub port: Id,
    /// How long it holds; zero takes it back.
    pub ttl: Duration,
    /// What its port is called.
    pub port_description: Option<Text>,
    /// What it is called.
    pub name: Option<Text>,
    /// Whether it passes frames on, as a switch does; `None` where it does not say.
    pub passes_on: Option<bool>,
    /// Where it is managed.
    pub address: Option<Ipv4Addr>,
}

/// What a device or a port is known by.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Id {
    /// A hardware address.
    Mac(Mac),
    /// An IPv4 address.
    Address(Ipv4Addr),
    /// A name or number that somebody gave, or other bytes in hexadecimal.
    Text(Text),
}

impl Id {
    /// It in words.
    pub fn to_text(&self) -> Text {
        match self {
            Self::Mac(mac) => Text::clean(&mac.to_string()),
            Self::Address(address) => Text::clean(&address.to_string()),
            Self::Text(text) => text.clone(),
        }
    }

    /// Reads a subtype and its value. `mac` and `network` are the numbers of those subtypes.
    fn parse(value: &[u8], mac: u8, network: u8) -> Option<Self> {
        let (subtype, id) = value.split_first()?;
        if id.is_empty() || id.len() > MAX_ID {
            return None;
        }
        Some(match id {
            [a, b, c, d, e, f] if *subtype == mac => Self::Mac(Mac::new([*a, *b, *c, *d, *e, *f])),
            [FAMILY_IPV4, a, b, c, d] if *subtype == network => Self::Address(Ipv4Addr::new(*a, *b, *c, *d)),
            _ => Self::Text(named_or_hex(id)),
        })
    }
}

/// Text as it stands; other bytes, and text of which nothing can be seen, in hexadecimal.
fn named_or_hex(id: &[u8]) -> Text {
    let text = core::str::from_utf8(id).ok();
    let text = text.filter(|text| !text.chars().any(char::is_control));
    match text.map(Text::clean).filter(|text| !text.is_empty()) {
        Some(text) => text,
        None => Text::clean(&id.iter().fold(String::new(), |mut out, byte| {
            let _ = write!(out, "{byte:02x}");
            out
        })),
    }
}

impl Message {
    /// Reads what follows the Ethernet header. Entries after the first of their kind and of kinds
    /// that are not read here are passed over.
    ///
    /// # Errors
    /// [`Reason::Short`] if the bytes end inside an entry, [`Reason::Long`] for too many of them,
    /// [`Reason::Value`] unless the three that must come first do, and are sound.
    pub fn parse(bytes: &[u8]) -> Result<Self, Malformed> {
        let bad = |reason, at| Malformed::new(Layer::Lldp, reason, at);
        let mut entries = Entries { bytes, at: 0 };
        let mut must = |kind: u8| -> Result<&[u8], Malformed> {
            let at = entries.at;
            match entries.next()? {
                Some((found, value)) if found == kind => Ok(value),
                _ => Err(bad(Reason::Value, at)),
            }
        };
        let chassis = Id::parse(must(CHASSIS)?, 4, 5);
        let port = Id::parse(must(PORT)?, 3, 4);
        let ttl = must(TIME_TO_LIVE)?.first_chunk::<2>();
        let at = entries.at;
        let (Some(chassis), Some(port), Some(ttl)) = (chassis, port, ttl) else {
            return Err(bad(Reason::Value, at));
        };
        let mut out = Self {
            chassis,
            port,
            ttl: Duration::from_secs(u64::from(u16::from_be_bytes(*ttl))),
            port_description: None,
            name: None,
            passes_on: None,
            address: None,
        };
        for _ in 0..MAX_ENTRIES {
            let Some((kind, value)) = entries.next()? else {
                return Ok(out);
            };
            out.take(kind, value);
        }
        Err(bad(Reason::Long, entries.at))
    }

    fn take(&mut self, kind: u8, value: &[u8]) {
        let text = || Some(Text::clean_bytes(value)).filter(|t| !t.is_empty());
        match kind {
            PORT_DESCRIPTION => self.port_description = self.port_description.take().or_else(text),
            NAME => self.name = self.name.take().or_else(text),
            CAPABILITIES => {
                // What it can do, then what of that is switched on.
                if let [_, _, hi, lo, ..] = value {
                    let on = u16::from_be_bytes([*hi, *lo]) & PASSES_ON != 0;
                    self.passes_on = self.passes_on.or(Some(on));
                }
            }
            MANAGEMENT => {
                // The length counts the family and the address (clause 8.5.9.2).
                if let [5, FAMILY_IPV4, a, b, c, d, ..] = value {
                    let address = Ipv4Addr::new(*a, *b, *c, *d);
                    self.address = self.address.or(Some(address));
                }
            }
            _ => {}
        }
    }

    /// What the device is called, or else known by.
    pub fn title(&self) -> Text {
        self.name.clone().unwrap_or_else(|| self.chassis.to_text())
    }

    /// What its port is called: its number or name, and only where that is a hardware address the
    /// description, which people read more easily.
    pub fn port_title(&self) -> Text {
        match (&self.port, &self.port_description) {
            (Id::Mac(_), Some(described)) => described.clone(),
            _ => self.port.to_text(),
        }
    }
}

struct Entries<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl<'a> Entries<'a> {
    /// The next entry: seven bits of type, nine of length (clause 8.4). `None` at the end.
    fn next(&mut self) -> Result<Option<(u8, &'a [u8])>, Malformed> {
        let rest = self.bytes.get(self.at..).unwrap_or_default();
        if rest.is_empty() {
            return Ok(None);
        }
        let short = Malformed::new(Layer::Lldp, Reason::Short, self.bytes.len());
        let Some((&[hi, lo], rest)) = rest.split_first_chunk::<2>() else {
            return Err(short);
        };
        let head = u16::from_be_bytes([hi, lo]);
        let len = usize::from(head & 0x1ff);
        let kind = (head >> 9) as u8;
        if kind == END {
            return Ok(None);
        }
        let value = rest.get(..len).ok_or(short)?;
        self.at += 2 + len;
        Ok(Some((kind, value)))
    }
}

/// A switch that says who it is. For the simulated venue and for tests.
#[derive(Debug, Clone, Copy)]
pub struct Switch<'a> {
    /// What it is called.
    pub name: &'a str,
    /// Its hardware address.
    pub mac: Mac,
    /// What the port is called.
    pub port: &'a str,
    /// Where it is managed.
    pub address: Option<Ipv4Addr>,
    /// Whether it passes frames on; a camera that says who it is does not.
    pub passes_on: bool,
    /// How long it holds, in whole seconds.
    pub ttl: Duration,
}

impl Switch<'_> {
    /// The whole frame, from the switch's hardware address.
    pub fn frame(&self) -> Vec<u8> {
        let mut payload = Vec::new();
        let mut put = |kind: u8, parts: &[&[u8]]| {
            let value = parts.concat();
            let value = value.get(..value.len().min(0x1ff)).unwrap_or_default();
            payload.extend(((u16::from(kind) << 9) | value.len() as u16).to_be_bytes());
            payload.extend(value);
        };
        put(CHASSIS, &[&[4], &self.mac.octets()]);
        let port = self.port.as_bytes();
        put(
            PORT,
            &[&[5], port.get(..port.len().min(MAX_ID)).unwrap_or_default()],
        );
        let ttl = u16::try_from(self.ttl.as_secs()).unwrap_or(u16::MAX);
        put(TIME_TO_LIVE, &[&ttl.to_be_bytes()]);
        put(NAME, &[self.name.as_bytes()]);
        let on: u16 = if self.passes_on { 0x04 } else { 0x80 };
        put(CAPABILITIES, &[&on.to_be_bytes(), &on.to_be_bytes()]);
        if let Some(address) = self.address {
            // Interface numbering 1 is "unknown"; the number and an empty object follow.
            put(
                MANAGEMENT,
                &[&[5, FAMILY_IPV4], &address.octets(), &[1, 0, 0, 0, 0, 0]],
            );
        }
        put(END, &[]);
        Ethernet {
            destination: GROUP_MAC,
            source: self.mac,
            vlan: None,
            ethertype: ethernet::LLDP,
            payload: &payload,
        }
        .emit()
    }
}

#[cfg(test)]
#[path = "lldp_tests.rs"]
mod tests;

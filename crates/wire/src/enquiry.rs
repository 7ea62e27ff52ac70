//! The cameras' enquiry on the LAN: a camera maker's published technical manual with the list of
//! commands for VISCA over IP (SRG-300H Technical Manual, pages 27 to 34). Only the question is ever
//! sent; the same port takes settings, of which there are none in here.
//!
//! A message begins with 02 and ends with 03; between them stand units, each ended by FF. Question and
//! answer both go to everybody, so a camera of any subnet is heard.

use core::net::Ipv4Addr;

use vocab::{Mac, Name, NameSource, Text};

use crate::malformed::{Layer, Malformed, Reason};
use crate::{Path, Udp};

/// The port, at both ends.
pub const PORT: u16 = 52_380;
/// The longest message that is read: the manual's longest has less than 200 bytes.
pub const MAX: usize = 1_024;
/// Units looked at.
const MAX_UNITS: usize = 32;

const BEGIN: u8 = 0x02;
const UNIT: u8 = 0xff;
const END: u8 = 0x03;
/// What is asked.
const QUESTION: &[u8] = b"ENQ:network";

/// A message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Message {
    /// Who is there?
    Question,
    /// A camera's settings as it says, or those that somebody gives it: which of the two only the
    /// sender's hardware tells.
    Settings(Settings),
    /// Something else, such as that a setting was taken.
    Other,
}

/// What a camera says of itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settings {
    /// Its hardware.
    pub mac: Mac,
    /// What it is.
    pub model: Option<Text>,
    /// Its address.
    pub address: Option<Ipv4Addr>,
    /// Its subnet's mask.
    pub mask: Option<Ipv4Addr>,
    /// What somebody called it.
    pub name: Option<Text>,
}

impl Message {
    /// Reads a message.
    ///
    /// # Errors
    /// [`Reason::Long`] beyond [`MAX`] bytes or for too many units, [`Reason::Short`] if it does not
    /// end, [`Reason::Value`] if it does not begin as it must.
    pub fn parse(bytes: &[u8]) -> Result<Self, Malformed> {
        let bad = |reason, at| Malformed::new(Layer::Enquiry, reason, at);
        if bytes.len() > MAX {
            return Err(bad(Reason::Long, MAX));
        }
        let units = match bytes {
            [BEGIN, units @ .., END] => units,
            [BEGIN, ..] => return Err(bad(Reason::Short, bytes.len())),
            _ => return Err(bad(Reason::Value, 0)),
        };
        let [units @ .., UNIT] = units else {
            return Err(bad(Reason::Value, bytes.len() - 1));
        };
        let mut all = units.split(|b| *b == UNIT);
        let first = all.clone().next().unwrap_or_default();
        if first == QUESTION {
            return Ok(Self::Question);
        }
        let Some(mac) = value(first, b"MAC").and_then(|v| text(v)?.as_str().parse().ok()) else {
            return Ok(Self::Other);
        };
        let mut out = Settings::of(mac);
        for unit in all.by_ref().take(MAX_UNITS) {
            out.take(unit);
        }
        if all.next().is_some() {
            return Err(bad(Reason::Long, bytes.len()));
        }
        Ok(Self::Settings(out))
    }
}

/// What stands behind `key` and a colon.
fn value<'a>(unit: &'a [u8], key: &[u8]) -> Option<&'a [u8]> {
    unit.strip_prefix(key)?.strip_prefix(b":")
}

fn text(value: &[u8]) -> Option<Text> {
    Some(Text::clean_bytes(value)).filter(|t| !t.is_empty())
}

fn address(value: &[u8]) -> Option<Ipv4Addr> {
    // As they stand there: each number may be filled up with zeros.
    let text = core::str::from_utf8(value).ok()?;
    let mut octets = [0_u8; 4];
    let mut parts = text.split('.');
    for octet in &mut octets {
        let part = parts.next()?;
        let sound = (1..=3).contains(&part.len()) && part.bytes().all(|b| b.is_ascii_digit());
        *octet = part.parse().ok().filter(|_| sound)?;
    }
    parts.next().is_none().then(|| octets.into())
}

impl Settings {
    /// Those of a camera that says nothing else.
    pub const fn of(mac: Mac) -> Self {
        Self {
            mac,
            model: None,
            address: None,
            mask: None,
            name: None,
        }
    }

    fn take(&mut self, unit: &[u8]) {
        let found = |key: &[u8]| value(unit, key);
        if let Some(v) = found(b"MODEL") {
            self.model = self.model.take().or_else(|| text(v));
        } else if let Some(v) = found(b"NAME") {
            self.name = self.name.take().or_else(|| text(v));
        } else if let Some(v) = found(b"IPADR") {
            self.address = self.address.or_else(|| address(v));
        } else if let Some(v) = found(b"MASK") {
            self.mask = self.mask.or_else(|| address(v));
        }
    }

    /// What it calls itself.
    pub fn names(&self) -> Vec<Name> {
        let named = |text: &Option<Text>, source| text.clone().map(|text| Name { text, source });
        [
            named(&self.name, NameSource::Enquiry),
            named(&self.model, NameSource::Hardware),
        ]
        .into_iter()
        .flatten()
        .collect()
    }

    /// The answer of such a camera. For the simulated venue and for tests.
    pub fn emit(&self) -> Vec<u8> {
        let mut out = vec![BEGIN];
        let mut put = |key: &str, value: Option<String>| {
            if let Some(value) = value {
                out.extend(format!("{key}:{value}").bytes());
                out.push(UNIT);
            }
        };
        let of = |text: &Option<Text>| text.as_ref().map(ToString::to_string);
        put("MAC", Some(self.mac.to_string().replace(':', "-")));
        put("MODEL", of(&self.model));
        put("IPADR", self.address.map(|a| a.to_string()));
        put("MASK", self.mask.map(|a| a.to_string()));
        put("NAME", of(&self.name));
        put("WRITE", Some("off".to_owned()));
        out.push(END);
        out
    }
}

/// The question.
pub fn question() -> Vec<u8> {
    [&[BEGIN], QUESTION, &[UNIT, END]].concat()
}

/// A whole frame to everybody with `message`.
pub fn frame(from_mac: Mac, from: Ipv4Addr, message: &[u8]) -> Vec<u8> {
    let path = Path {
        from_mac,
        from,
        to_mac: Mac::BROADCAST,
        to: Ipv4Addr::BROADCAST,
    };
    Udp {
        source_port: PORT,
        destination_port: PORT,
        payload: message,
    }
    .frame(path)
}

#[cfg(test)]
#[path = "enquiry_tests.rs"]
mod tests;

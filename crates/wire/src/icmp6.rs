//! `ICMPv6`: RFC 4443 (messages, section 2.3 checksum, section 4 echo), and neighbour discovery: RFC 4861
//! sections 4 (format), 6.1 and 7.1 (what a receiver checks).

use core::net::Ipv6Addr;

use vocab::Mac;

use crate::checksum::Sum;
use crate::icmp::Echo;
use crate::ipv6::{self, ICMP6, Ipv6};
use crate::malformed::{Layer, Malformed, Reason};

/// Bytes before the data of an echo message, and before what a message of neighbour discovery holds.
const HEADER: usize = 8;
/// A message of neighbour discovery went over no router (RFC 4861 section 7.1).
const UNROUTED: u8 = 255;
/// Hops that an echo of ours may go: it is for this link.
const ECHO_HOPS: u8 = 255;

// Types (RFC 4443 section 2.1, RFC 4861 section 4).
const ECHO_REQUEST: u8 = 128;
/// The type of an echo reply (RFC 4443 section 4.2).
pub const ECHO_REPLY: u8 = 129;
/// The type of a router solicitation (RFC 4861 section 4.1).
pub const ROUTER_SOLICITATION: u8 = 133;
/// The type of a router advertisement (RFC 4861 section 4.2).
pub const ROUTER_ADVERTISEMENT: u8 = 134;
/// The type of a neighbour solicitation (RFC 4861 section 4.3).
pub const NEIGHBOUR_SOLICITATION: u8 = 135;
/// The type of a neighbour advertisement (RFC 4861 section 4.4).
pub const NEIGHBOUR_ADVERTISEMENT: u8 = 136;
// Options (RFC 4861 section 4.6.1).
const SOURCE_HARDWARE: u8 = 1;
const TARGET_HARDWARE: u8 = 2;

/// A message of neighbour discovery.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Neighbour {
    /// The address of the sender; in the first question for an address of its own that address. `None`
    /// where there is none yet.
    pub address: Option<Ipv6Addr>,
    /// The sender's hardware, as it says.
    pub hardware: Option<Mac>,
}

/// A message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Icmp6<'a> {
    /// Are you there?
    EchoRequest(Echo<'a>),
    /// Yes.
    EchoReply(Echo<'a>),
    /// Who holds an address, or where a router is: asked or answered.
    Neighbour(Neighbour),
    /// Something else.
    Other {
        /// Its type.
        kind: u8,
    },
}

impl<'a> Icmp6<'a> {
    /// Reads the message that `packet` carries, with its checksum.
    ///
    /// # Errors
    /// [`Reason::Short`], [`Reason::Checksum`]; for neighbour discovery [`Reason::Length`] for an
    /// option of no length, and [`Reason::Value`] for what the standard has a host pass over.
    pub fn parse(packet: &Ipv6<'a>) -> Result<Self, Malformed> {
        let bytes = packet.payload;
        let bad = |reason, at| Malformed::new(Layer::Icmp6, reason, at);
        let Some((&[kind, code, _, _], _)) = bytes.split_first_chunk::<4>() else {
            return Err(bad(Reason::Short, bytes.len()));
        };
        if sum(packet.source, packet.destination, bytes).finish() != 0 {
            return Err(bad(Reason::Checksum, 2));
        }
        let echo = || match bytes {
            [_, _, _, _, a, b, c, d, data @ ..] => Ok(Echo {
                identifier: u16::from_be_bytes([*a, *b]),
                sequence: u16::from_be_bytes([*c, *d]),
                data,
            }),
            _ => Err(bad(Reason::Short, bytes.len())),
        };
        Ok(match kind {
            ECHO_REQUEST if code == 0 => Self::EchoRequest(echo()?),
            ECHO_REPLY if code == 0 => Self::EchoReply(echo()?),
            ROUTER_SOLICITATION..=NEIGHBOUR_ADVERTISEMENT => {
                if packet.hop_limit != UNROUTED || code != 0 {
                    return Err(bad(Reason::Value, 1));
                }
                Self::Neighbour(neighbour(kind, packet)?)
            }
            _ => Self::Other { kind },
        })
    }
}

/// Sections 6.1.1, 6.1.2, 7.1.1 and 7.1.2 of RFC 4861.
fn neighbour(kind: u8, packet: &Ipv6<'_>) -> Result<Neighbour, Malformed> {
    let bytes = packet.payload;
    let bad = |reason, at| Malformed::new(Layer::Icmp6, reason, at);
    let short = bad(Reason::Short, bytes.len());
    let (options, mine) = match kind {
        ROUTER_SOLICITATION => (HEADER, SOURCE_HARDWARE),
        ROUTER_ADVERTISEMENT => (HEADER + 8, SOURCE_HARDWARE),
        NEIGHBOUR_SOLICITATION => (HEADER + 16, SOURCE_HARDWARE),
        _ => (HEADER + 16, TARGET_HARDWARE),
    };
    let target = bytes
        .get(HEADER..)
        .and_then(<[u8]>::first_chunk::<16>)
        .map(|t| Ipv6Addr::from(*t))
        .filter(|_| kind >= NEIGHBOUR_SOLICITATION);
    let mut hardware = None;
    let mut rest = bytes.get(options..).ok_or(short)?;
    while let [kind, length, ..] = rest {
        if *length == 0 {
            return Err(bad(Reason::Length, bytes.len() - rest.len() + 1));
        }
        let (option, after) = rest.split_at_checked(usize::from(*length) * 8).ok_or(short)?;
        if let ([_, 1, a, b, c, d, e, f], true) = (option, *kind == mine) {
            hardware = hardware.or(Some(Mac::new([*a, *b, *c, *d, *e, *f])));
        }
        rest = after;
    }
    if !rest.is_empty() {
        return Err(short);
    }
    let (from, to) = (packet.source, packet.destination);
    let nameless = from.is_unspecified();
    let wrong = match kind {
        ROUTER_ADVERTISEMENT => !from.is_unicast_link_local(),
        NEIGHBOUR_ADVERTISEMENT => {
            let solicited = bytes.get(4).is_some_and(|flags| flags & 0x40 != 0);
            nameless || to.is_multicast() && solicited
        }
        _ => nameless && hardware.is_some(),
    };
    if wrong || from.is_multicast() || target.is_some_and(|t| t.is_multicast()) {
        return Err(bad(Reason::Value, HEADER));
    }
    // What is asked for without a sender is what the sender wants to take.
    let wanted = target.filter(|_| kind == NEIGHBOUR_SOLICITATION);
    Ok(Neighbour {
        address: if nameless { wanted } else { Some(from) },
        hardware,
    })
}

fn sum(from: Ipv6Addr, to: Ipv6Addr, bytes: &[u8]) -> Sum {
    Sum::pseudo6(from, to, ICMP6, bytes.len()).with(bytes)
}

/// From whom to whom a message goes: hardware, then address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Path6 {
    /// Source of the frame.
    pub from_mac: Mac,
    /// Source of the packet.
    pub from: Ipv6Addr,
    /// Destination of the frame.
    pub to_mac: Mac,
    /// Destination of the packet.
    pub to: Ipv6Addr,
}

impl Path6 {
    /// To all hosts of a group on this link.
    pub const fn to_group(from_mac: Mac, from: Ipv6Addr, group: Ipv6Addr) -> Self {
        Self {
            from_mac,
            from,
            to_mac: ipv6::group_mac(group),
            to: group,
        }
    }

    /// A whole frame with an echo request.
    pub fn echo_request(self, echo: &Echo<'_>) -> Vec<u8> {
        self.echo(ECHO_REQUEST, echo)
    }

    /// A whole frame with an echo reply.
    pub fn echo_reply(self, echo: &Echo<'_>) -> Vec<u8> {
        self.echo(ECHO_REPLY, echo)
    }

    fn echo(self, kind: u8, echo: &Echo<'_>) -> Vec<u8> {
        let (id, sequence) = (echo.identifier.to_be_bytes(), echo.sequence.to_be_bytes());
        let head = [kind, 0, 0, 0, id[0], id[1], sequence[0], sequence[1]];
        self.message([&head, echo.data].concat(), ECHO_HOPS)
    }

    /// A whole frame with a message that somebody has this address, for whoever wants to know it.
    pub fn advertisement(self) -> Vec<u8> {
        let mut bytes = vec![NEIGHBOUR_ADVERTISEMENT, 0, 0, 0, 0x20, 0, 0, 0];
        bytes.extend(self.from.octets());
        bytes.extend([TARGET_HARDWARE, 1]);
        bytes.extend(self.from_mac.octets());
        self.message(bytes, UNROUTED)
    }

    fn message(self, mut bytes: Vec<u8>, hop_limit: u8) -> Vec<u8> {
        let checksum = sum(self.from, self.to, &bytes).finish().to_be_bytes();
        if let Some(field) = bytes.get_mut(2..4) {
            field.copy_from_slice(&checksum);
        }
        Ipv6 {
            source: self.from,
            destination: self.to,
            next: ICMP6,
            hop_limit,
            payload: &bytes,
        }
        .frame(self.from_mac, self.to_mac)
    }
}

#[cfg(test)]
#[path = "icmp6_tests.rs"]
mod tests;

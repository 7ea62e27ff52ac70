//! What the kernel says about interfaces, addresses and neighbours (rtnetlink, RFC 3549).
//!
//! Only the handful of fields that we need are read, by hand over the library's views: a full
//! parser refuses whole messages when a newer kernel says something it does not know.

use std::net::{Ipv4Addr, Ipv6Addr};

use netlink_packet_core::{NetlinkBuffer, NlasIterator};
use vocab::{Ipv4Net, Mac};

// Message types and flags of linux/netlink.h and linux/rtnetlink.h.
const NLMSG_ERROR: u16 = 2;
const NLMSG_DONE: u16 = 3;
const NLM_F_DUMP_INTR: u16 = 0x10;
const RTM_NEWLINK: u16 = 16;
const RTM_DELLINK: u16 = 17;
const RTM_NEWADDR: u16 = 20;
const RTM_DELADDR: u16 = 21;
// Of linux/if_addr.h: all flags of an address, and those of one that is not to be used.
const IFA_FLAGS: u16 = 8;
const IFA_F_DADFAILED: u32 = 0x08;
const IFA_F_TENTATIVE: u32 = 0x40;
const RTM_NEWNEIGH: u16 = 28;
const RTM_DELNEIGH: u16 = 29;

/// One message of interest.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum News {
    /// An interface, new or changed. A message may leave out what did not change.
    Link {
        /// Its number.
        index: u32,
        /// Its hardware type (ARPHRD_*): 1 is Ethernet.
        hardware: u16,
        /// IFF_* of linux/if.h.
        flags: u32,
        /// Its name.
        name: Option<String>,
        /// Its hardware address.
        mac: Option<Mac>,
    },
    /// An interface is gone.
    LinkGone {
        /// Its number.
        index: u32,
    },
    /// An interface has an address.
    Address {
        /// The interface's number.
        index: u32,
        /// The address with its mask.
        net: Ipv4Net,
    },
    /// An interface no longer has an address.
    AddressGone {
        /// The interface's number.
        index: u32,
        /// The address with its mask.
        net: Ipv4Net,
    },
    /// An interface has an IPv6 address.
    Address6 {
        /// The interface's number.
        index: u32,
        /// The address.
        address: Ipv6Addr,
        /// The system has made sure that nobody else holds it.
        sure: bool,
    },
    /// An interface no longer has an IPv6 address.
    Address6Gone {
        /// The interface's number.
        index: u32,
        /// The address.
        address: Ipv6Addr,
    },
    /// An entry of the neighbour table.
    Neighbour {
        /// The interface's number.
        index: u32,
        /// About whom.
        address: Ipv4Addr,
        /// NUD_* of linux/neighbour.h.
        state: u16,
        /// The hardware address in it.
        mac: Option<Mac>,
        /// How long ago it was confirmed, in hundredths of a second.
        confirmed: Option<u32>,
    },
    /// An entry of the neighbour table is gone.
    NeighbourGone {
        /// The interface's number.
        index: u32,
        /// About whom.
        address: Ipv4Addr,
    },
    /// The answer to a request is complete.
    Done,
    /// The kernel refused a request, with this error number (0: it agreed).
    Refused(i32),
    /// The tables changed while they were being read out: ask again.
    Interrupted,
}

/// Reads one datagram of messages.
pub(super) fn read(datagram: &[u8]) -> Vec<News> {
    let mut news = Vec::new();
    let mut rest = datagram;
    while let Ok(message) = NetlinkBuffer::new_checked(rest) {
        let length = message.length() as usize;
        if message.flags() & NLM_F_DUMP_INTR != 0 {
            news.push(News::Interrupted);
        }
        news.extend(one(message.message_type(), message.payload()));
        // Messages begin at multiples of four.
        match rest.get(length.next_multiple_of(4)..) {
            Some(more) if length > 0 => rest = more,
            _ => break,
        }
    }
    news
}

fn one(kind: u16, body: &[u8]) -> Option<News> {
    match kind {
        NLMSG_DONE => Some(News::Done),
        NLMSG_ERROR => Some(News::Refused(-i32::from_ne_bytes(*body.first_chunk()?))),
        RTM_NEWLINK | RTM_DELLINK => link(kind, body),
        RTM_NEWADDR | RTM_DELADDR => address(kind, body),
        RTM_NEWNEIGH | RTM_DELNEIGH => neighbour(kind, body),
        _ => None,
    }
}

/// `struct ifinfomsg`: family, pad, type (2), index (4), flags (4), change (4).
fn link(kind: u16, body: &[u8]) -> Option<News> {
    let head = body.first_chunk::<16>()?;
    // A bridge reports its ports in the same words under its own family: not the interface itself.
    if i32::from(head[0]) != libc::AF_UNSPEC {
        return None;
    }
    let index = u32_at(head, 4)?;
    if kind == RTM_DELLINK {
        return Some(News::LinkGone { index });
    }
    let (mut name, mut mac) = (None, None);
    for (kind, value) in attributes(body, 16) {
        match kind {
            libc::IFLA_IFNAME => name = text(value),
            libc::IFLA_ADDRESS => mac = value.try_into().ok().map(Mac::new),
            _ => {}
        }
    }
    let hardware = u16::from_ne_bytes([head[2], head[3]]);
    Some(News::Link {
        index,
        hardware,
        flags: u32_at(head, 8)?,
        name,
        mac,
    })
}

/// `struct ifaddrmsg`: family, prefix length, flags, scope, index (4).
fn address(kind: u16, body: &[u8]) -> Option<News> {
    let head = body.first_chunk::<8>()?;
    if i32::from(head[0]) == libc::AF_INET6 {
        return address6(kind, body, *head);
    }
    if i32::from(head[0]) != libc::AF_INET {
        return None;
    }
    let index = u32_at(head, 4)?;
    let (mut local, mut far) = (None, None);
    for (kind, value) in attributes(body, 8) {
        match kind {
            libc::IFA_LOCAL => local = ipv4(value),
            libc::IFA_ADDRESS => far = ipv4(value),
            _ => {}
        }
    }
    let net = Ipv4Net::new(local.or(far)?, head[1]).ok()?;
    Some(if kind == RTM_NEWADDR {
        News::Address { index, net }
    } else {
        News::AddressGone { index, net }
    })
}

/// The same head; only addresses of the link itself are of use.
fn address6(kind: u16, body: &[u8], head: [u8; 8]) -> Option<News> {
    let index = u32_at(&head, 4)?;
    let (mut address, mut flags) = (None, u32::from(head[2]));
    for (kind, value) in attributes(body, 8) {
        match kind {
            libc::IFA_ADDRESS => address = <[u8; 16]>::try_from(value).ok().map(Ipv6Addr::from),
            IFA_FLAGS => flags = u32_at(value, 0)?,
            _ => {}
        }
    }
    let address = address.filter(Ipv6Addr::is_unicast_link_local)?;
    Some(if kind == RTM_NEWADDR {
        let sure = flags & (IFA_F_TENTATIVE | IFA_F_DADFAILED) == 0;
        News::Address6 { index, address, sure }
    } else {
        News::Address6Gone { index, address }
    })
}

/// `struct ndmsg`: family, pad (3), index (4), state (2), flags, type.
fn neighbour(kind: u16, body: &[u8]) -> Option<News> {
    let head = body.first_chunk::<12>()?;
    if i32::from(head[0]) != libc::AF_INET {
        return None;
    }
    let index = u32_at(head, 4)?;
    let (mut address, mut mac, mut confirmed) = (None, None, None);
    for (kind, value) in attributes(body, 12) {
        match kind {
            libc::NDA_DST => address = ipv4(value),
            libc::NDA_LLADDR => mac = value.try_into().ok().map(Mac::new),
            libc::NDA_CACHEINFO => confirmed = u32_at(value, 0),
            _ => {}
        }
    }
    let address = address?;
    if kind == RTM_DELNEIGH {
        return Some(News::NeighbourGone { index, address });
    }
    let state = u16::from_ne_bytes([head[8], head[9]]);
    Some(News::Neighbour {
        index,
        address,
        state,
        mac,
        confirmed,
    })
}

fn attributes(body: &[u8], from: usize) -> impl Iterator<Item = (u16, &[u8])> {
    let mut rest = body.get(from..).unwrap_or_default();
    std::iter::from_fn(move || {
        // One at a time: the library's view checks the lengths.
        let attribute = NlasIterator::new(rest).next()?.ok()?;
        let (kind, length) = (attribute.kind(), usize::from(attribute.length()));
        let value = rest.get(4..length)?;
        rest = rest.get(length.next_multiple_of(4)..).unwrap_or_default();
        Some((kind, value))
    })
}

fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_ne_bytes(*bytes.get(at..)?.first_chunk()?))
}

fn ipv4(value: &[u8]) -> Option<Ipv4Addr> {
    <[u8; 4]>::try_from(value).ok().map(Ipv4Addr::from)
}

/// A name up to its closing zero. The kernel allows any bytes but `/` and blanks.
fn text(value: &[u8]) -> Option<String> {
    let end = value.iter().position(|b| *b == 0).unwrap_or(value.len());
    value
        .get(..end)
        .map(|name| String::from_utf8_lossy(name).into_owned())
}

/// A request for a whole table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Table {
    /// All interfaces.
    Links,
    /// All IPv4 addresses.
    Addresses,
    /// All IPv6 addresses.
    Addresses6,
    /// All IPv4 neighbours.
    Neighbours,
}

/// The request as the kernel takes it: a header and an empty body for the table's family.
pub(super) fn request(table: Table, sequence: u32) -> Vec<u8> {
    /// `NLM_F_REQUEST`, `NLM_F_ROOT` and `NLM_F_MATCH`.
    const DUMP: u16 = 0x1 | 0x100 | 0x200;
    let (kind, family, body) = match table {
        Table::Links => (18_u16, libc::AF_UNSPEC, 16_usize),
        Table::Addresses => (22, libc::AF_INET, 8),
        Table::Addresses6 => (22, libc::AF_INET6, 8),
        Table::Neighbours => (30, libc::AF_INET, 12),
    };
    let mut bytes = Vec::with_capacity(16 + body);
    bytes.extend_from_slice(&((16 + body) as u32).to_ne_bytes());
    bytes.extend_from_slice(&kind.to_ne_bytes());
    bytes.extend_from_slice(&DUMP.to_ne_bytes());
    bytes.extend_from_slice(&sequence.to_ne_bytes());
    bytes.extend_from_slice(&0_u32.to_ne_bytes());
    bytes.push(family as u8);
    bytes.resize(16 + body, 0);
    bytes
}

#[cfg(test)]
#[path = "news_tests.rs"]
pub(super) mod tests;

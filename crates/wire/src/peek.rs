//! One pass over a frame: what the scanner wants to know of it.

use core::net::{Ipv4Addr, Ipv6Addr};

use vocab::Mac;

use crate::icmp::{Echo, Original};
use crate::icmp6::Neighbour;
use crate::malformed::{Malformed, Reason};
use crate::{
    Arp, Ethernet, Icmp, Icmp6, Igmp, Ipv4, Ipv6, Udp, dhcp, enquiry, ethernet, ipv4, ipv6, lldp, mdns, wsd,
};

/// A frame, decoded as far as it matters here.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Heard<'a> {
    /// For whom the frame was.
    pub destination: Mac,
    /// Whose port sent it.
    pub source: Mac,
    /// The VLAN identifier (1–4094) in the bytes, if any.
    pub vlan: Option<u16>,
    /// What it said.
    pub what: What<'a>,
}

/// What a frame said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum What<'a> {
    /// ARP.
    Arp(Arp),
    /// A host asks whether another is there.
    EchoRequest {
        /// Who asks.
        from: Ipv4Addr,
        /// Who is asked.
        to: Ipv4Addr,
        /// The question.
        echo: Echo<'a>,
    },
    /// A host says that it is there.
    EchoReply {
        /// Who says so.
        from: Ipv4Addr,
        /// To whom.
        to: Ipv4Addr,
        /// How many more hops it had left.
        ttl: u8,
        /// The question, given back.
        echo: Echo<'a>,
    },
    /// Somebody asks who listens to a multicast group (IGMP).
    GroupQuery {
        /// Who asks; 0.0.0.0 for a switch without an address.
        from: Ipv4Addr,
    },
    /// A packet could not be delivered.
    Unreachable {
        /// Who says so.
        from: Ipv4Addr,
        /// To whom.
        to: Ipv4Addr,
        /// Why (RFC 792).
        code: u8,
        /// Which packet.
        original: Original,
    },
    /// A DHCP message from a client or a server.
    Dhcp {
        /// Who sent it; 0.0.0.0 for a client without an address.
        from: Ipv4Addr,
        /// For whom it is.
        to: Ipv4Addr,
        /// The message.
        message: Box<dhcp::Message>,
    },
    /// Multicast DNS, from its own port or a query from any.
    Mdns {
        /// Who sent it.
        from: Ipv4Addr,
        /// The message.
        message: Box<mdns::Message>,
    },
    /// WS-Discovery: to its port, or to our end of a probe.
    Discovery {
        /// Who sent it.
        from: Ipv4Addr,
        /// The message.
        message: Box<wsd::Message>,
    },
    /// The cameras' enquiry on the LAN, or an answer.
    Enquiry {
        /// Who sent it.
        from: Ipv4Addr,
        /// The message.
        message: Box<enquiry::Message>,
    },
    /// A host says over IPv6 that it is there.
    EchoReply6 {
        /// Who says so.
        from: Ipv6Addr,
        /// To whom.
        to: Ipv6Addr,
        /// The question, given back.
        echo: Echo<'a>,
    },
    /// Neighbour discovery of IPv6.
    Neighbour6(Neighbour),
    /// Multicast DNS over IPv6, from its own port or a query from any.
    Mdns6 {
        /// Who sent it.
        from: Ipv6Addr,
        /// The message.
        message: Box<mdns::Message>,
    },
    /// A device says who it is and what its port is called, to its neighbour on the cable alone.
    Lldp(Box<lldp::Message>),
    /// Any other UDP datagram. Its checksum was not looked at.
    Udp {
        /// Who sent it.
        from: Ipv4Addr,
        /// For whom it is.
        to: Ipv4Addr,
        /// The datagram.
        udp: Udp<'a>,
    },
    /// Any other IPv4 packet, pieces of one included.
    Ipv4Other {
        /// Who sent it.
        from: Ipv4Addr,
        /// For whom it is.
        to: Ipv4Addr,
        /// What it carries: an IP protocol number.
        protocol: u8,
        /// Its payload.
        payload: &'a [u8],
    },
    /// Another protocol, or a kind of ARP that is not for IPv4 over Ethernet.
    Other {
        /// The ethertype, or an 802.3 length.
        ethertype: u16,
    },
}

/// Looks at a frame from its destination address on.
///
/// The IPv4 header's and ICMP's checksums are verified; UDP's are not, because kernels leave them
/// unfinished on virtual links and nothing believed here rests on them alone.
///
/// # Errors
/// The first rule broken, in whichever layer.
pub fn peek(frame: &[u8]) -> Result<Heard<'_>, Malformed> {
    let Ethernet {
        destination,
        source,
        vlan,
        ethertype,
        payload,
    } = Ethernet::parse(frame)?;
    let what = match ethertype {
        ethernet::ARP => match Arp::parse(payload) {
            Ok(arp) => What::Arp(arp),
            Err(Malformed {
                reason: Reason::Unsupported,
                ..
            }) => What::Other { ethertype },
            Err(e) => return Err(e),
        },
        ethernet::IPV4 => in_ipv4(&Ipv4::parse(payload)?)?,
        ethernet::IPV6 => in_ipv6(&Ipv6::parse(payload)?)?,
        ethernet::LLDP => What::Lldp(Box::new(lldp::Message::parse(payload)?)),
        _ => What::Other { ethertype },
    };
    Ok(Heard {
        destination,
        source,
        vlan,
        what,
    })
}

fn in_ipv4<'a>(packet: &Ipv4<'a>) -> Result<What<'a>, Malformed> {
    let Ipv4 {
        source: from,
        destination: to,
        protocol,
        ttl,
        payload,
        fragment,
        ..
    } = *packet;
    let other = What::Ipv4Other {
        from,
        to,
        protocol,
        payload,
    };
    if fragment {
        return Ok(other);
    }
    Ok(match protocol {
        ipv4::ICMP => match Icmp::parse(payload)? {
            Icmp::EchoRequest(echo) => What::EchoRequest { from, to, echo },
            Icmp::EchoReply(echo) => What::EchoReply { from, to, ttl, echo },
            Icmp::Unreachable {
                code,
                original: Some(original),
            } => What::Unreachable {
                from,
                to,
                code,
                original,
            },
            Icmp::Unreachable { original: None, .. } | Icmp::Other { .. } => other,
        },
        ipv4::IGMP => match Igmp::parse(payload)? {
            Igmp::Query => What::GroupQuery { from },
            Igmp::Other { .. } => other,
        },
        ipv4::UDP => in_udp(from, to, Udp::parse(payload)?)?,
        _ => other,
    })
}

fn in_ipv6<'a>(packet: &Ipv6<'a>) -> Result<What<'a>, Malformed> {
    let Ipv6 {
        source: from,
        destination: to,
        next,
        payload,
        ..
    } = *packet;
    let other = What::Other {
        ethertype: ethernet::IPV6,
    };
    Ok(match next {
        ipv6::ICMP6 => match Icmp6::parse(packet)? {
            Icmp6::EchoReply(echo) => What::EchoReply6 { from, to, echo },
            Icmp6::Neighbour(neighbour) => What::Neighbour6(neighbour),
            Icmp6::EchoRequest(_) | Icmp6::Other { .. } => other,
        },
        ipv4::UDP => match in_mdns(&Udp::parse(payload)?)? {
            Some(message) => What::Mdns6 { from, message },
            None => other,
        },
        _ => other,
    })
}

/// The message of multicast DNS that a datagram holds. An answer from another port is to be ignored
/// (RFC 6762 section 6).
fn in_mdns(udp: &Udp<'_>) -> Result<Option<Box<mdns::Message>>, Malformed> {
    if udp.destination_port != mdns::PORT {
        return Ok(None);
    }
    let message = mdns::Message::parse(udp.payload)?;
    let fair = !message.response || udp.source_port == mdns::PORT;
    Ok(fair.then(|| Box::new(message)))
}

fn in_udp(from: Ipv4Addr, to: Ipv4Addr, udp: Udp<'_>) -> Result<What<'_>, Malformed> {
    // Both ends of DHCP have fixed ports (RFC 2131 section 4.1).
    let ends = [dhcp::CLIENT_PORT, dhcp::SERVER_PORT];
    if ends.contains(&udp.source_port) && ends.contains(&udp.destination_port) {
        match dhcp::Message::parse(udp.payload) {
            Ok(message) => {
                return Ok(What::Dhcp {
                    from,
                    to,
                    message: Box::new(message),
                });
            }
            // Plain BOOTP, or another kind of hardware.
            Err(Malformed {
                reason: Reason::Unsupported,
                ..
            }) => {}
            Err(e) => return Err(e),
        }
    }
    if let Some(message) = in_mdns(&udp)? {
        return Ok(What::Mdns { from, message });
    }
    if matches!(udp.destination_port, wsd::PORT | wsd::OWN_PORT)
        && let Some(message) = wsd::Message::parse(udp.payload)?
    {
        let message = Box::new(message);
        return Ok(What::Discovery { from, message });
    }
    if udp.destination_port == enquiry::PORT {
        let message = Box::new(enquiry::Message::parse(udp.payload)?);
        return Ok(What::Enquiry { from, message });
    }
    Ok(What::Udp { from, to, udp })
}

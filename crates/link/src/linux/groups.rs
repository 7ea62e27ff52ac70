//! Multicast groups: what makes a network card, and a switch that looks into IGMP, deliver them.
//!
//! The card's own list is the packet socket's business and sends nothing. WS-Discovery's group, and
//! that of multicast DNS over IPv6, are joined through ordinary sockets as well: the kernel then tells
//! the switches by IGMP and MLD, and answers their queries. That is sent, so it is done only while
//! sending is allowed. The groups of 224.0.0.0/24 need none of it: switches pass them on always
//! (RFC 4541 section 2.1.2).

use std::io;
use std::net::{Ipv4Addr, SocketAddrV4};

use socket2::{Domain, InterfaceIndexOrAddress, Protocol, Socket, Type};
use vocab::Mac;
use wire::{ipv6, lldp, mdns, wsd};

/// Groups whose frames the card shall deliver: multicast DNS over IPv4 and IPv6 (RFC 6762 section 3),
/// WS-Discovery, LLDP (IEEE 802.1AB clause 7.1), and all hosts and routers of the link (RFC 4861).
pub(super) const CARD: [Mac; 6] = [
    mdns::GROUP_MAC,
    wsd::GROUP_MAC,
    lldp::GROUP_MAC,
    ipv6::group_mac(mdns::GROUP6),
    ipv6::group_mac(ipv6::ALL_NODES),
    ipv6::group_mac(ipv6::ALL_ROUTERS),
];

/// The sockets that are members: over IPv4, and over IPv6 where there is any.
type Joined = [Option<Socket>; 2];

/// The membership that is told to the switches.
#[derive(Debug, Default)]
pub(super) struct Groups {
    wanted: bool,
    joined: Option<(u32, Joined)>,
}

impl Groups {
    /// Joins on the interface numbered `index`, or leaves.
    pub(super) fn set(&mut self, wanted: bool, index: u32) {
        self.wanted = wanted;
        self.follow(index);
    }

    /// The interface is numbered `index` from now on; 0 where there is none.
    pub(super) fn follow(&mut self, index: u32) {
        let here = self.wanted && index != 0;
        if here && self.joined.as_ref().is_none_or(|(old, _)| *old != index) {
            // Without it a switch may keep the group from us; what comes is heard all the same.
            let sockets = [join(index).ok(), join6(index).ok()];
            self.joined = sockets.iter().any(Option::is_some).then_some((index, sockets));
        } else if !here {
            // Closing leaves.
            self.joined = None;
        }
    }
}

/// A socket that is a member of multicast DNS over IPv6: switches that look into MLD may keep from us
/// any group but that of all hosts (RFC 4541 section 3).
fn join6(index: u32) -> io::Result<Socket> {
    let socket = Socket::new(
        Domain::IPV6,
        Type::DGRAM.cloexec().nonblocking(),
        Some(Protocol::UDP),
    )?;
    let _ = socket.set_recv_buffer_size(0);
    socket.join_multicast_v6(&mdns::GROUP6, index)?;
    Ok(socket)
}

/// A socket that is a member. It also holds our end of a probe, so that the kernel does not refuse
/// the answers, which the packet socket reads; nothing is read from it, and its buffer is small.
fn join(index: u32) -> io::Result<Socket> {
    let socket = Socket::new(
        Domain::IPV4,
        Type::DGRAM.cloexec().nonblocking(),
        Some(Protocol::UDP),
    )?;
    let _ = socket.set_recv_buffer_size(0);
    // If another holds the port, there is still the membership.
    let _ = socket.bind(&SocketAddrV4::new(Ipv4Addr::UNSPECIFIED, wsd::OWN_PORT).into());
    socket.join_multicast_v4_n(&wsd::GROUP, &InterfaceIndexOrAddress::Index(index))?;
    Ok(socket)
}

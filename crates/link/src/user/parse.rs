//! What a received frame has to say to a user-space connection.

use std::net::{Ipv4Addr, SocketAddrV4};

use smoltcp::phy::ChecksumCapabilities;
use smoltcp::wire::{
    ArpOperation, ArpPacket, ArpRepr, EthernetFrame, EthernetProtocol, Icmpv4DstUnreachable, Icmpv4Packet,
    Icmpv4Repr, IpProtocol, Ipv4Packet, TcpPacket, UdpPacket,
};
use vocab::Mac;

use crate::Transport;

/// The meaning of a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Meaning {
    /// Somebody asks for the hardware address of `target`.
    Asks {
        /// Whose hardware is wanted.
        target: Ipv4Addr,
    },
    /// A segment or datagram.
    Part {
        /// Which of the two.
        transport: Transport,
        /// Its sender.
        source: SocketAddrV4,
        /// Its receiver.
        target: SocketAddrV4,
    },
    /// What we sent to `target` found no taker (ICMP port unreachable, RFC 792).
    Unreachable {
        /// Segment or datagram.
        transport: Transport,
        /// From where we sent.
        source: SocketAddrV4,
        /// Whereto.
        target: SocketAddrV4,
    },
}

/// Reads a frame: its source and destination hardware, and what it means to us, if anything.
pub(super) fn read(bytes: &[u8]) -> Option<(Mac, Mac, Meaning)> {
    let frame = EthernetFrame::new_checked(bytes).ok()?;
    let (source, target) = (Mac::new(frame.src_addr().0), Mac::new(frame.dst_addr().0));
    let meaning = match frame.ethertype() {
        EthernetProtocol::Arp => read_arp(source, frame.payload()),
        EthernetProtocol::Ipv4 => read_ipv4(frame.payload()),
        _ => None,
    }?;
    Some((source, target, meaning))
}

fn read_arp(frame_source: Mac, bytes: &[u8]) -> Option<Meaning> {
    match ArpRepr::parse(&ArpPacket::new_checked(bytes).ok()?).ok()? {
        ArpRepr::EthernetIpv4 {
            operation: ArpOperation::Request,
            source_hardware_addr,
            target_protocol_addr,
            ..
        } if source_hardware_addr.0 == frame_source.octets() => Some(Meaning::Asks {
            target: target_protocol_addr,
        }),
        _ => None,
    }
}

fn read_ipv4(bytes: &[u8]) -> Option<Meaning> {
    let packet = Ipv4Packet::new_checked(bytes).ok()?;
    if packet.frag_offset() != 0 {
        return None;
    }
    let (source, target, payload) = (packet.src_addr(), packet.dst_addr(), packet.payload());
    let part = |transport, source_port, target_port| Meaning::Part {
        transport,
        source: SocketAddrV4::new(source, source_port),
        target: SocketAddrV4::new(target, target_port),
    };
    match packet.next_header() {
        IpProtocol::Tcp => {
            let tcp = TcpPacket::new_checked(payload).ok()?;
            Some(part(Transport::Tcp, tcp.src_port(), tcp.dst_port()))
        }
        IpProtocol::Udp => {
            let udp = UdpPacket::new_checked(payload).ok()?;
            Some(part(Transport::Udp, udp.src_port(), udp.dst_port()))
        }
        IpProtocol::Icmp => read_icmp(payload),
        _ => None,
    }
}

fn read_icmp(bytes: &[u8]) -> Option<Meaning> {
    let packet = Icmpv4Packet::new_checked(bytes).ok()?;
    let Icmpv4Repr::DstUnreachable {
        reason: Icmpv4DstUnreachable::PortUnreachable,
        header,
        data,
    } = Icmpv4Repr::parse(&packet, &ChecksumCapabilities::default()).ok()?
    else {
        return None;
    };
    let transport = match header.next_header {
        IpProtocol::Tcp => Transport::Tcp,
        IpProtocol::Udp => Transport::Udp,
        _ => return None,
    };
    // Both protocols begin with the two ports (RFC 768, RFC 9293).
    let [a, b, c, d] = *data.first_chunk::<4>()?;
    Some(Meaning::Unreachable {
        transport,
        source: SocketAddrV4::new(header.src_addr, u16::from_be_bytes([a, b])),
        target: SocketAddrV4::new(header.dst_addr, u16::from_be_bytes([c, d])),
    })
}

/// Finishes the TCP or UDP checksum of a frame that a kernel on this machine left unfinished.
pub(super) fn finish_checksum(bytes: &mut [u8]) {
    let Ok(mut frame) = EthernetFrame::new_checked(bytes) else {
        return;
    };
    if frame.ethertype() != EthernetProtocol::Ipv4 {
        return;
    }
    let Ok(mut packet) = Ipv4Packet::new_checked(frame.payload_mut()) else {
        return;
    };
    let (source, target, protocol) = (packet.src_addr(), packet.dst_addr(), packet.next_header());
    match protocol {
        IpProtocol::Tcp => {
            if let Ok(mut tcp) = TcpPacket::new_checked(packet.payload_mut()) {
                tcp.fill_checksum(&source.into(), &target.into());
            }
        }
        IpProtocol::Udp => {
            if let Ok(mut udp) = UdpPacket::new_checked(packet.payload_mut()) {
                udp.fill_checksum(&source.into(), &target.into());
            }
        }
        _ => {}
    }
}

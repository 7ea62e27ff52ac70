//! The kernel's filter: what wakes us, and nothing else.
//!
//! Classic BPF, run by the kernel on every frame before it is copied. Video traffic is dropped
//! there; see the measurement in the developers' notes.

use std::net::Ipv4Addr;

use wire::{dhcp, enquiry, ethernet, icmp6, igmp, ipv4, ipv6, mdns, wsd};

use super::assembler::{Assembler, Op};

/// One instruction: code, jumps when true and when false, and its number (`struct sock_filter`).
pub(crate) type Instruction = (u16, u8, u8, u32);

/// Addresses that may be let in besides: more than the dialer can borrow at once are not needed.
pub(crate) const MAX_ADMITTED: usize = crate::MAX_DIALS;

/// Ports of UDP that let a datagram pass: DHCP, multicast DNS, WS-Discovery, our end of a probe of it,
/// to which the answers come, and the cameras' enquiry.
const HEARD: [u16; 6] = [
    dhcp::SERVER_PORT,
    dhcp::CLIENT_PORT,
    mdns::PORT,
    wsd::PORT,
    wsd::OWN_PORT,
    enquiry::PORT,
];
/// Types of `ICMPv6` that let a message pass: echo reply and neighbour discovery.
const HEARD6: [u8; 5] = [
    icmp6::ECHO_REPLY,
    icmp6::ROUTER_SOLICITATION,
    icmp6::ROUTER_ADVERTISEMENT,
    icmp6::NEIGHBOUR_SOLICITATION,
    icmp6::NEIGHBOUR_ADVERTISEMENT,
];

/// The program that lets pass:
/// - ARP, also where the kernel has already taken a VLAN tag out, and inside one 802.1Q tag;
/// - LLDP, untagged;
/// - queries of IGMP, in every version;
/// - ICMP echo replies over IPv4, first fragments only;
/// - over IPv6 without extension headers: echo replies, neighbour discovery, and multicast DNS;
/// - UDP to the ports of what is listened to, first fragments only;
/// - ICMP, TCP and UDP for the `admitted` addresses, of which the first [`MAX_ADMITTED`] count.
pub(crate) fn program(admitted: &[Ipv4Addr]) -> Vec<Instruction> {
    let mut a = Assembler::default();
    a.put(Op::LoadHalf(12));
    a.jump_if_equal(ethernet::ARP, "pass");
    a.jump_if_equal(ethernet::LLDP, "pass");
    a.jump_if_equal(ethernet::VLAN, "tagged");
    a.jump_if_equal(ethernet::IPV6, "ipv6");
    a.jump_unless_equal(ethernet::IPV4, "drop");

    a.put(Op::LoadByte(14 + 9));
    a.put(Op::ToX);
    for address in admitted.iter().take(MAX_ADMITTED) {
        a.put(Op::LoadWord(14 + 16));
        a.jump_if_equal(u32::from(*address), "admitted");
    }
    a.put(Op::FromX);
    a.jump_if_equal(ipv4::ICMP, "icmp");
    a.jump_if_equal(ipv4::IGMP, "igmp");
    a.jump_unless_equal(ipv4::UDP, "drop");

    a.put(Op::LoadHalf(14 + 6));
    a.jump_if_bits(0x1fff, "drop");
    a.put(Op::HeaderLengthToX(14));
    a.put(Op::LoadHalfAtX(14 + 2));
    for port in HEARD {
        a.jump_if_equal(port, "pass");
    }
    a.jump("drop");

    a.label("icmp");
    a.put(Op::LoadHalf(14 + 6));
    a.jump_if_bits(0x1fff, "drop");
    a.put(Op::HeaderLengthToX(14));
    a.put(Op::LoadByteAtX(14));
    a.jump_if_equal(0_u8, "pass");
    a.jump("drop");

    a.label("igmp");
    a.put(Op::LoadHalf(14 + 6));
    a.jump_if_bits(0x1fff, "drop");
    a.put(Op::HeaderLengthToX(14));
    a.put(Op::LoadByteAtX(14));
    a.jump_if_equal(igmp::QUERY, "pass");
    a.jump("drop");

    a.label("admitted");
    a.put(Op::FromX);
    a.jump_if_equal(ipv4::ICMP, "pass");
    a.jump_if_equal(ipv4::TCP, "pass");
    a.jump_if_equal(ipv4::UDP, "pass");
    a.jump("drop");

    a.label("ipv6");
    a.put(Op::LoadByte(14 + 6));
    a.jump_if_equal(ipv6::ICMP6, "icmp6");
    a.jump_unless_equal(ipv4::UDP, "drop");
    a.put(Op::LoadHalf(14 + 40 + 2));
    a.jump_if_equal(mdns::PORT, "pass");
    a.jump("drop");

    a.label("icmp6");
    a.put(Op::LoadByte(14 + 40));
    for kind in HEARD6 {
        a.jump_if_equal(kind, "pass");
    }
    a.jump("drop");

    a.label("tagged");
    a.put(Op::LoadHalf(16));
    a.jump_if_equal(ethernet::ARP, "pass");

    a.label("drop");
    a.put(Op::Return(0));
    a.label("pass");
    a.put(Op::Return(u32::MAX));
    a.finish()
}

#[cfg(test)]
#[path = "filter_tests.rs"]
mod tests;

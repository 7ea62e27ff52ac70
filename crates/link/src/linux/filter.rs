//! The kernel's filter: what wakes us, and nothing else.
//!
//! Classic BPF, run by the kernel on every frame before it is copied. Video traffic is dropped
//! there; see the measurement in the developers' notes.

use std::net::Ipv4Addr;

use super::assembler::{Assembler, Op};

/// One instruction: code, jumps when true and when false, and its number (`struct sock_filter`).
pub(crate) type Instruction = (u16, u8, u8, u32);

/// Addresses that may be let in besides: more than the dialer can borrow at once are not needed.
pub(crate) const MAX_ADMITTED: usize = crate::MAX_DIALS;

// EtherTypes (IEEE 802) and IPv4 protocols (IANA).
const ARP: u32 = 0x0806;
const IPV4: u32 = 0x0800;
const IPV6: u32 = 0x86dd;
const LLDP: u32 = 0x88cc;
const VLAN: u32 = 0x8100;
const ICMP: u32 = 1;
const IGMP: u32 = 2;
const TCP: u32 = 6;
const UDP: u32 = 17;
const ICMP6: u32 = 58;
/// Types of `ICMPv6` that let a message pass: echo reply (RFC 4443) and neighbour discovery (RFC 4861).
const HEARD6: [u32; 5] = [129, 133, 134, 135, 136];
/// The type of a query of IGMP (RFC 2236, RFC 3376).
const IGMP_QUERY: u32 = 0x11;
/// Multicast DNS (RFC 6762).
const MDNS: u32 = 5353;
/// Ports of UDP that let a datagram pass: DHCP (RFC 2131), multicast DNS (RFC 6762), WS-Discovery,
/// our end of a probe of WS-Discovery, to which the answers come, and the cameras' enquiry.
const HEARD: [u32; 6] = [67, 68, 5353, 3702, DISCOVERY_OWN, 52_380];
/// Our end of a probe, as `wire::wsd` sends it.
pub(super) const DISCOVERY_OWN: u32 = 53_702;

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
    a.jump_if_equal(ARP, "pass");
    a.jump_if_equal(LLDP, "pass");
    a.jump_if_equal(VLAN, "tagged");
    a.jump_if_equal(IPV6, "ipv6");
    a.jump_unless_equal(IPV4, "drop");

    a.put(Op::LoadByte(14 + 9));
    a.put(Op::ToX);
    for address in admitted.iter().take(MAX_ADMITTED) {
        a.put(Op::LoadWord(14 + 16));
        a.jump_if_equal(u32::from(*address), "admitted");
    }
    a.put(Op::FromX);
    a.jump_if_equal(ICMP, "icmp");
    a.jump_if_equal(IGMP, "igmp");
    a.jump_unless_equal(UDP, "drop");

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
    a.jump_if_equal(0, "pass");
    a.jump("drop");

    a.label("igmp");
    a.put(Op::LoadHalf(14 + 6));
    a.jump_if_bits(0x1fff, "drop");
    a.put(Op::HeaderLengthToX(14));
    a.put(Op::LoadByteAtX(14));
    a.jump_if_equal(IGMP_QUERY, "pass");
    a.jump("drop");

    a.label("admitted");
    a.put(Op::FromX);
    a.jump_if_equal(ICMP, "pass");
    a.jump_if_equal(TCP, "pass");
    a.jump_if_equal(UDP, "pass");
    a.jump("drop");

    a.label("ipv6");
    a.put(Op::LoadByte(14 + 6));
    a.jump_if_equal(ICMP6, "icmp6");
    a.jump_unless_equal(UDP, "drop");
    a.put(Op::LoadHalf(14 + 40 + 2));
    a.jump_if_equal(MDNS, "pass");
    a.jump("drop");

    a.label("icmp6");
    a.put(Op::LoadByte(14 + 40));
    for kind in HEARD6 {
        a.jump_if_equal(kind, "pass");
    }
    a.jump("drop");

    a.label("tagged");
    a.put(Op::LoadHalf(16));
    a.jump_if_equal(ARP, "pass");

    a.label("drop");
    a.put(Op::Return(0));
    a.label("pass");
    a.put(Op::Return(u32::MAX));
    a.finish()
}

#[cfg(test)]
#[path = "filter_tests.rs"]
mod tests;

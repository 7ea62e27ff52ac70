//! The filter, run by a small interpreter over sample frames.

use std::net::Ipv4Addr;

use proptest::prelude::*;

use super::{Instruction, MAX_ADMITTED, program};

/// Runs classic BPF as the kernel does; a load beyond the end drops the frame (networking/filter.rst).
fn passes(program: &[Instruction], frame: &[u8]) -> bool {
    let load = |at: usize, n: usize| -> Option<u32> {
        let bytes = frame.get(at..at.checked_add(n)?)?;
        Some(bytes.iter().fold(0, |sum, byte| sum << 8 | u32::from(*byte)))
    };
    let (mut a, mut x, mut at) = (0_u32, 0_u32, 0_usize);
    for _ in 0..10_000 {
        let (code, yes, no, k) = program[at];
        at += 1;
        let loaded = match code {
            0x20 => load(k as usize, 4),
            0x28 => load(k as usize, 2),
            0x30 => load(k as usize, 1),
            0x48 => load(x as usize + k as usize, 2),
            0x50 => load(x as usize + k as usize, 1),
            0xb1 => match load(k as usize, 1) {
                Some(byte) => {
                    x = (byte & 0xf) * 4;
                    Some(a)
                }
                None => None,
            },
            0x07 => {
                x = a;
                Some(a)
            }
            0x87 => Some(x),
            0x05 => {
                at += k as usize;
                Some(a)
            }
            0x15 => {
                at += usize::from(if a == k { yes } else { no });
                Some(a)
            }
            0x45 => {
                at += usize::from(if a & k != 0 { yes } else { no });
                Some(a)
            }
            0x06 => return k != 0,
            other => panic!("code {other:#x}"),
        };
        match loaded {
            Some(value) => a = value,
            None => return false,
        }
    }
    panic!("the program does not end")
}

fn ethernet(kind: u16, rest: &[u8]) -> Vec<u8> {
    [
        &[0x02, 0x52, 0x43, 0, 0, 1, 0x02, 0x52, 0x43, 0, 0, 2][..],
        &kind.to_be_bytes(),
        rest,
    ]
    .concat()
}

/// An IPv4 header with `words` 32-bit words, then `rest`.
fn ipv4(protocol: u8, fragment: u16, words: u8, to: [u8; 4], rest: &[u8]) -> Vec<u8> {
    let mut header = vec![0_u8; usize::from(words) * 4];
    header[0] = 0x40 | words;
    header[6..8].copy_from_slice(&fragment.to_be_bytes());
    header[9] = protocol;
    header[12..16].copy_from_slice(&[10, 40, 8, 21]);
    header[16..20].copy_from_slice(&to);
    ethernet(0x0800, &[&header[..], rest].concat())
}

fn udp(to_port: u16, words: u8) -> Vec<u8> {
    let port = to_port.to_be_bytes();
    ipv4(
        17,
        0,
        words,
        [10, 40, 8, 5],
        &[0x13, 0x88, port[0], port[1], 0, 8, 0, 0],
    )
}

#[test]
fn arp_passes_tagged_and_untagged() {
    let all = program(&[]);
    assert!(passes(&all, &ethernet(0x0806, &[0; 28])));
    let tagged = [&[0, 7][..], &[0x08, 0x06], &[0; 28]].concat();
    assert!(passes(&all, &ethernet(0x8100, &tagged)));
    let tagged_ipv4 = [&[0, 7][..], &[0x08, 0x00], &[0x45; 28]].concat();
    assert!(!passes(&all, &ethernet(0x8100, &tagged_ipv4)));
}

#[test]
fn lldp_passes_untagged() {
    let all = program(&[]);
    assert!(passes(&all, &ethernet(0x88cc, &[0; 46])));
    let tagged = [&[0, 7][..], &[0x88, 0xcc], &[0; 46]].concat();
    assert!(!passes(&all, &ethernet(0x8100, &tagged)));
}

/// An IPv6 header, then `rest`.
fn ipv6(next: u8, rest: &[u8]) -> Vec<u8> {
    let mut header = [0_u8; 40];
    header[0] = 0x60;
    header[6] = next;
    ethernet(0x86dd, &[&header[..], rest].concat())
}

#[test]
fn of_ipv6_only_what_is_listened_to_passes() {
    let all = program(&[]);
    for kind in 0..=255 {
        let heard = matches!(kind, 129 | 133..=136);
        assert_eq!(passes(&all, &ipv6(58, &[kind, 0, 0, 0])), heard, "{kind}");
    }
    let udp = |port: u16| {
        ipv6(
            17,
            &[&[0x13, 0x88][..], &port.to_be_bytes(), &[0, 8, 0, 0]].concat(),
        )
    };
    assert!(passes(&all, &udp(5353)));
    assert!(!passes(&all, &udp(5004)) && !passes(&all, &udp(3702)));
    assert!(!passes(&all, &ipv6(6, &[0; 20])), "TCP");
    assert!(
        !passes(&all, &ipv6(0, &[58, 0, 129, 0])),
        "behind an extension header"
    );
}

#[test]
fn echo_replies_pass_and_requests_do_not() {
    let all = program(&[]);
    for words in [5, 6, 15] {
        assert!(passes(&all, &ipv4(1, 0, words, [10, 40, 8, 5], &[0, 0, 0, 0])));
        assert!(!passes(&all, &ipv4(1, 0, words, [10, 40, 8, 5], &[8, 0, 0, 0])));
    }
    assert!(
        passes(&all, &ipv4(1, 0x4000, 5, [10, 40, 8, 5], &[0, 0, 0, 0])),
        "don't fragment is no fragment"
    );
    assert!(
        !passes(&all, &ipv4(1, 0x0010, 5, [10, 40, 8, 5], &[0, 0, 0, 0])),
        "a later fragment has no header"
    );
}

#[test]
fn queries_for_multicast_groups_pass_and_reports_do_not() {
    let all = program(&[]);
    // With and without the option "router alert" (RFC 2113).
    for words in [5, 6] {
        for (kind, wanted) in [
            (0x11, true),
            (0x12, false),
            (0x16, false),
            (0x17, false),
            (0x22, false),
        ] {
            let frame = ipv4(2, 0, words, [224, 0, 0, 1], &[kind, 0, 0, 0, 0, 0, 0, 0]);
            assert_eq!(passes(&all, &frame), wanted, "{kind:#x}");
        }
    }
    assert!(
        !passes(&all, &ipv4(2, 0x0010, 5, [224, 0, 0, 1], &[0x11; 8])),
        "a later fragment"
    );
}

#[test]
fn dhcp_and_discovery_pass_and_video_does_not() {
    let all = program(&[]);
    for words in [5, 8] {
        for port in [67, 68, 5353, 3702, 53_702, 52_380] {
            assert!(passes(&all, &udp(port, words)), "{port}");
        }
        for port in [5004, 554, 52381, 66, 69, 5352, 3703] {
            assert!(!passes(&all, &udp(port, words)), "{port}");
        }
    }
    assert!(!passes(&all, &ipv4(6, 0, 5, [10, 40, 8, 5], &[0; 20])), "TCP");
    assert!(!passes(&all, &ethernet(0x88cd, &[0; 60])), "another of its kind");
}

#[test]
fn admitted_addresses_get_connections_and_nobody_else() {
    let borrowed = Ipv4Addr::new(192, 168, 0, 77);
    let all = program(&[Ipv4Addr::new(192, 168, 1, 77), borrowed]);
    for protocol in [1, 6, 17] {
        assert!(
            passes(&all, &ipv4(protocol, 0, 5, borrowed.octets(), &[8; 20])),
            "{protocol}"
        );
        assert!(
            !passes(&all, &ipv4(protocol, 0, 5, [10, 40, 8, 5], &[8; 20])),
            "{protocol}"
        );
    }
    assert!(!passes(&all, &ipv4(2, 0, 5, borrowed.octets(), &[8; 20])), "IGMP");
    assert!(passes(&all, &udp(68, 5)), "and the rest is as before");
}

#[test]
fn the_longest_program_still_fits_the_kernel() {
    let many: Vec<Ipv4Addr> = (0..1000).map(|n| Ipv4Addr::from(0x0a00_0000 + n)).collect();
    let all = program(&many);
    // BPF_MAXINSNS in linux/bpf_common.h.
    assert!(all.len() <= 4096);
    assert!(passes(
        &all,
        &ipv4(6, 0, 5, many[MAX_ADMITTED - 1].octets(), &[8; 20])
    ));
    assert!(!passes(
        &all,
        &ipv4(6, 0, 5, many[MAX_ADMITTED].octets(), &[8; 20])
    ));
}

proptest! {
    #[test]
    fn any_bytes_end_in_a_verdict(frame in proptest::collection::vec(any::<u8>(), 0..80)) {
        let verdict = passes(&program(&[Ipv4Addr::new(192, 168, 0, 77)]), &frame);
        prop_assert!(!verdict || frame.len() >= 14);
    }
}

//! Frames on a real kernel: what wakes us, what is seen, what is lost.
#![cfg(target_os = "linux")]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a lab that fails is a failed test"
)]

mod lab;

use std::collections::BTreeSet;
use std::net::{Ipv4Addr, UdpSocket};

use link::{Live, LiveEvent, OpenHow, PortError};

use lab::{LONG, NEAR, answer, block_on, cable, count, far, probe, ready, request, run, sh, until};

const NEAR_IP: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 5);
const FAR_IP: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);
const VIDEO_FRAMES: u64 = 20_000;

/// Frames that the interface received so far, by the kernel's own count.
fn received() -> u64 {
    let table = std::fs::read_to_string("/proc/self/net/dev").unwrap();
    let line = table
        .lines()
        .find(|line| line.trim_start().starts_with("near:"))
        .unwrap();
    line.split_once(':')
        .unwrap()
        .1
        .split_whitespace()
        .nth(1)
        .unwrap()
        .parse()
        .unwrap()
}

fn video() {
    let socket = UdpSocket::bind((FAR_IP, 0)).unwrap();
    ready();
    for _ in 0..VIDEO_FRAMES {
        socket.send_to(&[0x47; 1_400], (NEAR_IP, 5004)).unwrap();
    }
}

#[test]
fn video_never_wakes_us() {
    const NAME: &str = "video_never_wakes_us";
    run(NAME, &[("video", video)], || {
        cable("10.40.8.5/24", "10.40.8.21/24");
        // A taker, so that the far side is not told that nobody listens.
        let _taker = UdpSocket::bind((NEAR_IP, 5004)).unwrap();
        block_on(async {
            let mut live = Live::open("near", OpenHow::Raw).unwrap();
            let before = received();
            let mut player = far(NAME, "video");
            let (wakes, frames) = count(&mut live, || player.ended().is_some()).await;
            assert_eq!(player.ended(), Some(true));
            assert!(received() - before >= VIDEO_FRAMES, "the traffic really came");
            for frame in &frames {
                let kernels = [[0x08, 0x06], [0x86, 0xdd]];
                let ethertype = [frame.bytes[12], frame.bytes[13]];
                assert!(
                    kernels.contains(&ethertype),
                    "only ARP and IPv6's own came through: {ethertype:?}"
                );
            }
            assert!(
                frames.len() <= 8 && wakes <= 12,
                "{} frames, woken {wakes} times",
                frames.len()
            );
            assert_eq!(live.dropped(), 0);
        });
    });
}

#[test]
fn own_frames_are_ignored_and_the_card_stays_shy() {
    run("own_frames_are_ignored_and_the_card_stays_shy", &[], || {
        cable("10.40.8.5/24", "10.40.8.21/24");
        block_on(async {
            let mut live = Live::open("near", OpenHow::Auto).unwrap();
            assert_eq!(live.mode(), vocab::Mode::Raw);
            // The kernel asks too, and its question leaves by the same card.
            let kernel = UdpSocket::bind((NEAR_IP, 0)).unwrap();
            kernel.send_to(b"x", (Ipv4Addr::new(10, 40, 8, 77), 9)).unwrap();
            for n in 1..=3 {
                live.send(&request(NEAR, NEAR_IP, FAR_IP)).unwrap();
                let heard = until(&mut live, "an answer", |event, frame| {
                    if event == LiveEvent::Frame {
                        assert_ne!(frame.bytes[6..12], NEAR.octets(), "one of our own");
                        return answer(frame);
                    }
                    None
                });
                assert_eq!(heard.await, FAR_IP, "{n}");
            }
            let shown = sh("ip -d link show near");
            assert!(shown.contains("promiscuity 0 "), "{shown}");
        });
    });
}

fn tagged() {
    block_on(async {
        let mut live = Live::open("far", OpenHow::Raw).unwrap();
        let mut frame = probe(lab::FAR, Ipv4Addr::new(10, 40, 9, 1));
        // Priority 5 and identifier 7 (IEEE 802.1Q).
        frame.splice(12..12, [0x81, 0x00, 0xa0, 0x07]);
        ready();
        live.send(&frame).unwrap();
    });
}

#[test]
fn a_virtual_lan_tag_is_seen() {
    const NAME: &str = "a_virtual_lan_tag_is_seen";
    run(NAME, &[("tagged", tagged)], || {
        cable("10.40.8.5/24", "10.40.8.21/24");
        block_on(async {
            let mut live = Live::open("near", OpenHow::Raw).unwrap();
            let _player = far(NAME, "tagged");
            let (vlan, kind) = until(&mut live, "a tagged question", |event, frame| {
                let asked = frame.bytes.get(38..42) == Some(&[10, 40, 9, 1]);
                (event == LiveEvent::Frame && asked).then(|| (frame.vlan, frame.bytes[12..14].to_vec()))
            })
            .await;
            assert_eq!((vlan, kind.as_slice()), (Some(7), &[0x08, 0x06][..]));
        });
    });
}

#[test]
fn a_dense_subnet_is_heard_whole_through_a_small_buffer() {
    run(
        "a_dense_subnet_is_heard_whole_through_a_small_buffer",
        &[],
        || {
            cable("10.40.8.5/22", "10.40.8.21/22");
            // The far kernel answers for every address of the subnet.
            sh("ip -n far route add local 10.40.8.0/22 dev lo");
            block_on(async {
                let mut live = Live::open("near", OpenHow::Raw).unwrap();
                let all: Vec<Ipv4Addr> = (1..1023).map(|n| Ipv4Addr::from(0x0a28_0800 + n)).collect();
                let mut heard = BTreeSet::new();
                // The sender clocks itself: the next batch leaves when this one is answered.
                for batch in all.chunks(200) {
                    for address in batch {
                        while let Err(e) = live.send(&probe(NEAR, *address)) {
                            assert!(matches!(e, PortError::Busy), "{e}");
                            live.writable().await;
                        }
                    }
                    let wanted: BTreeSet<Ipv4Addr> = batch.iter().copied().collect();
                    until(&mut live, "a whole batch", |event, frame| {
                        if event == LiveEvent::Frame {
                            heard.extend(answer(frame));
                        }
                        wanted.is_subset(&heard).then_some(())
                    })
                    .await;
                }
                assert_eq!(heard.len(), 1022);
                assert_eq!(live.dropped(), 0);
            });
        },
    );
}

const STORM: u32 = 20_000;

fn storm() {
    block_on(async {
        let mut live = Live::open("far", OpenHow::Raw).unwrap();
        ready();
        for n in 0..STORM {
            let frame = probe(lab::FAR, Ipv4Addr::from(0x0a28_0800 + n));
            while let Err(e) = live.send(&frame) {
                assert!(matches!(e, PortError::Busy), "{e}");
                live.writable().await;
            }
        }
    });
}

#[test]
fn what_the_kernel_drops_is_counted() {
    const NAME: &str = "what_the_kernel_drops_is_counted";
    run(NAME, &[("storm", storm)], || {
        cable("10.40.8.5/24", "10.40.8.21/24");
        block_on(async {
            let mut live = Live::open("near", OpenHow::Raw).unwrap();
            let mut player = far(NAME, "storm");
            // Not reading meanwhile is the point.
            let end = std::time::Instant::now() + LONG;
            while player.ended().is_none() {
                assert!(std::time::Instant::now() < end, "the storm does not end");
                std::thread::yield_now();
            }
            assert_eq!(player.ended(), Some(true));
            let dropped = live.dropped();
            assert!(dropped > 0, "a small buffer cannot hold {STORM} frames");
            assert_eq!(live.dropped(), dropped, "the sum stays when nothing is added");
            let mut frame = link::Frame::default();
            let mut heard = 0;
            while let Some(event) = live.next(&mut frame) {
                heard += u64::from(event == LiveEvent::Frame && frame.bytes[6..12] == lab::FAR.octets());
            }
            assert!(heard > 0);
            assert!(
                (u64::from(STORM)..u64::from(STORM) + 20).contains(&(heard + dropped)),
                "{heard} heard and {dropped} dropped of {STORM}"
            );
        });
    });
}

#[test]
fn a_kernels_query_for_multicast_groups_passes() {
    run("a_kernels_query_for_multicast_groups_passes", &[], || {
        cable("10.40.8.5/24", "10.40.8.21/24");
        block_on(async {
            let mut live = Live::open("near", OpenHow::Raw).unwrap();
            // The far side is a switch that asks, as one does that looks into IGMP.
            sh(
                "ip -n far link add name hub type bridge mcast_snooping 1 mcast_querier 1 mcast_startup_query_interval 20; \
                ip -n far link set far master hub; ip -n far link set hub up",
            );
            let group = until(&mut live, "a query", |event, frame| {
                let bytes = &frame.bytes;
                // IPv4, protocol 2 (RFC 2236), behind a header of so many words.
                let igmp = event == LiveEvent::Frame && bytes[12..14] == [0x08, 0x00] && bytes[23] == 2;
                let at = 14 + usize::from(bytes[14] & 0xf) * 4;
                (igmp && bytes[at] == 0x11).then(|| bytes[at + 4..at + 8].to_vec())
            })
            .await;
            assert_eq!(group, [0, 0, 0, 0], "who listens to any group");
        });
    });
}

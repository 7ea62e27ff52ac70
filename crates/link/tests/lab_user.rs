//! The user-space dialer against a kernel on a foreign subnet, over a cable whose checksums are
//! never finished.
#![cfg(target_os = "linux")]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a lab that fails is a failed test"
)]

mod lab;

use std::io::{Read, Write};
use std::net::{Ipv4Addr, SocketAddrV4, TcpListener};

use link::{Clock, Dial, DialEvent, DialId, Frame, Live, LiveEvent, OpenHow, Transport, UserDialer};

use lab::{FAR, LONG, NEAR, block_on, cable, far, ready, run};

const THERE: Ipv4Addr = Ipv4Addr::new(192, 168, 0, 20);
const BORROWED: Ipv4Addr = Ipv4Addr::new(192, 168, 0, 77);
const MUCH: usize = 200_000;

/// Reads a line, answers with much, and ends.
fn talker() {
    let listener = TcpListener::bind((THERE, 5678)).unwrap();
    ready();
    let (mut connection, _) = listener.accept().unwrap();
    let mut buffer = [0; 5];
    connection.read_exact(&mut buffer).unwrap();
    assert_eq!(&buffer, b"much\n");
    let much: Vec<u8> = (0..MUCH).map(|n| (n % 251) as u8).collect();
    connection.write_all(&much).unwrap();
}

/// Works for the dialer until `wanted` has what it wants.
async fn work(
    live: &mut Live,
    dialer: &mut UserDialer,
    clock: Clock,
    mut wanted: impl FnMut(DialEvent) -> bool,
) {
    let mut frame = Frame::default();
    let all = async {
        loop {
            while let Some(event) = live.next(&mut frame) {
                if event == LiveEvent::Frame {
                    dialer.receive(clock.now(), &frame);
                }
            }
            while let Some(frame) = dialer.transmit(clock.now()) {
                live.send(&frame).unwrap();
            }
            while let Some((_, event)) = dialer.event() {
                if wanted(event) {
                    return;
                }
            }
            let rest = dialer.next_wake().map_or(LONG, |at| at.since(clock.now()));
            let _ = tokio::time::timeout(rest, live.ready()).await;
        }
    };
    tokio::time::timeout(LONG, all)
        .await
        .expect("the dial's end in time");
}

#[test]
fn a_kernel_on_a_foreign_subnet_is_spoken_to() {
    const NAME: &str = "a_kernel_on_a_foreign_subnet_is_spoken_to";
    run(NAME, &[("talker", talker)], || {
        cable("10.40.8.5/24", "192.168.0.20/24");
        let mut player = far(NAME, "talker");
        block_on(async {
            let mut live = Live::open("near", OpenHow::Raw).unwrap();
            live.admit(&[BORROWED]).unwrap();
            let clock = Clock::start();
            let mut dialer = UserDialer::new(NEAR, 1);
            let dial = |id, port, transport| Dial {
                id: DialId(id),
                to: SocketAddrV4::new(THERE, port),
                transport,
                mac: Some(FAR),
                from: Some(BORROWED),
            };
            assert!(dialer.open(clock.now(), dial(1, 5678, Transport::Tcp)));
            assert!(dialer.send(clock.now(), DialId(1), b"much\n"));
            let mut got = Vec::new();
            work(&mut live, &mut dialer, clock, |event| match event {
                DialEvent::Data(data) => {
                    got.extend(data);
                    false
                }
                other => other == DialEvent::Closed,
            })
            .await;
            assert_eq!(got.len(), MUCH);
            assert!(
                got.iter()
                    .enumerate()
                    .all(|(n, byte)| usize::from(*byte) == n % 251)
            );
            while player.ended().is_none() {
                tokio::task::yield_now().await;
            }
            assert_eq!(player.ended(), Some(true));
            for (id, transport) in [(2, Transport::Tcp), (3, Transport::Udp)] {
                assert!(dialer.open(clock.now(), dial(id, 80, transport)));
                dialer.send(clock.now(), DialId(id), b"x");
                work(&mut live, &mut dialer, clock, |event| event == DialEvent::Refused).await;
            }
        });
    });
}

//! The unprivileged means and the system's dialer on a real kernel.
#![cfg(target_os = "linux")]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a lab that fails is a failed test"
)]

mod lab;

use std::io::{Read, Write};
use std::net::{Ipv4Addr, SocketAddrV4, TcpListener, UdpSocket};
use std::time::Duration;

use link::{Dial, DialEvent, DialId, Frame, Live, LiveEvent, OpenHow, PortError, Transport};
use vocab::{FrameSize, Mode};

use lab::{FAR, block_on, cable, far, ready, run, sh, until};

const FAR_IP: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);
const NOBODY: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 99);

#[test]
fn the_kernels_table_shows_who_is_there_and_who_is_not() {
    run("the_kernels_table_shows_who_is_there_and_who_is_not", &[], || {
        cable("10.40.8.5/24", "10.40.8.21/24");
        // An old entry is no sign of life.
        sh("ip neigh add 10.40.8.50 lladdr 02:52:43:00:00:50 nud stale dev near");
        block_on(async {
            let mut live = Live::open("near", OpenHow::Unprivileged).unwrap();
            assert_eq!(live.mode(), Mode::Unprivileged);
            assert!(matches!(live.send(&[0; 60]), Err(PortError::Other(_))));
            sh(
                "ip neigh add 10.40.8.51 lladdr 02:52:43:00:00:51 nud stale dev near; ip neigh add 10.40.8.52 dev near nud failed",
            );
            live.poke(FAR_IP).unwrap();
            live.poke(NOBODY).unwrap();
            assert!(matches!(
                live.poke(Ipv4Addr::new(192, 168, 0, 20)),
                Err(PortError::Other(_))
            ));
            let (mut there, mut silent) = (None, false);
            until(&mut live, "both verdicts", |event, _| {
                match event {
                    LiveEvent::Neighbour { address: FAR_IP, mac } => there = mac,
                    LiveEvent::Neighbour { address: NOBODY, mac } => silent = mac.is_none(),
                    LiveEvent::Neighbour { address, .. } => panic!("{address} was not asked for"),
                    _ => {}
                }
                (there.is_some() && silent).then_some(())
            })
            .await;
            assert_eq!(there, Some(FAR));
        });
    });
}

#[test]
fn echo_replies_come_with_their_hardware() {
    run("echo_replies_come_with_their_hardware", &[], || {
        cable("10.40.8.5/24", "10.40.8.21/24");
        block_on(async {
            // A new namespace lets nobody.
            let mut deaf = Live::open("near", OpenHow::Unprivileged).unwrap();
            assert!(!deaf.can_ping());
            assert!(deaf.ping(FAR_IP, 1).is_err());
            sh("echo 0 0 > /proc/sys/net/ipv4/ping_group_range");
            let mut live = Live::open("near", OpenHow::Unprivileged).unwrap();
            assert!(live.can_ping());
            for sequence in [1, 2, 0xfffe] {
                while let Err(e) = live.ping(FAR_IP, sequence) {
                    assert!(matches!(e, PortError::Busy), "{e}");
                    live.writable().await;
                }
                let mut replied = false;
                let mac = until(&mut live, "a reply and its hardware", |event, _| {
                    match event {
                        LiveEvent::EchoReply {
                            address: FAR_IP,
                            sequence: n,
                            data: 16,
                        } if n == sequence => replied = true,
                        LiveEvent::Neighbour { address: FAR_IP, mac } if replied => return mac,
                        _ => {}
                    }
                    None
                })
                .await;
                assert_eq!(mac, FAR);
            }
        });
    });
}

#[test]
fn a_whole_subnet_is_poked() {
    run("a_whole_subnet_is_poked", &[], || {
        cable("10.40.8.5/24", "10.41.0.1/24");
        sh("ip -n far route add local 10.40.8.128/25 dev lo; ip -n far route add 10.40.8.0/25 dev far");
        block_on(async {
            let mut live = Live::open("near", OpenHow::Unprivileged).unwrap();
            let mut heard = std::collections::BTreeSet::new();
            for n in 128..255 {
                while let Err(e) = live.poke(Ipv4Addr::new(10, 40, 8, n)) {
                    assert!(matches!(e, PortError::Busy), "{e}");
                    live.writable().await;
                }
            }
            until(&mut live, "all of them", |event, _| {
                if let LiveEvent::Neighbour {
                    address,
                    mac: Some(FAR),
                } = event
                {
                    heard.insert(address);
                }
                (heard.len() == 127).then_some(())
            })
            .await;
        });
    });
}

/// The kernel is as sure of the address as it can be, whether its host is there or not.
fn sure_of(address: Ipv4Addr) {
    sh(&format!(
        "ip neigh replace {address} lladdr {FAR} nud reachable dev near"
    ));
}

#[test]
fn a_host_that_the_kernel_is_sure_of_proves_itself_by_refusing() {
    run(
        "a_host_that_the_kernel_is_sure_of_proves_itself_by_refusing",
        &[],
        || {
            cable("10.40.8.5/24", "10.40.8.21/24");
            // The far side need not look for us, so that nothing but the refusal can tell.
            sh("ip -n far neigh replace 10.40.8.5 lladdr 02:52:43:00:00:05 nud permanent dev far");
            sure_of(FAR_IP);
            block_on(async {
                let mut live = Live::open("near", OpenHow::Unprivileged).unwrap();
                assert!(!live.can_ping());
                for _ in 0..3 {
                    live.poke(FAR_IP).unwrap();
                    let mac = until(&mut live, "the host's proof", |event, _| match event {
                        LiveEvent::Neighbour { address: FAR_IP, mac } => Some(mac),
                        _ => None,
                    })
                    .await;
                    assert_eq!(mac, Some(FAR));
                }
            });
        },
    );
}

#[test]
fn a_host_that_has_gone_proves_nothing_although_the_kernel_is_sure_of_it() {
    run(
        "a_host_that_has_gone_proves_nothing_although_the_kernel_is_sure_of_it",
        &[],
        || {
            const ROUTER: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 1);
            const SPOKEN_FOR: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 30);
            cable("10.40.8.5/24", "10.40.8.1/24");
            // A router that complains of what it cannot reach, as often as there is reason.
            // Redirects would use up its allowance of complaints.
            sh("ip netns exec far sh -ec 'cd /proc/sys/net/ipv4; echo 1 > ip_forward; echo 0 > icmp_ratelimit;
                    for of in all far; do echo 0 > conf/$of/send_redirects; done';
                 ip -n far route add unreachable 10.40.8.30");
            for address in [FAR_IP, SPOKEN_FOR, ROUTER] {
                sure_of(address);
            }
            block_on(async {
                let mut live = Live::open("near", OpenHow::Unprivileged).unwrap();
                for address in [FAR_IP, SPOKEN_FOR, ROUTER] {
                    live.poke(address).unwrap();
                }
                let mut router = false;
                let all = until(&mut live, "nothing more", |event, _| {
                    match event {
                        LiveEvent::Neighbour { address: ROUTER, mac } => router = mac == Some(FAR),
                        LiveEvent::Neighbour { address, mac } => assert_eq!(mac, None, "{address}"),
                        _ => {}
                    }
                    None::<()>
                });
                // The router looks for the first one for three seconds before it complains.
                let all = tokio::time::timeout(Duration::from_secs(4), all).await;
                assert!(all.is_err());
                assert!(router, "the one that is there refuses");
            });
        },
    );
}

/// Echoes one connection on 5678, keeps 5679 open without a word, echoes datagrams on 52381.
fn device() {
    let stream = TcpListener::bind((FAR_IP, 5678)).unwrap();
    let datagrams = UdpSocket::bind((FAR_IP, 52381)).unwrap();
    let echo = std::thread::spawn(move || {
        let mut buffer = [0; 2000];
        while let Ok((n, from)) = datagrams.recv_from(&mut buffer) {
            datagrams.send_to(&buffer[..n], from).unwrap();
        }
    });
    ready();
    for connection in stream.incoming() {
        let mut connection = connection.unwrap();
        let mut buffer = [0; 2000];
        while let Ok(n @ 1..) = connection.read(&mut buffer) {
            connection.write_all(&buffer[..n]).unwrap();
            if buffer[..n].ends_with(b"bye") {
                break;
            }
        }
    }
    echo.join().unwrap();
}

fn dial(id: u64, transport: Transport, to: Ipv4Addr, port: u16) -> Dial {
    Dial {
        id: DialId(id),
        to: SocketAddrV4::new(to, port),
        transport,
        mac: None,
        from: None,
    }
}

#[test]
fn the_systems_dialer_tells_refusal_from_silence_and_no_way() {
    const NAME: &str = "the_systems_dialer_tells_refusal_from_silence_and_no_way";
    run(NAME, &[("device", device)], || {
        cable("10.40.8.5/24", "10.40.8.21/24");
        // Impatient, so that a silent address shows as unreachable within the test.
        sh("echo 100 > /proc/sys/net/ipv4/neigh/near/retrans_time_ms || true");
        let _device = far(NAME, "device");
        block_on(async {
            for how in [OpenHow::Raw, OpenHow::Unprivileged] {
                let mut live = Live::open("near", how).unwrap();
                let next = async |live: &mut Live| {
                    until(live, "a dial's event", |event, _: &Frame| match event {
                        LiveEvent::Dial(id, event) => Some((id.0, event)),
                        _ => None,
                    })
                    .await
                };

                live.dial(dial(1, Transport::Tcp, FAR_IP, 5678));
                assert_eq!(next(&mut live).await, (1, DialEvent::Opened));
                live.dial_send(DialId(1), b"one, bye".to_vec());
                assert_eq!(next(&mut live).await, (1, DialEvent::Data(b"one, bye".to_vec())));
                assert_eq!(next(&mut live).await, (1, DialEvent::Closed));

                live.dial(dial(2, Transport::Tcp, FAR_IP, 80));
                assert_eq!(next(&mut live).await, (2, DialEvent::Refused));

                live.dial(dial(3, Transport::Udp, FAR_IP, 52381));
                assert_eq!(next(&mut live).await, (3, DialEvent::Opened));
                live.dial_send(DialId(3), b"hello".to_vec());
                assert_eq!(next(&mut live).await, (3, DialEvent::Data(b"hello".to_vec())));
                live.dial_close(DialId(3));

                live.dial(dial(4, Transport::Udp, FAR_IP, 1259));
                assert_eq!(next(&mut live).await, (4, DialEvent::Opened));
                live.dial_send(DialId(4), b"hello".to_vec());
                assert_eq!(next(&mut live).await, (4, DialEvent::Refused));

                // A foreign network, even though the kernel would try it on the link.
                live.dial(dial(5, Transport::Tcp, Ipv4Addr::new(203, 0, 113, 9), 80));
                assert_eq!(next(&mut live).await, (5, DialEvent::NoWay));
                // An address that is not ours to speak from.
                let from = Some(Ipv4Addr::new(192, 168, 0, 77));
                live.dial(Dial {
                    from,
                    ..dial(6, Transport::Tcp, FAR_IP, 5678)
                });
                assert_eq!(next(&mut live).await, (6, DialEvent::NoWay));

                // Nobody there: not a word, also after the kernel gave up on the address.
                live.dial(dial(7, Transport::Tcp, NOBODY, 80));
                live.dial(dial(8, Transport::Udp, NOBODY, 52381));
                assert_eq!(next(&mut live).await, (8, DialEvent::Opened));
                live.dial_send(DialId(8), b"hello".to_vec());
                let word = tokio::time::timeout(Duration::from_secs(4), next(&mut live)).await;
                assert!(word.is_err(), "{word:?}");
            }
        });
    });
}

#[test]
fn dials_are_bounded() {
    const NAME: &str = "dials_are_bounded";
    run(NAME, &[("device", device)], || {
        cable("10.40.8.5/24", "10.40.8.21/24");
        let _device = far(NAME, "device");
        block_on(async {
            let mut live = Live::open("near", OpenHow::Raw).unwrap();
            for id in 0..=link::MAX_DIALS as u64 {
                live.dial(dial(id, Transport::Udp, FAR_IP, 52381));
            }
            let mut opened = 0;
            until(&mut live, "one too many", |event, _| match event {
                LiveEvent::Dial(_, DialEvent::Opened) => {
                    opened += 1;
                    None
                }
                LiveEvent::Dial(id, DialEvent::NoWay) => {
                    assert_eq!(id, DialId(link::MAX_DIALS as u64));
                    Some(())
                }
                _ => None,
            })
            .await;
            live.dial_send(DialId(0), vec![0; 70_000]);
            until(&mut live, "the end of the greedy one", |event, _| {
                (event == LiveEvent::Dial(DialId(0), DialEvent::Closed)).then_some(())
            })
            .await;
            assert!(opened <= link::MAX_DIALS);
        });
    });
}

#[test]
fn an_echo_of_full_size_goes_whole_or_not_at_all() {
    run("an_echo_of_full_size_goes_whole_or_not_at_all", &[], || {
        cable("10.40.8.5/24", "10.40.8.21/24");
        sh("echo 0 0 > /proc/sys/net/ipv4/ping_group_range");
        block_on(async {
            let mut live = Live::open("near", OpenHow::Unprivileged).unwrap();
            for (sequence, size) in (1..).zip(FrameSize::ALL) {
                live.ping_sized(FAR_IP, sequence, size).unwrap();
                let wanted = usize::from(size.echo_data());
                let back = until(&mut live, "the whole of it", |event, _| match event {
                    LiveEvent::EchoReply {
                        sequence: n, data, ..
                    } if n == sequence => Some(data),
                    _ => None,
                })
                .await;
                assert_eq!(back, wanted);
            }
            // Of a frame that the interface has no room for the kernel makes no pieces.
            sh("ip link set near mtu 1400");
            let refused = live.ping_sized(FAR_IP, 9, FrameSize::Full);
            assert!(matches!(refused, Err(PortError::Other(_))), "{refused:?}");
            live.ping_sized(FAR_IP, 10, FrameSize::Large).unwrap();
        });
    });
}

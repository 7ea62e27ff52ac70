//! The pump over a carrier without a host: what is said to it, and what ends.

use std::net::Ipv4Addr;

use link::Frame;
use tokio::io::AsyncWriteExt;
use vocab::Mac;

use super::*;

fn carrier(now: Moment) -> Carrier {
    let (own, peer) = (
        Mac::new([2, 0x52, 0x43, 0, 0, 1]),
        Mac::new([2, 0x52, 0x43, 0, 0, 0x21]),
    );
    let (from, to) = (Ipv4Addr::new(192, 168, 0, 201), Ipv4Addr::new(192, 168, 0, 20));
    Carrier::new(now, (own, from), (peer, to), 7).unwrap()
}

fn run<T>(work: impl Future<Output = T>) -> T {
    let runtime = tokio::runtime::Builder::new_current_thread().build().unwrap();
    runtime.block_on(work)
}

#[test]
fn without_a_carrier_nothing_is_opened_and_nobody_waits() {
    run(async {
        let (mut pump, desk) = Pump::new();
        let asks = tokio::spawn(async move { desk.connect(80).await.map(drop) });
        tokio::task::yield_now().await;
        assert!(!pump.turn(Moment::ZERO, None));
        assert_eq!(asks.await.unwrap(), Err(Stage::Cut));
    });
}

#[test]
fn a_host_that_says_nothing_is_told_as_such_and_leaves_nothing_behind() {
    run(async {
        let (mut pump, desk) = Pump::new();
        let mut carrier = carrier(Moment::ZERO);
        let asks = tokio::spawn(async move { desk.connect(80).await.map(drop) });
        tokio::task::yield_now().await;
        let mut now = Moment::ZERO;
        let mut frames = 0;
        while pump.turn(now, Some(&mut carrier)) || pump.traffic().now > 0 {
            while carrier.transmit(now).is_some() {
                frames += 1;
            }
            now = now + Duration::from_millis(100);
            assert!(now < Moment::from_secs(20));
        }
        assert_eq!(asks.await.unwrap(), Err(Stage::Silent));
        assert!((2..10).contains(&frames), "a few tries: {frames}");
        assert_eq!((pump.traffic().now, pump.traffic().all), (0, 1));
    });
}

#[test]
fn whoever_does_not_wait_any_more_costs_the_device_nothing() {
    run(async {
        let (mut pump, desk) = Pump::new();
        let mut carrier = carrier(Moment::ZERO);
        let asks = tokio::spawn(async move { desk.connect(80).await.map(drop) });
        tokio::task::yield_now().await;
        pump.turn(Moment::ZERO, Some(&mut carrier));
        assert_eq!(pump.traffic().now, 1);
        asks.abort();
        tokio::task::yield_now().await;
        pump.turn(Moment::ZERO, Some(&mut carrier));
        assert_eq!(pump.traffic().now, 0);
    });
}

#[test]
fn when_the_address_is_gone_all_connections_are_cut() {
    run(async {
        let (mut pump, desk) = Pump::new();
        let mut carrier = carrier(Moment::ZERO);
        let asks = tokio::spawn(async move { desk.connect(80).await.map(drop) });
        tokio::task::yield_now().await;
        pump.turn(Moment::ZERO, Some(&mut carrier));
        pump.cut_all();
        assert_eq!(asks.await.unwrap(), Err(Stage::Cut));
        assert_eq!(pump.traffic().now, 0);
    });
}

#[test]
fn a_client_keeps_its_exchange_and_gets_its_own_answers() {
    run(async {
        let (mut pump, desk) = Pump::new();
        let mut carrier = carrier(Moment::ZERO);
        let (give, _replies) = mpsc::channel(4);
        desk.wish(Wish::Listen(52_381, give)).await;
        let client = |port: u16| (52_381, SocketAddr::from((Ipv4Addr::LOCALHOST, port)));
        for port in [5_000, 5_001, 5_000] {
            desk.wish(Wish::Send(client(port), vec![1, 2, 3])).await;
        }
        assert!(pump.turn(Moment::ZERO, Some(&mut carrier)));
        let mut ports = std::collections::BTreeSet::new();
        while let Some(bytes) = carrier.transmit(Moment::ZERO) {
            // The source port of a datagram in an Ethernet frame with an IPv4 header of 20 bytes.
            ports.insert([bytes[34], bytes[35]]);
            let _ = carrier.receive(
                Moment::ZERO,
                &Frame {
                    bytes,
                    ..Frame::default()
                },
            );
        }
        assert_eq!(ports.len(), 2, "one for each client");
        let traffic = pump.traffic();
        assert_eq!((traffic.now, traffic.all, traffic.up), (2, 2, 9));
        pump.turn(Moment::from_secs(61), Some(&mut carrier));
        assert_eq!(pump.traffic().now, 0, "quiet for a minute");
    });
}

#[test]
fn a_line_that_was_left_wakes_the_pump() {
    run(async {
        let (pump, _desk) = Pump::new();
        let (end, mut line) = line(Arc::clone(&pump.stir));
        let stirred = pump.stirred();
        line.write_all(b"x").await.unwrap();
        stirred.await;
        drop(line);
        pump.stirred().await;
        assert!(end.is_left());
    });
}

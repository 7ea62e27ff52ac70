//! Control ports through a client stack on our jack: they speak, refuse, or keep silent.

mod common;

use common::{Bench, Came, Dialer, host, ip, plan, secs, word};
use smoltcp::phy::ChecksumCapabilities;
use smoltcp::wire::{IpAddress, TcpControl, TcpPacket, TcpRepr, TcpSeqNumber};
use venue::{Deed, Service};
use wire::control::Verdict;

const NOW: Service = Service::Open {
    after: std::time::Duration::ZERO,
};

#[test]
fn every_control_word_is_answered_in_its_protocol() {
    for text in [
        "visca-udp",
        "visca-raw-udp",
        "visca-tcp",
        "rtsp",
        "http",
        "https",
        "onvif",
        "tcp:9000",
        "http:8080",
    ] {
        let mut plan = plan();
        plan.host(host(&plan, 21).serve(word(text), NOW));
        let mut bench = Bench::new(plan, 1);
        let (came, verdict) = Dialer::new().control(&mut bench, ip(21), word(text));
        assert!(
            matches!(verdict, Verdict::Answered(_)),
            "{text}: {came:?} {verdict:?}"
        );
    }
}

#[test]
fn http_and_onvif_share_a_port() {
    let mut plan = plan();
    plan.host(host(&plan, 21).serve(word("http"), NOW).serve(word("onvif"), NOW));
    let mut bench = Bench::new(plan, 1);
    let mut dialer = Dialer::new();
    for text in ["http", "onvif", "http"] {
        let (_, verdict) = dialer.control(&mut bench, ip(21), word(text));
        assert!(matches!(verdict, Verdict::Answered(_)), "{text}");
    }
}

#[test]
fn a_port_that_nobody_serves_refuses_and_a_mute_one_is_silent() {
    let mut plan = plan();
    plan.host(
        host(&plan, 21)
            .serve(word("http"), Service::Mute)
            .serve(word("visca-udp"), Service::Mute),
    );
    let mut bench = Bench::new(plan, 1);
    let mut dialer = Dialer::new();
    assert_eq!(dialer.tcp(&mut bench, ip(21), 554, b"x"), Came::Refused);
    assert_eq!(dialer.udp(&mut bench, ip(21), 1259, b"x"), Came::Refused);
    assert_eq!(dialer.control(&mut bench, ip(21), word("http")).0, Came::Silence);
    assert_eq!(
        dialer.control(&mut bench, ip(21), word("visca-udp")).0,
        Came::Silence
    );
}

#[test]
fn services_stop_and_start_by_the_plan() {
    let mut plan = plan();
    let host = plan.host(host(&plan, 21).serve(word("http"), NOW));
    plan.at(secs(10), Deed::StopService(host, word("http")));
    plan.at(secs(20), Deed::StartService(host, word("http")));
    let mut bench = Bench::new(plan, 1);
    let mut dialer = Dialer::new();
    let mut ask = |bench: &mut Bench| dialer.control(bench, ip(21), word("http")).0;
    assert!(matches!(ask(&mut bench), Came::Answer(_)));
    bench.run_to(11);
    assert_eq!(ask(&mut bench), Came::Refused);
    bench.run_to(21);
    assert!(matches!(ask(&mut bench), Came::Answer(_)));
}

#[test]
fn a_device_with_one_place_has_no_ear_for_a_second_caller() {
    let mut plan = plan();
    plan.host(host(&plan, 21).serve(word("visca-tcp"), NOW).clients(1));
    let mut bench = Bench::new(plan, 1);
    // The first caller opens a connection and goes away without closing it; the second calls a
    // second later. Both speak from the same host, each from a port of its own.
    let path = wire::Path {
        from_mac: common::OURS,
        from: common::OUR_IP,
        to_mac: common::mac(21),
        to: ip(21),
    };
    for caller in [40_000, 40_001] {
        bench.send(&path.frame(wire::ipv4::TCP, &tcp_syn(caller, 5678)));
        bench.run(secs(1));
    }
    let mut answered: Vec<u16> = Vec::new();
    for (_, bytes) in &bench.heard {
        let frame = wire::Ethernet::parse(bytes).unwrap();
        if let Ok(packet) = wire::Ipv4::parse(frame.payload)
            && packet.protocol == wire::ipv4::TCP
        {
            assert_eq!(packet.payload[13], 0x12, "SYN and ACK");
            answered.push(u16::from_be_bytes([packet.payload[2], packet.payload[3]]));
        }
    }
    answered.dedup();
    assert_eq!(answered, [40_000]);
}

/// A SYN with its checksum.
fn tcp_syn(from: u16, to: u16) -> Vec<u8> {
    let syn = TcpRepr {
        src_port: from,
        dst_port: to,
        control: TcpControl::Syn,
        seq_number: TcpSeqNumber(1),
        ack_number: None,
        window_len: 1024,
        window_scale: None,
        max_seg_size: None,
        sack_permitted: false,
        sack_ranges: [None; 3],
        timestamp: None,
        payload: &[],
    };
    let mut segment = vec![0; syn.buffer_len()];
    let (own, peer) = (IpAddress::Ipv4(common::OUR_IP), IpAddress::Ipv4(ip(21)));
    let mut packet = TcpPacket::new_unchecked(&mut segment);
    syn.emit(&mut packet, &own, &peer, &ChecksumCapabilities::default());
    segment
}

#[test]
fn many_calls_one_after_another_find_an_ear() {
    let mut plan = plan();
    plan.host(host(&plan, 21).serve(word("http"), NOW));
    let mut bench = Bench::new(plan, 1);
    let mut dialer = Dialer::new();
    for n in 0..40 {
        let (came, _) = dialer.control(&mut bench, ip(21), word("http"));
        assert!(matches!(came, Came::Answer(_)), "call {n}: {came:?}");
    }
}

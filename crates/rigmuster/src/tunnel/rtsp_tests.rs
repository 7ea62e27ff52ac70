//! RTSP messages by themselves, and whole connections over pipes in memory.

use std::net::Ipv4Addr;

use proptest::prelude::*;
use tokio::io::{AsyncReadExt, duplex};

use super::*;

fn names() -> Names {
    let mut names = Names::new(Ipv4Addr::new(192, 168, 0, 20));
    names.add(554, 40_554);
    names
}

fn run<T>(work: impl Future<Output = T>) -> T {
    let runtime = tokio::runtime::Builder::new_current_thread().build().unwrap();
    runtime.block_on(work)
}

/// What arrives at the other ends of what the client and the device say.
fn carried(client: &[u8], device: &[u8]) -> (io::Result<()>, String, String) {
    run(async {
        let ((near, one), (far, other)) = (duplex(1_000), duplex(1_000));
        let (mut near_in, mut near_out) = tokio::io::split(near);
        let (mut far_in, mut far_out) = tokio::io::split(far);
        let (mut back, mut heard) = (Vec::new(), Vec::new());
        let (end, ..) = tokio::join!(
            carry(one, other, names),
            async {
                let _ = near_out.write_all(client).await;
                near_out.shutdown().await
            },
            near_in.read_to_end(&mut back),
            // The device ends when the client has.
            async {
                let _ = far_out.write_all(device).await;
                let _ = far_in.read_to_end(&mut heard).await;
                far_out.shutdown().await
            },
        );
        let text = |bytes: Vec<u8>| bytes.iter().map(|b| *b as char).collect();
        (end, text(heard), text(back))
    })
}

#[test]
fn the_devices_own_urls_work_both_ways() {
    let sdp = "v=0\r\nm=video 0 RTP/AVP 96\r\na=control:rtsp://192.168.0.20/1/track1\r\na=control:track2\r\n";
    let (end, heard, back) = carried(
        b"DESCRIBE rtsp://127.0.0.1:40554/1 RTSP/1.0\r\nCSeq: 2\r\nAccept: application/sdp\r\n\r\n",
        format!(
            "RTSP/1.0 200 OK\r\nCSeq: 2\r\nContent-Base: rtsp://192.168.0.20:554/1/\r\n\
             Content-Type: application/sdp\r\nContent-Length: {}\r\n\r\n{sdp}",
            sdp.len()
        )
        .as_bytes(),
    );
    end.unwrap();
    assert_eq!(
        heard,
        "DESCRIBE rtsp://192.168.0.20/1 RTSP/1.0\r\nCSeq: 2\r\nAccept: application/sdp\r\n\r\n"
    );
    let rewritten = sdp.replace("rtsp://192.168.0.20/", "rtsp://127.0.0.1:40554/");
    assert_eq!(
        back,
        format!(
            "RTSP/1.0 200 OK\r\nCSeq: 2\r\nContent-Base: rtsp://127.0.0.1:40554/1/\r\n\
             Content-Type: application/sdp\r\nContent-Length: {}\r\n\r\n{rewritten}",
            rewritten.len()
        )
    );
    let info = "url=rtsp://192.168.0.20/1/track1;seq=1;rtptime=2,url=rtsp://192.168.0.20/1/track2;seq=3";
    let (_, _, back) = carried(
        b"",
        format!("RTSP/1.0 200 OK\r\nCSeq: 4\r\nRTP-Info: {info}\r\n\r\n").as_bytes(),
    );
    assert!(
        back.contains(&info.replace("192.168.0.20", "127.0.0.1:40554")),
        "{back}"
    );
}

#[test]
fn media_inside_the_connection_goes_through_as_it_is() {
    // It looks like a head, and is none.
    let media = b"RTSP/1.0 200 OK\r\nContent-Base: rtsp://192.168.0.20/\r\n\r\n";
    let mut device = b"RTSP/1.0 200 OK\r\nCSeq: 4\r\n\r\n$\x00\x00".to_vec();
    device.push(media.len() as u8);
    device.extend(media);
    device.extend(b"RTSP/1.0 200 OK\r\nCSeq: 5\r\n\r\n");
    let (end, heard, back) = carried(
        b"$\x01\x00\x02ab\r\nTEARDOWN rtsp://127.0.0.1:40554/ RTSP/1.0\r\n\r\n",
        &device,
    );
    end.unwrap();
    assert_eq!(back.bytes().collect::<Vec<_>>(), device);
    assert_eq!(
        heard,
        "$\x01\x00\x02ab\r\nTEARDOWN rtsp://192.168.0.20/ RTSP/1.0\r\n\r\n"
    );
}

#[test]
fn a_client_that_wants_datagrams_is_told_to_ask_otherwise() {
    let (end, heard, back) = carried(
        b"SETUP rtsp://127.0.0.1:40554/1/track1 RTSP/1.0\r\nCSeq: 3\r\nTransport: RTP/AVP;unicast;client_port=4588-4589\r\n\r\n\
          SETUP rtsp://127.0.0.1:40554/1/track1 RTSP/1.0\r\nCSeq: 4\r\nTransport: RTP/AVP;unicast;client_port=1-2,RTP/AVP/TCP;interleaved=0-1\r\n\r\n",
        b"",
    );
    end.unwrap();
    assert_eq!(back, "RTSP/1.0 461 Unsupported Transport\r\nCSeq: 3\r\n\r\n");
    assert_eq!(
        heard,
        "SETUP rtsp://192.168.0.20/1/track1 RTSP/1.0\r\nCSeq: 4\r\nTransport: RTP/AVP/TCP;interleaved=0-1\r\n\r\n"
    );
}

#[test]
fn a_browsers_request_does_not_reach_the_device() {
    for words in [
        &b"POST / HTTP/1.1\r\nHost: evil.example\r\n\r\nPLAY rtsp://x/ RTSP/1.0\r\n\r\n"[..],
        b"\x81\x01\x04\x00\x02\xff",
    ] {
        let (end, heard, _) = carried(words, b"");
        assert_eq!(end.unwrap_err().kind(), io::ErrorKind::InvalidData);
        assert_eq!(heard, "");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Any bytes are taken, and what the device says comes through whole where it is no RTSP.
    #[test]
    fn any_bytes_are_taken(client in prop::collection::vec(any::<u8>(), 0..200),
                           device in prop::collection::vec(any::<u8>(), 0..200)) {
        let (_, _, back) = carried(&client, &device);
        prop_assert!(back.len() <= device.len() + 200);
        let mut noise = vec![0xff];
        noise.extend(&device);
        let (_, _, back) = carried(b"", &noise);
        prop_assert_eq!(back.chars().map(|c| c as u8).collect::<Vec<_>>(), noise);
    }

    /// Cutting a stream of messages otherwise changes nothing of what comes next.
    #[test]
    fn what_is_not_whole_waits(cut in 1_usize..60) {
        let whole = b"SETUP rtsp://127.0.0.1:40554/ RTSP/1.0\r\nCSeq: 3\r\nA: b\r\n\r\n";
        let cut = cut.min(whole.len() - 1);
        prop_assert_eq!(next(&whole[..cut], &names(), Toward::Device), Ok(None));
    }
}

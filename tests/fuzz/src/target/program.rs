//! What the program itself reads: both ends of a tunnel, saved checks, the journal, registries of makers.

use std::cell::RefCell;
use std::fs;
use std::path::PathBuf;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

use ledger::Standing;
use rig::sheet;
use rigmuster::journal::{AsFound, Entry, RunHead, Stamp, Steps, What, Writer};
use rigmuster::untrusted::{self, DEVICE, Speech};
use tokio::runtime::Runtime;
use vocab::{Mac, Moment};

use crate::{Bytes, Target, must_be_clean};

/// HTTP through a tunnel: what the client says, counted, then what the device says.
pub(super) const TUNNEL_HTTP: Target = Target {
    name: "tunnel_http",
    longest: 12_000,
    short: 6_000,
    run: |data| {
        let (to_device, _) = tunnel(Speech::Http, data);
        must_be_for_the_device(&to_device);
    },
    seeds: || {
        let asks = [
            "GET / HTTP/1.1\r\nHost: 127.0.0.1:40080\r\nOrigin: http://127.0.0.1:40080\r\n\r\n",
            "POST /x HTTP/1.1\r\nHost: localhost:40080\r\nContent-Length: 4\r\n\r\nab\r\nGET /2 HTTP/1.0\r\n\r\n",
            "PUT http://127.0.0.1:40080/y HTTP/1.1\r\nHost: 127.0.0.1:40080\r\nTransfer-Encoding: chunked\r\n\r\n\
             3;a=b\r\nabc\r\n0\r\nT: x\r\n\r\nHEAD / HTTP/1.1\r\nHost: 127.0.0.1:40080\r\nReferer: http://127.0.0.1:40080/\r\n\r\n",
            "GET / HTTP/1.1\r\nHost: 127.0.0.1:40080\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n\r\nabc",
            "GET / HTTP/1.1\r\nHost: evil.example:40080\r\n\r\n",
        ];
        let answers = [
            "HTTP/1.1 302 Found\r\nLocation: http://192.168.0.20/login\r\nContent-Length: 0\r\n\r\n\
             HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n2\r\nab\r\n0\r\n\r\n",
            "HTTP/1.1 100 Continue\r\n\r\nHTTP/1.0 200 OK\r\nX: a\r\n folded\r\n\r\nto the end",
            "HTTP/1.1 101 Switching Protocols\r\nUpgrade: websocket\r\n\r\nxyz",
        ];
        pairs(&asks, &answers)
    },
};

/// RTSP through a tunnel, in the same form.
pub(super) const TUNNEL_RTSP: Target = Target {
    name: "tunnel_rtsp",
    longest: 12_000,
    short: 6_000,
    run: |data| {
        let _ = tunnel(Speech::Rtsp, data);
    },
    seeds: || {
        let asks = [
            "OPTIONS rtsp://127.0.0.1:40554/1 RTSP/1.0\r\nCSeq: 1\r\n\r\nDESCRIBE rtsp://127.0.0.1:40554/1 RTSP/1.0\r\nCSeq: 2\r\n\r\n",
            "SETUP rtsp://127.0.0.1:40554/1/track1 RTSP/1.0\r\nCSeq: 3\r\nTransport: RTP/AVP;unicast;client_port=5000-5001,RTP/AVP/TCP;interleaved=0-1\r\n\r\n",
            "SETUP * RTSP/1.0\r\nCSeq: 4\r\nTransport: RTP/AVP;unicast\r\n\r\n$\0\0\x04abcd",
        ];
        let answers = [
            "RTSP/1.0 200 OK\r\nCSeq: 2\r\nContent-Base: rtsp://192.168.0.20/1/\r\nContent-Type: application/sdp\r\nContent-Length: 46\r\n\r\n\
             v=0\r\na=control:rtsp://192.168.0.20:554/1/track1\r\n$\x01\0\x02ab",
            "RTSP/1.0 401 Unauthorized\r\nCSeq: 1\r\n\r\n\r\nRTSP/1.0 200 OK\r\nRTP-Info: url=rtsp://192.168.0.20/1;seq=1,url=rtsp://192.168.0.20/2\r\n\r\n",
        ];
        pairs(&asks, &answers)
    },
};

/// A saved check.
pub(super) const SAVED: Target = Target {
    name: "saved",
    longest: 12_000,
    short: 4_000,
    run: saved,
    seeds: || vec![CHECK.as_bytes().to_vec(), format!("\u{feff}{CHECK}").into_bytes()],
};

/// The file of the journal.
pub(super) const JOURNAL: Target = Target {
    name: "journal",
    longest: 65_536,
    short: 400,
    run: |data| {
        let path = scratch();
        fs::write(&path, data).expect("a file in memory can be written");
        match untrusted::journal(&path) {
            Ok(text) | Err(text) => text.lines().for_each(must_be_clean),
        }
        for beside in ["", "-wal", "-shm", "-journal"] {
            let mut path = path.clone().into_os_string();
            path.push(beside);
            let _ = fs::remove_file(path);
        }
    },
    seeds: || vec![a_journal()],
};

/// A registry of hardware makers.
pub(super) const REGISTRY: Target = Target {
    name: "registry",
    longest: 4_000,
    short: 8_000,
    run: |data| {
        let mut bytes = Bytes::new(data);
        let digits = bytes.one_of(&[6_usize, 7, 9]);
        let Some(names) = untrusted::registry(bytes.rest(), digits) else {
            return;
        };
        assert!(!names.is_empty());
        for (prefix, makers) in names {
            assert_eq!(prefix.len(), digits);
            assert!(makers.iter().all(|maker| !maker.contains(['\t', '\n', '\r'])));
        }
    },
    seeds: || {
        let rows = "Registry,Assignment,Organization Name,Organization Address\r\nMA-L,00005E,\"Ropewalk  Works, Ltd.\",Quay 1\r\n\
                    MA-L,00005C,Private,\r\n";
        vec![[b"\0", rows.as_bytes()].concat()]
    },
};

thread_local! {
    static RUNTIME: RefCell<Runtime> = RefCell::new(
        tokio::runtime::Builder::new_current_thread().build().expect("a runtime without sockets and timers")
    );
}

fn tunnel(speech: Speech, data: &[u8]) -> (Vec<u8>, Vec<u8>) {
    let mut bytes = Bytes::new(data);
    let client = bytes.counted();
    let device = bytes.rest();
    RUNTIME.with_borrow(|runtime| runtime.block_on(untrusted::through_tunnel(speech, client, device)))
}

fn pairs(asks: &[&str], answers: &[&str]) -> Vec<Vec<u8>> {
    let mut out = Vec::new();
    for ask in asks {
        for answer in answers {
            let length = (ask.len() as u16).to_be_bytes();
            out.push([&length[..], ask.as_bytes(), answer.as_bytes()].concat());
        }
    }
    out
}

/// Reads what reached the device as a strict server does: every request is for it, and nothing hides in the
/// body of another. Written from RFC 9112, and not with the program's own parser.
fn must_be_for_the_device(mut sent: &[u8]) {
    loop {
        let Some(end) = sent.windows(4).position(|w| w == b"\r\n\r\n") else {
            return;
        };
        let head = String::from_utf8_lossy(&sent[..end]).into_owned();
        let mut lines = head.split("\r\n");
        let request = lines.next().unwrap_or_default();
        let mut words = request.split(' ');
        let (_, target, version) = (words.next(), words.next(), words.next());
        assert!(
            version.is_some_and(|v| v.starts_with("HTTP/1.")),
            "no request: {request:?}"
        );
        assert!(words.next().is_none(), "no request: {request:?}");
        let (mut hosts, mut length, mut chunked, mut upgrade) = (0, None, false, false);
        for line in lines {
            let (name, value) = line
                .split_once(':')
                .unwrap_or_else(|| panic!("no field: {line:?}"));
            assert!(
                !name.is_empty() && !name.contains([' ', '\t']),
                "no field: {line:?}"
            );
            let value = value.trim();
            match name.to_ascii_lowercase().as_str() {
                "host" => {
                    hosts += 1;
                    assert_eq!(value, DEVICE.to_string(), "for another host");
                }
                "origin" => assert!(is_the_devices(value), "from elsewhere: {value:?}"),
                "content-length" => {
                    length = Some(value.split(',').next().unwrap().trim().parse::<usize>().unwrap());
                }
                "transfer-encoding" => chunked = true,
                "upgrade" => upgrade = true,
                _ => {}
            }
        }
        assert!(hosts <= 1, "{hosts} hosts");
        let target = target.unwrap_or_default();
        assert!(
            target.starts_with(['/', '*']) || is_the_devices(target),
            "for another host: {target:?}"
        );
        assert!(!(chunked && length.is_some()), "framed in two ways");
        if upgrade {
            // What follows may be another protocol.
            return;
        }
        let body = &sent[end + 4..];
        let Some(rest) = (if chunked {
            after_chunks(body)
        } else {
            body.get(length.unwrap_or(0)..)
        }) else {
            return;
        };
        sent = rest;
    }
}

fn is_the_devices(url: &str) -> bool {
    url.split("://").nth(1).is_some_and(|rest| {
        let authority = rest.split(['/', '?', '#']).next().unwrap_or_default();
        let host = authority.rsplit('@').next().unwrap_or_default();
        host.split(':').next() == Some(&DEVICE.to_string())
    })
}

/// What stands behind the chunks; `None` while they have not ended.
fn after_chunks(mut body: &[u8]) -> Option<&[u8]> {
    let line = |bytes: &[u8]| bytes.windows(2).position(|w| w == b"\r\n");
    loop {
        let end = line(body)?;
        let size = String::from_utf8_lossy(&body[..end]).into_owned();
        let size = size.split(';').next().unwrap_or_default().trim().to_owned();
        let size = usize::from_str_radix(&size, 16).expect("a size in hexadecimal");
        body = &body[end + 2..];
        if size == 0 {
            break;
        }
        body = body.get(size.checked_add(2)?..)?;
    }
    loop {
        let end = line(body)?;
        body = &body[end + 2..];
        if end == 0 {
            return Some(body);
        }
    }
}

const CHECK: &str = include_str!("../../seeds/check.json");

fn saved(data: &[u8]) {
    let (again, checked) = match untrusted::saved_check(data) {
        Ok(saved) => saved,
        Err(why) => return why.lines().for_each(must_be_clean),
    };
    let (twice, _) = untrusted::saved_check(again.as_bytes()).expect("what we write is a check");
    assert_eq!(twice, again);
    if let Some(checked) = checked {
        let sheet = sheet::Sheet {
            title: checked.title.clone(),
            origin: String::new(),
            parts: vec![sheet::sign_off(&super::rigs::hall(), &checked, &[])],
        };
        sheet::html(&sheet).lines().for_each(must_be_clean);
        sheet::markdown(&sheet).lines().for_each(must_be_clean);
    }
}

/// A file of our own, in memory where there is such a place.
fn scratch() -> PathBuf {
    static NEXT: AtomicU32 = AtomicU32::new(0);
    let memory = PathBuf::from("/dev/shm");
    let folder = if memory.is_dir() {
        memory
    } else {
        std::env::temp_dir()
    };
    let n = NEXT.fetch_add(1, Ordering::Relaxed);
    folder.join(format!("rigmuster-fuzz-{}-{n}", std::process::id()))
}

/// A small journal with entries of several kinds.
fn a_journal() -> Vec<u8> {
    let path = scratch();
    let stamp = |seq: i64| Stamp {
        ms: 1_795_000_000_000 + seq,
        offset_s: 3_600,
    };
    let writer = Writer::start(
        path.clone(),
        false,
        RunHead {
            began: stamp(0),
            version: "0.0.0".into(),
            title: "Sail Loft".into(),
            file: "/rigs/loft.rig.toml".into(),
            link: "lan0".into(),
            rehearsal: false,
        },
    );
    let kinds = [
        What::Ready(false),
        What::Standing {
            to: Standing::Missing,
            lost: true,
        },
        What::Finding {
            kind: "link_down",
            severity: "fault",
            began: true,
        },
        What::Start {
            took: Some(Duration::from_secs(9)),
            steps: Steps {
                first_frame: true,
                address_ms: Some(1),
                echo_ms: None,
                control_ms: [("http".to_owned(), Some(9_000))].into(),
            },
        },
        What::Cable,
        What::Anew,
        What::Gap(3),
    ];
    for (seq, what) in (1..).zip(kinds) {
        writer.write(Entry {
            seq,
            mono: Moment::from_secs(seq),
            wall: stamp(seq.cast_signed()),
            what,
            devices: vec!["Quay".into()],
            macs: vec![Mac::new([2, 0x52, 0x43, 0, 0, 0x21])],
            address: Some(DEVICE),
            text: "Quay is missing.".into(),
            basis: "6 questions".into(),
            worse: seq % 2 == 0,
            folded: seq == 3,
        });
    }
    writer.found(AsFound {
        device: "Quay".into(),
        mac: None,
        wall: stamp(9),
        address: DEVICE,
        mask: None,
        dhcp: Some(true),
    });
    let (_, missing) = writer.finish(Moment::from_secs(9), stamp(10));
    assert_eq!(missing, 3, "those of the gap");
    let bytes = fs::read(&path).expect("the journal was written");
    let _ = fs::remove_file(path);
    bytes
}

//! A lab of network namespaces that each test makes for itself: `near` here, `far` over there.
//!
//! The test starts itself again inside `unshare -rnm`; what has to run on the far side is the same
//! test once more, with a part to play. Nothing ever touches the machine's own interfaces.
#![allow(
    dead_code,
    clippy::expect_used,
    reason = "not every test uses all of it, and a lab that fails is a failed test"
)]

use std::future::Future;
use std::io::{BufRead, BufReader, Write};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use link::{Frame, Live, LiveEvent};
use vocab::{Mac, Station};

const INSIDE: &str = "RIGMUSTER_LAB_INSIDE";
const PART: &str = "RIGMUSTER_LAB_PART";

/// Longer than anything in the lab takes; only a failure waits for it.
pub(crate) const LONG: Duration = Duration::from_secs(10);

/// Runs `body` of the test called `name` inside fresh namespaces, or one of its `parts`.
pub(crate) fn run(name: &str, parts: &[(&str, fn())], body: fn()) {
    if let Ok(part) = std::env::var(PART) {
        let (_, play) = parts
            .iter()
            .find(|(known, _)| *known == part)
            .expect("a known part");
        return play();
    }
    if std::env::var_os(INSIDE).is_some() {
        return body();
    }
    let possible = Command::new("unshare").args(["-rnm", "true"]).output();
    let why = match possible {
        Ok(output) if output.status.success() => None,
        Ok(output) => Some(String::from_utf8_lossy(&output.stderr).trim().to_owned()),
        Err(e) => Some(format!("unshare: {e}")),
    };
    if let Some(why) = why {
        return rigmuster_tests::lab_skipped(name, &format!("no namespaces: {why}"));
    }
    let me = std::env::current_exe().expect("our own file");
    let status = Command::new("unshare")
        .arg("-rnm")
        .arg(me)
        .args(["--exact", name, "--nocapture", "--test-threads=1"])
        .env(INSIDE, name)
        .status()
        .expect("unshare was there a moment ago");
    assert!(status.success(), "{name} failed inside the lab");
}

/// Runs a command that must succeed, and gives what it printed.
pub(crate) fn sh(command: &str) -> String {
    let output = Command::new("sh")
        .args(["-ec", command])
        .output()
        .expect("a shell");
    assert!(
        output.status.success(),
        "{command}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Two namespaces and a cable: `near` with `near_address` here, `far` with `far_address` there.
pub(crate) fn cable(near_address: &str, far_address: &str) {
    sh("mount -t tmpfs lab /run; ip link set lo up; ip netns add far; ip -n far link set lo up");
    plug(near_address);
    sh(&format!("ip -n far addr add {far_address} dev far"));
}

/// Plugs in a new cable, whose far end must not exist.
pub(crate) fn plug(near_address: &str) {
    sh(&format!(
        "ip link add near address 02:52:43:00:00:05 type veth peer name far address 02:52:43:00:00:21 netns far;
         ip addr add {near_address} dev near; ip link set near up; ip -n far link set far up"
    ));
}

/// The far end's hardware.
pub(crate) const FAR: Mac = Mac::new([0x02, 0x52, 0x43, 0, 0, 0x21]);
/// The near end's hardware.
pub(crate) const NEAR: Mac = Mac::new([0x02, 0x52, 0x43, 0, 0, 0x05]);

/// A process of ours that ends with the test.
pub(crate) struct Player(Child);

impl Drop for Player {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

impl Player {
    /// Whether it has ended well; `None` while it runs.
    pub(crate) fn ended(&mut self) -> Option<bool> {
        self.0
            .try_wait()
            .expect("our own child")
            .map(|status| status.success())
    }
}

/// Starts a part of this test on the far side and waits until it says that it is ready.
pub(crate) fn far(name: &str, part: &str) -> Player {
    let me = std::env::current_exe().expect("our own file");
    let mut child = Command::new("ip")
        .args(["netns", "exec", "far"])
        .arg(me)
        .args(["--exact", name, "--nocapture", "--test-threads=1"])
        .env(PART, part)
        .stdout(Stdio::piped())
        .spawn()
        .expect("ip");
    let mut lines = BufReader::new(child.stdout.take().expect("a pipe")).lines();
    let ready = lines.any(|line| line.is_ok_and(|line| line.ends_with("READY")));
    let player = Player(child);
    assert!(ready, "{part} did not start");
    // Keep the pipe drained, so that nothing it prints can stop it.
    std::thread::spawn(move || lines.for_each(drop));
    player
}

/// Says that a part is ready.
pub(crate) fn ready() {
    println!("READY");
    std::io::stdout().flush().expect("the pipe");
}

/// Runs asynchronous work as the program does: on one thread.
pub(crate) fn block_on<T>(work: impl Future<Output = T>) -> T {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime")
        .block_on(work)
}

/// Everything that happens until `wanted` gives a value.
pub(crate) async fn until<T>(
    live: &mut Live,
    what: &str,
    mut wanted: impl FnMut(LiveEvent, &Frame) -> Option<T>,
) -> T {
    let mut frame = Frame::default();
    let all = async {
        loop {
            while let Some(event) = live.next(&mut frame) {
                if let Some(value) = wanted(event, &frame) {
                    return value;
                }
            }
            live.ready().await;
        }
    };
    tokio::time::timeout(LONG, all)
        .await
        .unwrap_or_else(|_| panic!("{what}: not within {LONG:?}"))
}

/// Waits until the station is as wanted.
pub(crate) async fn until_station(live: &mut Live, what: &str, wanted: impl Fn(&Station) -> bool) -> Station {
    if wanted(live.station()) {
        return live.station().clone();
    }
    until(live, what, |event, _| match event {
        LiveEvent::Station(station) if wanted(&station) => Some(station),
        _ => None,
    })
    .await
}

/// Counts how often `ready` returns and frames come until `over` says so.
pub(crate) async fn count(live: &mut Live, mut over: impl FnMut() -> bool) -> (usize, Vec<Frame>) {
    let (mut wakes, mut frames, mut frame) = (0, Vec::new(), Frame::default());
    for _ in 0..1000 {
        if over() {
            break;
        }
        if tokio::time::timeout(Duration::from_millis(20), live.ready())
            .await
            .is_ok()
        {
            wakes += 1;
        }
        while let Some(event) = live.next(&mut frame) {
            if event == LiveEvent::Frame {
                frames.push(frame.clone());
            }
        }
    }
    (wakes, frames)
}

/// An ARP request (RFC 826) in nobody's name (RFC 5227).
pub(crate) fn probe(own: Mac, address: std::net::Ipv4Addr) -> Vec<u8> {
    request(own, std::net::Ipv4Addr::UNSPECIFIED, address)
}

/// An ARP request (RFC 826), broadcast.
pub(crate) fn request(own: Mac, from: std::net::Ipv4Addr, address: std::net::Ipv4Addr) -> Vec<u8> {
    [
        &[0xff; 6][..],
        &own.octets(),
        &[0x08, 0x06, 0, 1, 0x08, 0, 6, 4, 0, 1],
        &own.octets(),
        &from.octets(),
        &[0; 6],
        &address.octets(),
    ]
    .concat()
}

/// The sender's protocol address of an ARP reply.
pub(crate) fn answer(frame: &Frame) -> Option<std::net::Ipv4Addr> {
    let bytes = &frame.bytes;
    let reply = bytes.get(12..14)? == [0x08, 0x06] && bytes.get(20..22)? == [0, 2];
    let address: [u8; 4] = bytes.get(28..32)?.try_into().ok()?;
    reply.then(|| address.into())
}

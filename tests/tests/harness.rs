//! The harness itself, held against programs that are not ours: what it reports must be true before
//! its word on the program counts.
#![cfg(target_os = "linux")]
#![allow(clippy::expect_used, clippy::unwrap_used)]

use nix::sys::signal::Signal;
use rigmuster_tests::lab::{SEAT, SEAT_MAC, asks_for, lab};
use rigmuster_tests::program::Call;
use rigmuster_tests::terminal::Start;

#[test]
fn a_call_gives_code_and_both_outputs() {
    let outcome = Call::of(["sh", "-c", "cat; echo words >&2; exit 7"])
        .input(b"given")
        .run();
    outcome.expect(7).tells(&["words"]);
    assert_eq!(outcome.out, "given");
}

#[test]
#[should_panic(expected = "another exit code than expected")]
fn another_exit_code_is_a_failure() {
    Call::of(["sh", "-c", "exit 1"]).run().expect(0);
}

#[test]
fn a_reader_that_is_gone_closes_the_pipe() {
    // A shell dies of SIGPIPE, unless it is ignored as Rust programs do.
    let outcome =
        Call::of(["python3", "-c", "import sys\nprint('x'); sys.stdout.flush()"]).run_without_reader();
    assert!(outcome.err.contains("BrokenPipe"), "{outcome}");
}

#[test]
fn a_terminal_shows_takes_keys_and_resizes() {
    let script =
        "trap 'stty size' WINCH; echo first; read word; echo got $word; while :; do read word && break; done";
    let terminal = Start::of(["bash", "-c", script]).size(100, 30).start();
    terminal.wait_text("first");
    terminal.send("hall\n");
    terminal.wait_text("got hall");
    terminal.resize(61, 17);
    terminal.send("\n");
    terminal.wait_text("17 61");
    assert_eq!(terminal.end().code, 0);
}

#[test]
#[should_panic(expected = "other modes than before")]
fn a_terminal_left_raw_is_a_failure() {
    Start::of(["stty", "raw", "-echo"]).start().end();
}

#[test]
#[should_panic(expected = "the cursor is still hidden")]
fn a_cursor_left_hidden_is_a_failure() {
    Start::of(["printf", "\\033[?25l"]).start().end();
}

#[test]
fn signals_reach_the_program_and_not_its_leader() {
    let terminal = Start::of([
        "sh",
        "-c",
        "trap 'echo heard; exit 130' TERM; echo up; while :; do read x; done",
    ])
    .start();
    terminal.wait_text("up");
    terminal.signal(Signal::SIGTERM);
    terminal.send("\n");
    let ended = terminal.end();
    assert_eq!(ended.code, 130);
    assert!(String::from_utf8_lossy(&ended.raw).contains("heard"));
}

#[test]
fn the_lab_has_real_stacks_on_one_wire() {
    lab("the_lab_has_real_stacks_on_one_wire", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", "02:52:43:00:00:21", &["10.40.8.21/24"]);
        let mut capture = lab.capture(SEAT);
        let before = lab.taken_from(SEAT);
        lab.within(SEAT, &["python3", "-c", "import socket\ntry: socket.create_connection(('10.40.8.21', 80), 5)\nexcept ConnectionRefusedError: pass"]);
        let asked = capture.wait("the request", 1, |frame| asks_for(frame, "10.40.8.21"));
        assert_eq!(asked[0]["src"], SEAT_MAC);
        let replied = capture.wait("the reply", 1, |frame| {
            frame["out"] == false && frame["arp"]["op"] == 2
        });
        assert_eq!(replied[0]["arp"]["sha"], "02:52:43:00:00:21");
        assert!(lab.taken_from(SEAT) > before);
        lab.pull("loft");
        lab.put_back("loft");
    });
}

#[test]
fn the_labs_services_speak_their_protocols() {
    lab("the_labs_services_speak_their_protocols", |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", "02:52:43:00:00:21", &["10.40.8.21/24"]);
        let mut services = lab.service("loft", &["http", "rtsp", "visca-udp", "https"]);
        let ask = r#"
import http.client, socket, ssl
reply = http.client.HTTPConnection("10.40.8.21", 80, timeout=20); reply.request("GET", "/"); assert reply.getresponse().status == 200
rtsp = socket.create_connection(("10.40.8.21", 554), 20); rtsp.sendall(b"OPTIONS * RTSP/1.0\r\nCSeq: 7\r\n\r\n")
assert rtsp.recv(99).startswith(b"RTSP/1.0 401"), "rtsp"
udp = socket.socket(socket.AF_INET, socket.SOCK_DGRAM); udp.settimeout(20)
udp.sendto(bytes.fromhex("0110000500000009" "81090002ff"), ("10.40.8.21", 52381))
assert udp.recv(99)[:8] == bytes.fromhex("0111000a00000009"), "visca"
context = ssl.create_default_context(); context.check_hostname = False; context.verify_mode = ssl.CERT_NONE
try: context.wrap_socket(socket.create_connection(("10.40.8.21", 443), 20))
except ssl.SSLError as alert: assert "ALERT" in str(alert), alert
"#;
        lab.within(SEAT, &["python3", "-c", ask]);
        for word in ["http", "rtsp", "visca-udp", "https"] {
            services.wait(word, |line| line == format!("asked {word}"));
        }
    });
}

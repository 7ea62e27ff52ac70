//! The tunnel into the simulated venue, as anybody can try it, and what is given to the browser.
#![cfg(target_os = "linux")]
#![allow(clippy::expect_used, clippy::unwrap_used)]

use std::fs;
use std::io::{Read, Write};
use std::net::{TcpStream, UdpSocket};
use std::os::unix::fs::PermissionsExt;
use std::process::Command;
use std::time::Duration;

use rigmuster_tests::lab::until;
use rigmuster_tests::program::{bin, run};
use rigmuster_tests::tools::Tool;

/// The program with these arguments, and its lines as they come; `path` is looked through first for other programs.
fn start(path: &str, args: &[&str]) -> Tool {
    let script = "echo ready; PATH=\"$1:$PATH\"; shift; exec \"$@\" 2>&1";
    let bin = bin().display().to_string();
    let words = ["sh", "-c", script, "sh", path, &bin, "reach"];
    let words: Vec<String> = words.iter().chain(args).map(ToString::to_string).collect();
    Tool::start(&words)
}

fn door(reach: &mut Tool, word: &str) -> String {
    let line = reach.wait(word, |line| line.starts_with(&format!("  {word} ")));
    let address = line.split_whitespace().nth(1).unwrap();
    let address = address
        .trim_start_matches("http://")
        .trim_start_matches("rtsp://");
    address.trim_end_matches('/').to_owned()
}

fn end(reach: &mut Tool) {
    let sent = Command::new("kill")
        .args(["-INT", &reach.pid().to_string()])
        .status();
    assert!(sent.unwrap().success());
    reach.wait("the end", |line| line.contains("ended (interrupted)"));
}

#[test]
fn a_rehearsed_camera_is_opened_in_real_time() {
    let mut reach = start("/nowhere", &["Nave", "--rehearse", "tangled"]);
    reach.wait("the caution", |line| line.starts_with("caution: "));
    let mut page = TcpStream::connect(door(&mut reach, "http")).unwrap();
    let host = page.peer_addr().unwrap();
    write!(page, "GET / HTTP/1.1\r\nHost: {host}\r\n\r\n").unwrap();
    let mut said = String::new();
    page.read_to_string(&mut said).unwrap();
    assert!(
        said.starts_with("HTTP/1.1 200 OK\r\n") && said.ends_with("A simulated device.\n"),
        "{said}"
    );

    let socket = UdpSocket::bind("127.0.0.1:0").unwrap();
    socket.set_read_timeout(Some(Duration::from_mins(1))).unwrap();
    // A version inquiry (a camera maker's published technical manual).
    let inquiry = [0x01, 0x10, 0, 5, 0, 0, 0, 7, 0x81, 0x09, 0x00, 0x02, 0xff];
    socket.send_to(&inquiry, door(&mut reach, "visca-udp")).unwrap();
    let mut reply = [0; 64];
    let n = socket.recv(&mut reply).unwrap();
    assert_eq!(
        (&reply[..2], &reply[4..10], reply[n - 1]),
        (&[1, 0x11][..], &[0, 0, 0, 7, 0x90, 0x50][..], 0xff)
    );
    end(&mut reach);
}

#[test]
fn the_browser_is_given_the_printed_url_and_nothing_else() {
    let folder = tempfile::tempdir().unwrap();
    let given = folder.path().join("given");
    let opener = folder.path().join("xdg-open");
    let script = format!(
        "#!/bin/sh\nprintf '%s\\n' \"$#\" \"$@\" > {0}.new; mv {0}.new {0}\n",
        given.display()
    );
    fs::write(&opener, script).unwrap();
    fs::set_permissions(&opener, fs::Permissions::from_mode(0o755)).unwrap();
    let path = folder.path().display().to_string();

    let mut reach = start(&path, &["Nave", "--rehearse", "tangled"]);
    let _ = door(&mut reach, "rtsp");
    let _ = door(&mut reach, "http");
    end(&mut reach);
    assert!(!given.exists(), "never unasked");

    let mut reach = start(&path, &["Nave", "--rehearse", "tangled", "--open"]);
    let url = format!("http://{}/", door(&mut reach, "http"));
    until("the opener was called", || given.exists());
    assert_eq!(fs::read_to_string(&given).unwrap(), format!("1\n{url}\n"));
    end(&mut reach);
}

#[test]
fn wrong_words_are_told_with_what_to_do() {
    for (args, code, words) in [
        (
            &["reach", "Nav", "--rehearse", "tangled"][..],
            2,
            "take one of Pulpit, Nave",
        ),
        (
            &["reach", "10.40.9.230", "--rehearse", "tangled"],
            2,
            "is this computer itself",
        ),
        (
            &["reach", "Nave", "--rehearse", "tangled", "--listen-only"],
            2,
            "--listen-only forbids",
        ),
        (
            &["reach", "Font", "--rehearse", "tangled"],
            2,
            "rigmuster reach 02:52:43:00:01:94",
        ),
        (
            &["reach", "Pulpit", "--rehearse", "tangled", "--within", "1s"],
            1,
            "was not heard within 1 s",
        ),
        (
            &["reach", "Nave", "--rehearse", "tangled", "--control", "web"],
            2,
            "no control word",
        ),
    ] {
        run(args).expect(code).tells(&[words]);
    }
    // Everything that would be sent is told before, and nothing is.
    let plan = run(&["reach", "Nave", "--rehearse", "tangled", "--dry-run"]);
    plan.expect(0);
    assert!(plan.out.lines().all(|line| line.chars().count() <= 80), "{plan}");
    assert!(plan.out.starts_with("A dry run: nothing is sent"), "{plan}");
}

//! What we ask control ports, and what simulated devices answer, read by software not made here:
//! Python's HTTP server and client, its XML reader, and OpenSSL, through `tests/tools/read_requests.py`.

// A helper of a test may fail as the test itself may.
#![allow(clippy::unwrap_used)]

use std::fmt::Write as _;
use std::io::Write;
use std::net::Ipv4Addr;
use std::path::PathBuf;
use std::process::{Command, Stdio};

use serde_json::{Value, json};
use vocab::{ControlPort, Power};
use wire::control::{Judge, Verdict, request};
use wire::follow;
use wire::persona::{Persona, answer};
use wire::visca::Version;

const HOST: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);
const NONCE: u32 = 77;

/// What the script finds, or `None`, said aloud, where Python or OpenSSL is missing.
fn read(asked: &Value) -> Option<Value> {
    let script = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../tests/tools/read_requests.py");
    let there = |program: &str, argument: &str| {
        Command::new(program)
            .arg(argument)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status()
            .is_ok()
    };
    if !there("python3", "--version") || !there("openssl", "version") {
        rigmuster_tests::skipped(
            "independent readers of requests",
            "there is no python3 or openssl",
        );
        return None;
    }
    let mut child = Command::new("python3")
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    child
        .stdin
        .take()
        .unwrap()
        .write_all(asked.to_string().as_bytes())
        .unwrap();
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "the script failed");
    Some(serde_json::from_slice(&output.stdout).unwrap())
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut out, b| {
        let _ = write!(out, "{b:02x}");
        out
    })
}

fn unhex(text: &str) -> Vec<u8> {
    (0..text.len())
        .step_by(2)
        .map(|at| u8::from_str_radix(&text[at..at + 2], 16).unwrap())
        .collect()
}

#[test]
fn servers_and_clients_of_others_understand_us() {
    let port = |word: &str| word.parse::<ControlPort>().unwrap();
    let ask = |word: &str| request(port(word), HOST, NONCE).first_bytes;
    let persona = Persona {
        version: Version {
            vendor: 1,
            model: 2,
            rom: 3,
        },
        power: Power::On,
        server: "stage unit 3".to_owned(),
        title: String::new(),
        host_name: "organ & loft".to_owned(),
        login: true,
        onvif: true,
    };
    let asked = json!({
        "hello": hex(&ask("https")),
        "get": hex(&ask("http:8080")),
        "post": hex(&ask("onvif")),
        "page": hex(&answer(port("http"), &persona, &ask("http")).unwrap()),
        "name_post": hex(&follow::request(port("onvif"), HOST, NONCE).unwrap()),
        "name_soap": hex(&answer(port("onvif"), &persona, &follow::request(port("onvif"), HOST, NONCE).unwrap()).unwrap()),
        "soap": hex(&answer(port("onvif"), &persona, &ask("onvif")).unwrap()),
    });
    let Some(found) = read(&asked) else { return };

    for version in ["TLSv1_2", "TLSv1_3"] {
        let hello = &found["hello"][version];
        assert_eq!(hello["refused"], Value::Null, "{version}");
        let bytes = unhex(hello["bytes"].as_str().unwrap());
        // A handshake record with a server hello (RFC 8446 section 4), which is our answer.
        assert_eq!((bytes[0], bytes[5]), (22, 2), "{version}");
        assert_eq!(
            Judge::new(port("https"), NONCE).feed(&bytes),
            Verdict::Answered(None),
            "{version}"
        );
    }
    let soap = "{http://www.w3.org/2003/05/soap-envelope}";
    let device = "{http://www.onvif.org/ver10/device/wsdl}";
    let names = |inner: &str| {
        json!([
            format!("{soap}Envelope"),
            format!("{soap}Body"),
            format!("{device}{inner}")
        ])
    };
    assert_eq!(
        found["get"],
        json!({ "line": ["GET", "/", "HTTP/1.1"], "host": "10.40.8.21:8080", "length": true, "xml": null })
    );
    assert_eq!(
        found["post"],
        json!({ "line": ["POST", "/onvif/device_service", "HTTP/1.1"], "host": "10.40.8.21", "length": true,
            "xml": names("GetSystemDateAndTime") })
    );
    assert_eq!(found["name_post"]["xml"], names("GetHostname"));
    assert_eq!(found["name_post"]["length"], true);
    assert_eq!(found["name_soap"]["xml"], names("GetHostnameResponse"));
    assert_eq!(found["name_soap"]["name"], "organ & loft");
    assert_eq!(
        found["page"],
        json!({ "status": 401, "server": "stage unit 3", "xml": null })
    );
    assert_eq!(
        found["soap"],
        json!({ "status": 200, "server": "stage unit 3", "xml": names("GetSystemDateAndTimeResponse") })
    );
}

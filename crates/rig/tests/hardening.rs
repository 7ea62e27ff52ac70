//! Whatever bytes come, reading ends, does not panic, and reports places that exist.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::fmt::Write as _;

use proptest::prelude::*;
use rig::{LARGEST_FILE, Reading, read};

const EXAMPLE: &str = include_str!("../../../fixtures/rigs/harbour-hall.rig.toml");
const BROKEN: &str = include_str!("../../../fixtures/rigs/broken/syntax.rig.toml");

/// Reads, and checks what must hold of every reading.
fn checked(bytes: &[u8]) -> Reading {
    let reading = read("any.rig.toml", bytes);
    assert_eq!(reading.rig.is_some(), reading.errors.is_empty());
    assert_eq!(reading.document.is_some(), reading.errors.is_empty());
    if let Some(document) = &reading.document {
        assert_eq!(document.text().as_bytes(), bytes);
    }
    let text = String::from_utf8_lossy(bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes));
    let lines: Vec<&str> = text
        .split('\n')
        .map(|line| line.strip_suffix('\r').unwrap_or(line))
        .collect();
    for problem in reading.errors.iter().chain(&reading.warnings) {
        let line = lines
            .get(problem.line - 1)
            .unwrap_or_else(|| panic!("no line {}: {problem}", problem.line));
        assert!(
            problem.column >= 1 && problem.column <= line.chars().count() + 1,
            "{problem:?}"
        );
        let shown = problem.to_string();
        assert!(!shown.chars().any(|c| c.is_control() && c != '\n'), "{shown:?}");
        assert!(shown.starts_with(&format!("any.rig.toml:{}:{}: ", problem.line, problem.column)));
    }
    reading
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_bytes(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        checked(&bytes);
    }

    #[test]
    fn any_text(text in "[ -~\n\r\t\u{0}-\u{1f}éß舞\u{202e}\u{feff}\"'\\[\\]{}=.,#]{0,300}") {
        checked(text.as_bytes());
    }

    #[test]
    fn pieces_of_the_format(pieces in proptest::collection::vec(proptest::sample::select(vec![
        "format = 1\n", "[network]\n", "subnet = \"10.40.8.0/24\"\n", "[[device]]\n", "[[switch]]\n", "[plan]\n",
        "[device]\n", "name = \"A\"\n", "name = \"B\"\n", "role = \"camera\"\n", "address = \"10.40.8.9\"\n",
        "address = \"dhcp\"\n", "mac = \"02:52:43:00:00:21\"\n", "channels = { 1 = \"A\", ", "2 = \"B\" }\n", "]\n", "}\n",
        "control = [\n", "\"rtsp\",\n", "device.name = 1\n", "[device.channels]\n", "1 = \"A\"\n", "\"\"\"\n", "'''", "#",
        "\"", "\\", "leases = [\"10.40.8.0-9\"]\n", "a.b.c.d = 1\n", "\u{feff}", "\r\n", "x", "= 1e999\n", "{ x = { y = [",
        "blocks = { camera = \"10.40.8.20-59\" }\n", "poe_type = { \"1-4\" = 3 }\n", "network = 5\n", "switch = [{ name = \"S\" }]\n",
    ]), 0..40)) {
        checked(pieces.concat().as_bytes());
    }

    #[test]
    fn mutated_files(
        broken in any::<bool>(),
        changes in proptest::collection::vec((any::<proptest::sample::Index>(), 0..4_u8, any::<u8>(), 0..40_usize), 1..6),
    ) {
        let mut bytes = if broken { BROKEN } else { EXAMPLE }.as_bytes().to_vec();
        for (at, kind, byte, length) in changes {
            let at = at.index(bytes.len());
            let end = (at + length).min(bytes.len());
            match kind {
                0 => bytes[at] = byte,
                1 => bytes.insert(at, byte),
                2 => drop(bytes.drain(at..end)),
                _ => {
                    let copy = bytes[at..end].to_vec();
                    bytes.splice(at..at, copy);
                }
            }
            if bytes.is_empty() {
                break;
            }
        }
        checked(&bytes);
    }

    #[test]
    fn files_cut_short(end in 0..EXAMPLE.len()) {
        checked(&EXAMPLE.as_bytes()[..end]);
    }
}

#[test]
fn line_endings_and_a_byte_order_mark_change_nothing() {
    let plain = checked(EXAMPLE.as_bytes()).rig.unwrap();
    let windows = format!("\u{feff}{}", EXAMPLE.replace('\n', "\r\n"));
    assert_eq!(checked(windows.as_bytes()).rig.unwrap(), plain);
    let broken = windows.replace("\"switcher\"", "\"swithcer\"");
    let reading = checked(broken.as_bytes());
    let mixer = EXAMPLE
        .lines()
        .position(|line| line.contains("\"switcher\""))
        .unwrap()
        + 1;
    assert_eq!((reading.errors[0].line, reading.errors[0].column), (mixer, 11));
}

#[test]
fn columns_of_the_first_line_do_not_count_the_byte_order_mark() {
    let reading = checked("\u{feff}format = 3\n[network]\nsubnet = \"10.40.8.0/24\"\n".as_bytes());
    assert_eq!((reading.errors[0].line, reading.errors[0].column), (1, 10));
}

#[test]
fn too_large_a_file_is_refused_before_it_is_read() {
    let mut file = EXAMPLE.as_bytes().to_vec();
    file.resize(LARGEST_FILE, b'\n');
    assert!(checked(&file).rig.is_some());
    file.push(b'\n');
    let reading = checked(&file);
    assert_eq!(reading.errors.len(), 1);
    assert!(
        reading.errors[0].message.contains("4 MiB"),
        "{}",
        reading.errors[0].message
    );
}

#[test]
fn nesting_without_end_is_a_mistake_like_any_other() {
    for (open, n) in [
        ("[", 200_000),
        ("{a=", 200_000),
        ("a.", 200_000),
        ("{a.b.c.d.e.f.g=", 9_000),
        ("[[", 9_000),
    ] {
        for before in ["", "x = ", "[", "[[device]]\nchannels = "] {
            let reading = checked(format!("{before}{}", open.repeat(n)).as_bytes());
            assert!(!reading.errors.is_empty());
        }
    }
}

#[test]
fn huge_numbers_are_mistakes_like_any_other() {
    for number in [
        "99999999999999999999999",
        "1e999",
        "-1e999",
        "nan",
        "inf",
        "0xffffffffffffffffff",
        "-0",
        "4294967296",
    ] {
        let text = format!(
            "format = 1\n[network]\nsubnet = \"10.40.8.0/24\"\n[[switch]]\nname = \"S1\"\nports = {number}\n"
        );
        assert_eq!(
            checked(text.as_bytes()).errors.is_empty(),
            number == "-0",
            "{number}"
        );
    }
}

/// A rig of `n` devices on a /16.
fn crowd(n: u32, mac: impl Fn(u32) -> u32) -> String {
    let mut text = "format = 1\n[network]\nsubnet = \"10.40.0.0/16\"\n".to_owned();
    for i in 0..n {
        let [_, a, b, c] = mac(i).to_be_bytes();
        let address = std::net::Ipv4Addr::from(0x0a28_0001 + i);
        writeln!(
            text,
            "[[device]]\nname=\"D{i}\"\nrole=\"camera\"\nmac=\"02:52:43:{a:02x}:{b:02x}:{c:02x}\"\naddress=\"{address}\"\nchannels={{1=\"D{}\"}}",
            n - 1 - i
        )
        .unwrap();
    }
    text
}

#[test]
fn twenty_thousand_devices() {
    let reading = checked(crowd(20_000, |i| i).as_bytes());
    assert_eq!(reading.rig.unwrap().devices.len(), 20_000);
    // All with one MAC and channels to nobody: each a mistake, counted, and listed up to a bound.
    let wrong = crowd(4_000, |_| 7).replace("1=\"D", "1=\"E");
    let reading = checked(wrong.as_bytes());
    assert_eq!(reading.errors.len(), 5_001);
    assert_eq!(reading.errors[5_000].message, "2999 more mistakes are not listed");
}

#[test]
fn one_endless_line_with_many_mistakes() {
    let members = "{nmae=\"A\"},".repeat(40_000);
    let reading =
        checked(format!("format=1\nnetwork={{subnet=\"10.40.8.0/24\"}}\ndevice=[{members}]\n").as_bytes());
    assert_eq!(reading.errors.len(), 5_001);
}

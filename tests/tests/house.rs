//! The rules of the house, held against the workspace itself: who may use whom, and what a pure
//! room must not touch.
#![allow(clippy::expect_used)]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The layer table of the design: each room, and the rooms it may use.
const LAYERS: &[(&str, &[&str])] = &[
    ("vocab", &[]),
    ("rig", &["vocab"]),
    ("wire", &["vocab"]),
    ("ledger", &["vocab", "rig"]),
    ("link", &["vocab", "wire"]),
    ("sweep", &["vocab", "wire", "link"]),
    ("venue", &["vocab", "wire", "link"]),
    ("board", &["vocab", "rig", "ledger"]),
    (
        "rigmuster",
        &[
            "vocab", "rig", "wire", "ledger", "sweep", "link", "venue", "board",
        ],
    ),
];

/// Crates that only test, and may use any room.
const TESTERS: &[&str] = &["rigmuster-tests", "rigmuster-fuzz", "play", "rigmuster-bench"];

/// Rooms that read no clock, no file and no socket.
const PURE: &[&str] = &["vocab", "rig", "wire", "ledger", "board", "venue"];

/// What gives a pure room away.
const IMPURE: &[&str] = &[
    "Instant::now",
    "SystemTime",
    "std::fs",
    "std::thread",
    "std::env",
    "TcpStream",
    "TcpListener",
    "UdpSocket",
    "tokio::",
    "socket2::",
];

/// The longest file that a person should have to read.
const LONGEST: usize = 600;

fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .expect("the tests lie inside the workspace")
        .to_owned()
}

fn metadata() -> serde_json::Value {
    let out = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version", "1", "--no-deps", "--offline"])
        .current_dir(top())
        .output()
        .expect("cargo runs");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    serde_json::from_slice(&out.stdout).expect("cargo metadata is JSON")
}

/// Each workspace crate with the workspace crates it uses, tests of its own included.
fn uses() -> BTreeMap<String, BTreeSet<String>> {
    let metadata = metadata();
    let packages = metadata["packages"].as_array().expect("packages");
    packages
        .iter()
        .map(|p| {
            let name = p["name"].as_str().expect("name").to_owned();
            let uses = p["dependencies"]
                .as_array()
                .expect("dependencies")
                .iter()
                .filter(|d| d["path"].is_string())
                // The pseudo-terminal and the lab, which use no crate themselves, are there for anybody's tests.
                .filter(|d| d["kind"] != "dev" || d["name"] != "rigmuster-tests")
                .map(|d| d["name"].as_str().expect("name").to_owned())
                .collect();
            (name, uses)
        })
        .collect()
}

#[test]
fn no_room_uses_what_the_layer_table_forbids() {
    let uses = uses();
    for (room, used) in &uses {
        if TESTERS.contains(&room.as_str()) {
            continue;
        }
        let (_, may) = LAYERS
            .iter()
            .find(|(name, _)| name == room)
            .unwrap_or_else(|| panic!("crate {room} is not in the layer table: say there what it may use"));
        for other in used {
            assert!(
                may.contains(&other.as_str()),
                "crate {room} uses {other}, which the layer table forbids"
            );
        }
    }
    for (room, _) in LAYERS {
        assert!(
            uses.contains_key(*room),
            "crate {room} of the layer table is not in the workspace"
        );
    }
}

fn sources(under: &Path, into: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(under).expect("a folder of the workspace") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            if path.file_name().is_some_and(|n| n != "target" && n != ".git") {
                sources(&path, into);
            }
        } else if path.extension().is_some_and(|e| e == "rs") {
            into.push(path);
        }
    }
}

fn all_sources() -> Vec<PathBuf> {
    let mut found = Vec::new();
    sources(&top().join("crates"), &mut found);
    sources(&top().join("tests"), &mut found);
    sources(&top().join("bench"), &mut found);
    assert!(
        found.len() > 50,
        "the search for sources has gone wrong: {} found",
        found.len()
    );
    found
}

#[test]
fn every_file_says_what_it_is_for_and_stays_readable() {
    let mut lengths = Vec::new();
    for path in all_sources() {
        let text = fs::read_to_string(&path).expect("a source");
        assert!(
            text.starts_with("//!"),
            "{} does not open with what it is for",
            path.display()
        );
        let lines = text.lines().count();
        assert!(
            lines <= LONGEST,
            "{} has {lines} lines: split it along the data's way",
            path.display()
        );
        lengths.push(lines);
    }
    lengths.sort_unstable();
    let median = lengths[lengths.len() / 2];
    assert!(median <= 200, "the median file has {median} lines");
}

/// The code of a file without its tests: up to the first test module.
fn code(text: &str) -> &str {
    text.split("#[cfg(test)]").next().unwrap_or(text)
}

#[test]
fn pure_rooms_touch_no_clock_file_thread_or_socket() {
    for room in PURE {
        let mut found = Vec::new();
        sources(&top().join("crates").join(room).join("src"), &mut found);
        for path in found
            .iter()
            .filter(|p| !p.components().any(|c| c.as_os_str() == "tests"))
        {
            let text = fs::read_to_string(path).expect("a source");
            for line in code(&text).lines().filter(|l| !l.trim_start().starts_with("//")) {
                for word in IMPURE {
                    assert!(
                        !line.contains(word),
                        "{}: {word} in a pure room: {line}",
                        path.display()
                    );
                }
            }
        }
    }
}

#[test]
fn unsafe_code_stays_in_one_file_of_the_link_and_each_block_is_argued() {
    let calls = top().join("crates/link/src/linux/sys.rs");
    for path in all_sources() {
        // The rule itself looks like what it forbids.
        if path.ends_with("tests/tests/house.rs") {
            continue;
        }
        let text = fs::read_to_string(&path).expect("a source");
        let lines: Vec<&str> = text.lines().collect();
        for (at, line) in lines.iter().enumerate() {
            let code = line.split("//").next().unwrap_or_default();
            let is_unsafe = [
                "unsafe {",
                "unsafe fn",
                "unsafe impl",
                "unsafe extern",
                "unsafe trait",
            ]
            .iter()
            .any(|word| code.contains(word));
            if is_unsafe {
                assert!(path == calls, "{}: {line}", path.display());
                let above = lines[..at]
                    .iter()
                    .rev()
                    .take_while(|line| !line.trim().is_empty());
                let argued = above
                    .take(8)
                    .any(|line| line.contains("SAFETY: ") || line.contains("# Safety"));
                assert!(argued, "{}:{}: why is that sound?", path.display(), at + 1);
            }
            assert!(
                path == calls || !code.contains("allow(unsafe_code)") && !code.contains("expect(unsafe_code"),
                "{}: {line}",
                path.display()
            );
        }
    }
    let text = fs::read_to_string(top().join("Cargo.toml")).expect("the workspace's own");
    for rule in ["unsafe_code = \"deny\"", "undocumented_unsafe_blocks = \"deny\""] {
        assert!(text.contains(rule), "{rule} is no longer the rule of all crates");
    }
}

//! No public reader of `wire` without a target: their list is taken from its sources.
#![allow(clippy::expect_used)]

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// What takes bytes and reads none: they are carried as they are.
const CARRIERS: &[&str] = &[
    "Ipv4::new",
    "Path::frame",
    "::frame",
    "::frame6",
    "Sum::with",
    "::checksum",
];

fn sources(under: &Path, into: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(under).expect("a folder of the workspace") {
        let path = entry.expect("an entry").path();
        let name = path
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        // Simulated devices read what our own program says to them, and nothing from a wire.
        if path.is_dir() && name != "tests" && name != "persona" {
            sources(&path, into);
        } else if path.extension().is_some_and(|e| e == "rs") && !name.ends_with("tests.rs") {
            into.push(path);
        }
    }
}

fn texts(under: &str) -> Vec<String> {
    let mut found = Vec::new();
    sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join(under), &mut found);
    let read = |path: &PathBuf| fs::read_to_string(path).expect("a source");
    found.iter().map(read).collect()
}

/// The public functions of a source that take bytes, or what was made of bytes by another reader: `Type::name`,
/// or `::name` outside of a type.
fn readers(text: &str) -> BTreeSet<String> {
    let code = text.split("#[cfg(test)]").next().unwrap_or(text);
    let mut out = BTreeSet::new();
    let mut kind = String::new();
    let mut lines = code.lines();
    while let Some(line) = lines.next() {
        if let Some(rest) = line.strip_prefix("impl") {
            let rest = rest.split(" for ").last().unwrap_or(rest).trim_start();
            let rest = match rest.strip_prefix('<') {
                Some(generic) => generic.split_once("> ").map_or(rest, |(_, name)| name),
                None => rest,
            };
            kind = rest
                .chars()
                .take_while(|c| c.is_alphanumeric() || *c == '_')
                .collect();
        } else if line == "}" {
            kind.clear();
        }
        let line = line.trim_start();
        let Some(at) = ["pub fn ", "pub const fn "]
            .iter()
            .find_map(|p| line.strip_prefix(p))
        else {
            continue;
        };
        // A long signature goes on over several lines.
        let mut signature = at.to_owned();
        while !signature.contains(['{', ';']) {
            let Some(more) = lines.next() else { break };
            signature.push_str(more.trim_start());
        }
        let name: String = at
            .chars()
            .take_while(|c| c.is_alphanumeric() || *c == '_')
            .collect();
        let takes = signature.split("->").next().unwrap_or_default();
        if takes.contains("[u8]")
            || takes.contains("Head<")
            || takes.contains("&Ipv6<")
            || takes.contains("&Answer")
        {
            out.insert(format!("{kind}::{name}"));
        }
    }
    out
}

#[test]
fn every_reader_of_the_wire_is_called_by_a_target() {
    let all: BTreeSet<String> = texts("../../crates/wire/src")
        .iter()
        .flat_map(|text| readers(text))
        .collect();
    assert!(
        all.len() >= 30 && all.contains("Datagram::parse") && all.contains("::body"),
        "the search for readers has gone wrong: {all:?}"
    );
    let targets = texts("src/target").concat();
    let called =
        |reader: &&String| CARRIERS.contains(&reader.as_str()) || targets.contains(&format!("{reader}("));
    let missed: Vec<&String> = all.iter().filter(|reader| !called(reader)).collect();
    assert!(
        missed.is_empty(),
        "{missed:?} of crates/wire read bytes, and no target in tests/fuzz/src/target calls them by that name"
    );
    for carrier in CARRIERS {
        assert!(
            all.contains(*carrier),
            "{carrier} is no more: take it off the list"
        );
    }
}

#[test]
fn readers_are_found() {
    let text = "pub fn parse(bytes: &[u8]) -> Head<'_> {\n}\npub fn emit(x: u8) -> Vec<u8> {\n}\n\
                impl<'a> Datagram<'a> {\n    pub fn parse(bytes: &'a [u8]) -> Self {\n    }\n    pub fn emit(&self) {}\n}\n\
                pub fn long(\n    a: u8,\n    head: &Head<'_>,\n) {\n}\nfn private(a: &[u8]) {}\n";
    let found: Vec<String> = readers(text).into_iter().collect();
    assert_eq!(found, ["::long", "::parse", "Datagram::parse"]);
}

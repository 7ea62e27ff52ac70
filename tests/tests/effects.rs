//! What leaves the process: programs that are started, and files that are made or changed. Each place in the
//! sources stands here with where its name comes from, which is never a wire.
#![allow(clippy::expect_used)]

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// What starts a program, or makes, changes or takes away a file.
const DEEDS: &[&str] = &[
    "Command::new",
    "File::create",
    "OpenOptions::new",
    "DirBuilder::new",
    "Connection::open",
    "create_dir",
    "fs::write",
    "fs::copy",
    "fs::rename",
    "fs::remove",
    "hard_link",
    "fs::symlink(",
    "set_permissions",
    "UnixListener",
    "mkfifo",
];

/// Where that is done: the file, what, and where the name comes from.
const PLACES: &[(&str, &str, &str)] = &[
    (
        "rigmuster/src/browser.rs",
        "Command::new",
        "the system's opener by a name that stands in the source, with a URL made of an address and a port in numbers",
    ),
    (
        "rigmuster/src/journal/book.rs",
        "Connection::open",
        "the journal: --journal, or a fixed name in the user's own data folder",
    ),
    (
        "rigmuster/src/journal/place.rs",
        "DirBuilder::new",
        "the folder of the journal, in the user's own data folder",
    ),
    (
        "rigmuster/src/files/save.rs",
        "OpenOptions::new",
        "a new file beside the one that the user named on the command line",
    ),
    (
        "rigmuster/src/files/save.rs",
        "fs::rename",
        "that new file, put in the place of the one that the user named",
    ),
    (
        "rigmuster/src/files/save.rs",
        "set_permissions",
        "that new file gets those of the old one",
    ),
    (
        "rigmuster/src/files/save.rs",
        "fs::remove",
        "that new file, where it could not be put in place",
    ),
];

fn sources(under: &Path, into: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(under).expect("a folder of the workspace") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            sources(&path, into);
        } else if path.extension().is_some_and(|e| e == "rs") {
            into.push(path);
        }
    }
}

#[test]
fn whatever_starts_a_program_or_makes_a_file_is_listed_with_its_reason() {
    let crates = rigmuster_tests::top().join("crates");
    let mut found = BTreeSet::new();
    for entry in fs::read_dir(&crates).expect("the crates") {
        let mut files = Vec::new();
        sources(&entry.expect("a crate").path().join("src"), &mut files);
        for path in files {
            let name = path
                .strip_prefix(&crates)
                .expect("it lies there")
                .display()
                .to_string();
            // Tests stand in modules of their own, at the end or in files that say so.
            if name.ends_with("tests.rs") || name.contains("/tests/") {
                continue;
            }
            let text = fs::read_to_string(&path).expect("a source");
            let code = text.split("#[cfg(test)]").next().unwrap_or_default();
            for line in code.lines().filter(|line| !line.trim_start().starts_with("//")) {
                for deed in DEEDS.iter().filter(|deed| line.contains(**deed)) {
                    found.insert((name.clone(), *deed));
                }
            }
        }
    }
    let listed: BTreeSet<(String, &str)> = PLACES
        .iter()
        .map(|(file, deed, _)| ((*file).to_owned(), *deed))
        .collect();
    let new: Vec<_> = found.difference(&listed).collect();
    assert!(
        new.is_empty(),
        "say in {} where the names come from: {new:?}",
        file!()
    );
    let gone: Vec<_> = listed.difference(&found).collect();
    assert!(gone.is_empty(), "no longer done: {gone:?}");
}

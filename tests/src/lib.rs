//! Shared parts of the whole-program tests: the program itself, the contract of its JSON, a
//! terminal to run it in, and the lab of real kernel stacks.
//!
//! Whatever goes wrong in here is a failed test, so it panics with what it knows.
#![allow(clippy::expect_used, clippy::unwrap_used, clippy::missing_panics_doc)]

pub mod contract;
#[cfg(unix)]
pub mod harmless;
#[cfg(unix)]
pub mod program;
pub mod rigs;

#[cfg(target_os = "linux")]
pub mod lab;
#[cfg(target_os = "linux")]
pub mod terminal;
#[cfg(target_os = "linux")]
pub mod tools;

use std::io::{Write, stderr};
use std::path::PathBuf;
use std::time::Duration;

/// How long anything may take before a test gives up: far more than a busy machine with two cores
/// needs, so that only what never comes is a failure.
pub const PATIENCE: Duration = Duration::from_secs(90);

/// The top of the workspace.
pub fn top() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .expect("the tests lie inside the workspace")
        .to_owned()
}

/// Says that a check cannot be made here and why, past the test runner's capture, so that no check
/// is left out silently. With `RIGMUSTER_REQUIRE_TOOLS=1` it fails instead.
#[track_caller]
pub fn skipped(what: &str, why: &str) {
    assert!(
        std::env::var("RIGMUSTER_REQUIRE_TOOLS").as_deref() != Ok("1"),
        "{what} must run here, but: {why}"
    );
    let _ = writeln!(stderr(), "SKIPPED {what}: {why}");
}

/// The same for a whole lab that cannot be made here: with `RIGMUSTER_REQUIRE_LAB=1` it fails instead.
#[track_caller]
pub fn lab_skipped(name: &str, why: &str) {
    assert!(
        std::env::var("RIGMUSTER_REQUIRE_LAB").as_deref() != Ok("1"),
        "the lab must run here, but: {why}"
    );
    let _ = writeln!(stderr(), "SKIPPED lab: {name}: {why}");
}

/// Whether `words` run here; a check that cannot be made without them is said to be left out.
pub fn has(test: &str, what: &str, words: &[&str]) -> bool {
    let out = std::process::Command::new(words[0]).args(&words[1..]).output();
    let has = out.is_ok_and(|o| o.status.success());
    if !has {
        skipped(test, &format!("there is no {what}"));
    }
    has
}

/// The same for a module of Python.
pub fn python_has(test: &str, module: &str) -> bool {
    has(test, module, &["python3", "-c", &format!("import {module}")])
}

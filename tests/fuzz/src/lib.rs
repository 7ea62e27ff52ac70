//! Any bytes for every reader: fuzz targets, where they begin, and a mutator that needs no tools.
//!
//! A [`Target`] takes any bytes and panics where a promise is broken: that nothing panics, that what
//! is written is read back as it was, that text is clean, that counts add up. Each begins from seeds,
//! which come from captures and from our own encoders. `tests/short.rs` plays them with a bounded number
//! of mutations on every run of the tests, `./tests/fuzz/run SECONDS` for as long as one likes,
//! guided by coverage. docs/fuzzing.md says what came of it.
#![allow(clippy::expect_used, clippy::unwrap_used, clippy::missing_panics_doc)]

mod bytes;
pub mod mutate;
mod seeds;
mod target;

use std::path::PathBuf;

pub use bytes::Bytes;
pub use target::TARGETS;

/// One door for bytes from outside.
pub struct Target {
    /// Its name on the command line, and that of its folder under `kept`.
    pub name: &'static str,
    /// The longest input that is worth a try, in bytes.
    pub longest: usize,
    /// How many mutations the short run plays: fewer where one costs more.
    pub short: u32,
    /// Takes any bytes; panics where a promise is broken.
    pub run: fn(&[u8]),
    /// Inputs to begin from.
    pub seeds: fn() -> Vec<Vec<u8>>,
}

/// The target of that name.
pub fn target(name: &str) -> Option<&'static Target> {
    TARGETS.iter().find(|target| target.name == name)
}

/// Inputs that once broke a promise, each with its file's name.
pub fn kept(target: &Target) -> Vec<(String, Vec<u8>)> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("kept")
        .join(target.name);
    let mut files: Vec<PathBuf> = match std::fs::read_dir(&folder) {
        Ok(entries) => entries.map(|entry| entry.unwrap().path()).collect(),
        Err(_) => Vec::new(),
    };
    files.sort();
    let named = |path: PathBuf| {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        (name, std::fs::read(path).unwrap())
    };
    files.into_iter().map(named).collect()
}

/// Panics unless `text` is safe to be shown: no control character, nothing that turns the reading direction.
pub(crate) fn must_be_clean(text: &str) {
    let bad = |c: char| {
        c.is_control()
            || matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    };
    assert!(!text.contains(bad), "text that is not clean: {text:?}");
}

//! Rig files that cannot be used: each ends with exit code 2, a place, and the next step. They are
//! read before any link is opened; `--rehearse` makes sure that none is.
#![cfg(unix)]
#![allow(clippy::expect_used, clippy::unwrap_used)]

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use rigmuster_tests::program::{Call, Outcome, bin};
use rigmuster_tests::rigs::RigText;
use tempfile::TempDir;

fn folder() -> TempDir {
    tempfile::tempdir().expect("a folder")
}

fn put(folder: &TempDir, name: &str, bytes: &[u8]) -> PathBuf {
    let path = folder.path().join(name);
    fs::write(&path, bytes).expect("a file");
    path
}

fn check(path: &Path) -> Outcome {
    Call::program(&[
        "check",
        &path.display().to_string(),
        "--rehearse",
        "calm",
        "--within",
        "1s",
    ])
    .run()
}

/// Exit code 2, nothing on standard output, the file's name and a next step on standard error.
#[track_caller]
fn refused(path: &Path, words: &[&str]) -> Outcome {
    let outcome = check(path);
    let name = path.file_name().expect("a name").to_string_lossy().into_owned();
    outcome.expect(2).tells(&[&name]).tells(words);
    assert!(outcome.out.is_empty(), "an error on standard output: {outcome}");
    assert!(
        outcome.err.lines().count() >= 2 || outcome.err.contains(". "),
        "only what is wrong, not how to mend it: {outcome}"
    );
    assert!(
        !outcome.err.contains('\u{1b}'),
        "an escape sequence from the file: {outcome}"
    );
    outcome
}

fn good() -> String {
    RigText::hall()
        .device("Organ loft", "02:52:43:00:00:21", "10.40.8.21", &[])
        .as_str()
        .to_owned()
}

#[test]
fn a_good_file_is_not_refused() {
    let folder = folder();
    let outcome = check(&put(&folder, "hall.rig.toml", good().as_bytes()));
    assert!(matches!(outcome.code, Some(0 | 1)), "{outcome}");
}

#[test]
fn a_missing_file() {
    refused(
        &folder().path().join("nosuch.rig.toml"),
        &["there is no file", "Check its name"],
    );
}

#[test]
fn a_folder_instead_of_a_file() {
    let folder = folder();
    let path = folder.path().join("hall.rig.toml");
    fs::create_dir(&path).expect("a folder");
    refused(&path, &["is a folder", "Name the rig file"]);
}

#[test]
fn a_file_that_may_not_be_read() {
    let folder = folder();
    let path = put(&folder, "hall.rig.toml", good().as_bytes());
    fs::set_permissions(&path, fs::Permissions::from_mode(0o000)).expect("permissions");
    let bin = bin().display().to_string();
    let file = path.display().to_string();
    let mut words = vec![bin.as_str(), "check", &file, "--rehearse", "calm"];
    if fs::read(&path).is_ok() {
        // The superuser reads everything; without that permission the owner is held to the mode.
        let drop = [
            "setpriv",
            "--no-new-privs",
            "--bounding-set=-all",
            "--inh-caps=-all",
            "--",
        ];
        words.splice(0..0, drop);
    }
    let outcome = Call::of(words).run();
    outcome
        .expect(2)
        .tells(&["hall.rig.toml", "may not read", "make it readable"]);
}

#[test]
fn an_empty_file() {
    let folder = folder();
    refused(&put(&folder, "hall.rig.toml", b""), &["is empty", "backup"]);
}

#[test]
fn a_binary_file() {
    let folder = folder();
    let bytes: Vec<u8> = (0..8192_u32)
        .map(|i| (i.wrapping_mul(2_654_435_761) >> 13) as u8)
        .collect();
    refused(&put(&folder, "hall.rig.toml", &bytes), &[]);
    refused(&put(&folder, "nul.rig.toml", b"format = 1\0\n"), &[]);
    // A picture, by its first bytes.
    refused(
        &put(&folder, "picture.rig.toml", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR"),
        &[],
    );
}

#[test]
fn a_file_of_ten_megabytes() {
    let folder = folder();
    let line = "# a comment that somebody pasted a thousand times over\n";
    let mut text = good();
    while text.len() < 10_000_000 {
        text.push_str(line);
    }
    refused(
        &put(&folder, "hall.rig.toml", text.as_bytes()),
        &["10000", "Check that it is"],
    );
    let one_line = format!("title = \"{}\"\n", "x".repeat(10_000_000));
    let outcome = refused(
        &put(&folder, "line.rig.toml", one_line.as_bytes()),
        &["Check that it is"],
    );
    assert!(
        outcome.err.len() < 4_000,
        "a screenful at most: {} bytes",
        outcome.err.len()
    );
}

#[test]
fn a_device_file_has_no_end() {
    // A file that never ends must not be read to its end.
    refused(Path::new("/dev/zero"), &["no regular file", "Name a rig file"]);
}

#[test]
fn a_half_written_file() {
    let folder = folder();
    let whole = RigText::hall()
        .device(
            "Organ loft",
            "02:52:43:00:00:21",
            "10.40.8.21",
            &["control = [\"visca-udp\", \"http\"]"],
        )
        .as_str()
        .to_owned();
    for cut in [7, 40, whole.len() / 2, whole.len() - 3, whole.len() - 12] {
        let path = put(&folder, "hall.rig.toml", &whole.as_bytes()[..cut]);
        refused(&path, &["hall.rig.toml:"]);
    }
}

#[test]
fn every_mistake_at_once_each_with_its_place() {
    let folder = folder();
    let text = RigText::hall()
        .device(
            "Organ loft",
            "02:52:43:00:00:21",
            "10.40.8.21",
            &["kolour = \"red\""],
        )
        .device("Organ loft", "02:52:43:00:00:21", "10.40.8.21", &[])
        .device(
            "West door",
            "02:52:43:00:00",
            "10.40.9.22",
            &["control = [\"vizca\"]"],
        )
        .device("Desk", "", "10.40.8.255", &["channels = { 1 = \"Nobody\" }"]);
    let outcome = refused(&put(&folder, "hall.rig.toml", text.as_str().as_bytes()), &[]);
    // Nine mistakes: key, name, MAC, address twice, bad MAC, outside, word, broadcast, nobody.
    let places = outcome.err.matches("hall.rig.toml:").count();
    assert!(places >= 8, "{places} places: {outcome}");
    outcome.tells(&[
        "kolour",
        "Organ loft",
        "10.40.9.22",
        "vizca",
        "10.40.8.255",
        "Nobody",
    ]);
    for place in outcome.err.match_indices("hall.rig.toml:") {
        let rest = &outcome.err[place.0 + "hall.rig.toml:".len()..];
        let mut numbers = rest.split(':');
        assert!(
            numbers
                .next()
                .is_some_and(|n| n.parse::<u32>().is_ok_and(|n| n > 0)),
            "a line: {rest}"
        );
        let column: String = numbers
            .next()
            .unwrap_or_default()
            .chars()
            .take_while(char::is_ascii_digit)
            .collect();
        assert!(!column.is_empty(), "a column: {rest}");
    }
}

#[test]
fn subnets_that_cannot_hold_or_be_asked() {
    let folder = folder();
    for (subnet, device) in [
        ("10.40.8.20/31", "10.40.8.21"),
        ("10.40.8.21/32", "10.40.8.21"),
        ("10.0.0.0/8", "10.40.8.21"),
        ("10.40.0.0/15", "10.40.8.21"),
        ("fd52:4300::/64", "fd52:4300::21"),
        ("10.40.8.0", "10.40.8.21"),
        ("10.40.8.0/33", "10.40.8.21"),
        ("10.40.8.7/24", "10.40.8.21"),
    ] {
        let text = RigText::on(subnet, &[]).device("Organ loft", "02:52:43:00:00:21", device, &[]);
        let path = put(&folder, "hall.rig.toml", text.as_str().as_bytes());
        if subnet == "10.40.8.7/24" {
            // An address inside a subnet says plainly which one is meant; refused or understood, but no fault.
            let outcome = check(&path);
            assert!(matches!(outcome.code, Some(0..=2)), "{outcome}");
            continue;
        }
        refused(&path, &["hall.rig.toml:5:"]);
    }
}

#[test]
fn control_characters_in_a_file_do_not_reach_the_terminal() {
    let folder = folder();
    let text = good().replace("Organ loft", "\\u001b]0;taken\\u0007");
    let outcome = check(&put(&folder, "hall.rig.toml", text.as_bytes()));
    assert!(
        !outcome.out.contains('\u{1b}') && !outcome.err.contains('\u{1b}'),
        "{outcome}"
    );
    refused(
        &put(
            &folder,
            "raw.rig.toml",
            "format = 1\ntit\u{1b}[2Jle = 1\n".as_bytes(),
        ),
        &[],
    );
    let odd_name = put(&folder, "h\u{1b}[31mall.rig.toml", b"");
    let outcome = check(&odd_name);
    outcome.expect(2);
    assert!(!outcome.err.contains('\u{1b}'), "{outcome}");
}

#[test]
fn the_folders_only_file_is_the_default() {
    let here = folder();
    let none = Call::program(&["check"]).within(here.path()).run();
    none.expect(2).tells(&["no rig file in this folder", "Name one"]);
    // A bad one shows that it is the one that is read, before any link is opened.
    put(&here, "hall.rig.toml", b"format = 9\n");
    put(&here, "notes.toml", b"");
    let one = Call::program(&["check"]).within(here.path()).run();
    one.expect(2).tells(&["hall.rig.toml:1:"]);
    put(&here, "annexe.rig.toml", good().as_bytes());
    for command in ["check", "survey"] {
        let two = Call::program(&[command]).within(here.path()).run();
        two.expect(2)
            .tells(&["annexe.rig.toml", "hall.rig.toml", "Name the one you mean"]);
    }
}

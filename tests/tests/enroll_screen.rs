//! The sheet of an enrolment under a terminal, on the simulated venue.
#![cfg(target_os = "linux")]
#![allow(clippy::expect_used, clippy::unwrap_used)]

use std::fs;
use std::path::PathBuf;

use rigmuster_tests::program::run;
use rigmuster_tests::terminal::{Start, Terminal};
use tempfile::TempDir;

fn hall() -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("hall.rig.toml");
    (folder, file)
}

fn sheet(file: &std::path::Path) -> Terminal {
    let path = file.to_str().expect("a plain path");
    let terminal = Start::program(&["enroll", path, "--rehearse", "named"])
        .size(120, 40)
        .start();
    terminal.wait_words(&[
        "Enrolment into",
        "looked; s looks once more",
        "Organ loft",
        "11 devices",
    ]);
    terminal
}

#[test]
fn what_is_confirmed_is_written_and_ready() {
    let (_folder, file) = hall();
    let terminal = sheet(&file);
    // The borrowed camera is of another network: leave it out. And call the west door by another name.
    terminal.send("/borrowed\r ");
    terminal.wait_words(&["left out by hand"]);
    terminal.send("\x1b");
    terminal.wait_for("all hosts again", |screen| {
        !screen.contents().contains("filter: ")
    });
    terminal.wait_words(&["10 devices"]);
    terminal.send("/west door\rn\x15Porch\r");
    terminal.wait_words(&["Porch"]);
    terminal.send("\r");
    terminal.wait_words(&["subnet = \"10.40.8.0/24\"", "Write this? y write n not yet"]);
    assert!(!file.exists(), "nothing is written before the word is given");
    terminal.send("y");
    let ended = terminal.end();
    assert_eq!(ended.code, 0);
    let text = fs::read_to_string(&file).expect("it was made");
    assert!(text.contains("\"Porch\"") && !text.contains("Borrowed"), "{text}");
    let path = file.to_str().expect("a plain path");
    run(&["check", path, "--rehearse", "named"]).expect(0);
}

#[test]
fn leaving_writes_nothing_and_says_so() {
    let (folder, file) = hall();
    let terminal = sheet(&file);
    terminal.send(" q");
    terminal.wait_words(&["Leave, and write nothing?"]);
    terminal.send("y");
    let ended = terminal.end();
    assert_eq!(ended.code, 0);
    assert!(String::from_utf8_lossy(&ended.raw).contains("nothing was written"));
    assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 0);
    // Ctrl-C as well, even while something is typed.
    let terminal = sheet(&file);
    terminal.send("/x\x03");
    assert_eq!(terminal.end().code, 130);
    assert!(!file.exists());
}

#[test]
fn a_file_that_appears_meanwhile_is_added_to_and_shown_first() {
    let (_folder, file) = hall();
    let terminal = sheet(&file);
    terminal.send("\r");
    terminal.wait_words(&["Write this?"]);
    let made = "# somebody was quicker\nformat = 1\n[network]\nsubnet = \"10.40.8.0/24\"\n";
    fs::write(&file, made).expect("a file");
    terminal.send("y");
    terminal.wait_words(&["Somebody has changed the file meanwhile", "Write this?"]);
    assert_eq!(fs::read_to_string(&file).expect("it is there"), made);
    terminal.send("y");
    assert_eq!(terminal.end().code, 0);
    let text = fs::read_to_string(&file).expect("it is there");
    assert!(text.starts_with(made) && text.contains("Organ loft"), "{text}");
}

#[test]
fn where_it_cannot_be_written_the_sheet_stays_open() {
    let (folder, file) = hall();
    let terminal = sheet(&file);
    let aside = folder.path().with_extension("aside");
    fs::rename(folder.path(), &aside).expect("it goes aside");
    terminal.send("\ry");
    terminal.wait_words(&["Nothing was written:", "Check space and permission"]);
    fs::rename(&aside, folder.path()).expect("it comes back");
    terminal.send("\r");
    terminal.wait_words(&["Write this?"]);
    terminal.send("y");
    assert_eq!(terminal.end().code, 0);
    assert!(file.exists());
}

#[test]
fn without_a_terminal_it_names_the_way_without_one() {
    let outcome = run(&["enroll", "/nowhere.rig.toml", "--rehearse", "calm"]);
    outcome.expect(2).tells(&["terminal", "next step", "--yes"]);
}

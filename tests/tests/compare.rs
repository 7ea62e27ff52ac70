//! `compare` from outside: two rig files, a rig file and a saved check, and what is neither.
#![cfg(unix)]
#![allow(clippy::expect_used, clippy::unwrap_used)]

use std::fs;
use std::path::Path;

use rigmuster_tests::program::{Call, Outcome, run};
use rigmuster_tests::top;
use serde_json::{Value, json};
use tempfile::TempDir;

fn folder() -> TempDir {
    tempfile::tempdir().expect("a folder")
}

fn put(folder: &TempDir, name: &str, text: &str) -> String {
    let path = folder.path().join(name);
    fs::write(&path, text).expect("a file");
    path.display().to_string()
}

/// The rig file of the scene `tangled`, and what a check says of it.
fn chapel() -> (String, Value) {
    let rig = fs::read_to_string(top().join("crates/venue/scenes/quay-chapel.rig.toml")).expect("a rig");
    let check = run(&["check", "--rehearse", "tangled", "--json"]);
    check.expect(1);
    (rig, check.json())
}

fn compare(a: &str, b: &str) -> (Value, Outcome) {
    let outcome = run(&["compare", a, b, "--json"]);
    outcome.expect(0);
    let table = run(&["compare", a, b]);
    table.expect(0);
    (outcome.json(), table)
}

#[test]
fn two_files_are_told_apart_and_each_difference_is_in_its_list() {
    let folder = folder();
    let old = fs::read_to_string(top().join("fixtures/rigs/harbour-hall.rig.toml")).expect("a rig");
    let new = old
        .replace("Organ loft", "Loft")
        .replace("\"10.40.8.22\"", "\"10.40.8.32\"")
        .replace("3 = \"Stage left\"", "3 = \"West door\"")
        .replace("cable_m     = 42", "cable_m = 43")
        .replace("name     = \"Talkback box\"", "name = \"Belt pack\"");
    let (a, b) = (put(&folder, "a.rig.toml", &old), put(&folder, "b.rig.toml", &new));
    let (value, table) = compare(&a, &b);
    assert_eq!(value["same"], false);
    assert_eq!(value["added"][0]["name"], "Belt pack");
    assert_eq!(value["dropped"][0]["name"], "Talkback box");
    assert_eq!(value["renamed"], json!([{ "from": "Organ loft", "to": "Loft" }]));
    assert_eq!(value["moved"][0]["from"], "10.40.8.22");
    assert_eq!(value["moved"][0]["to"], "10.40.8.32");
    assert_eq!(
        value["rechannelled"],
        json!([{ "panel": "Desk panel", "channel": 3,
            "from": { "device": "Stage left", "control": null },
            "to": { "device": "West door", "control": null } }])
    );
    assert_eq!(
        value["changed"],
        json!([{ "name": "Loft", "key": "cable_m", "from": "42", "to": "43" }])
    );
    for words in ["Added", "Dropped", "Renamed", "Moved", "Re-channelled", "Changed"] {
        assert!(table.out.contains(words), "{words}: {table}");
    }
    // The other way round, everything is.
    let (back, _) = compare(&b, &a);
    assert_eq!(back["added"], value["dropped"]);
    assert_eq!(back["moved"][0]["to"], value["moved"][0]["from"]);
    let (same, table) = compare(&a, &a);
    assert_eq!(same["same"], true);
    assert!(table.out.contains("No difference."), "{table}");
}

#[test]
fn a_check_tells_what_it_saw_and_which_file_it_was_held_against() {
    let folder = folder();
    let (rig, check) = chapel();
    let saved = put(&folder, "check.json", &check.to_string());
    let (value, table) = compare(&put(&folder, "same.rig.toml", &rig), &saved);
    for list in [
        "added",
        "dropped",
        "renamed",
        "moved",
        "rechannelled",
        "changed",
        "settings",
    ] {
        assert_eq!(value[list], json!([]), "the file is the check's own: {value:#}");
    }
    assert_eq!(value["b"]["kind"], "check");
    // Whoever is not as the file has it, by the check's own count.
    let troubled: Vec<&str> = check["devices"]
        .as_array()
        .expect("devices")
        .iter()
        .filter(|d| d["standing"] != "present")
        .map(|d| d["name"].as_str().expect("a name"))
        .collect();
    let found: Vec<&str> = value["found"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|d| d["name"].as_str().expect("a name"))
        .collect();
    assert_eq!(found, troubled);
    assert!(!found.is_empty());
    for words in ["Nave", "10.40.9.22", "192.168.0.20", "next: "] {
        assert!(table.out.contains(words), "{words}: {table}");
    }

    // The crew took what was found for what is wanted: Choir's address into the file, Font's new unit too.
    let edited = rig
        .replace("\"10.40.9.23\"", "\"10.40.9.73\"")
        .replace("02:52:43:00:01:18", "02:52:43:00:01:94");
    let (value, _) = compare(&put(&folder, "edited.rig.toml", &edited), &saved);
    assert_eq!(value["moved"][0]["name"], "Choir");
    assert_eq!(value["changed"][0]["key"], "mac");
    let found: Vec<&Value> = value["found"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|d| &d["name"])
        .collect();
    assert_eq!(found.len(), troubled.len() - 2, "{found:?}");
    assert!(
        !found.iter().any(|name| **name == "Choir" || **name == "Font"),
        "{found:?}"
    );
}

#[test]
fn a_unit_that_was_listed_since_was_on_the_wire_already() {
    let folder = folder();
    let (rig, check) = chapel();
    let stranger = &check["unlisted"][0];
    let mac = stranger["mac"].as_str().expect("hardware");
    let rig = format!(
        "{rig}\n[[device]]\nname = \"Late one\"\nrole = \"other\"\nmac = \"{mac}\"\naddress = \"10.40.9.199\"\n"
    );
    let saved = put(&folder, "check.json", &check.to_string());
    let (value, _) = compare(&saved, &put(&folder, "late.rig.toml", &rig));
    assert_eq!(value["added"][0]["name"], "Late one");
    let found = value["found"].as_array().expect("a list");
    let late = found
        .iter()
        .find(|d| d["name"] == "Late one")
        .expect("it was seen");
    assert_eq!(late["a"]["address"], stranger["addresses"][0]);
    assert_eq!(late["a"]["standing"], Value::Null);
}

#[test]
fn what_cannot_be_compared_is_refused_with_a_next_step() {
    let folder = folder();
    let rig = put(
        &folder,
        "hall.rig.toml",
        "format = 1\n[network]\nsubnet = \"10.40.8.0/24\"\n",
    );
    let survey = run(&["survey", "--rehearse", "calm", "--json"]);
    let mut survey = survey.json();
    survey["rig"] = Value::Null;
    for (name, text) in [
        ("empty.json", String::new()),
        ("other.json", "{ \"a\": 1 }".to_owned()),
        ("survey.json", survey.to_string()),
        ("cut.json", survey.to_string()[..200].to_owned()),
        ("bad.rig.toml", "format = 1\nx = \"\u{1b}[2J\"\n".to_owned()),
    ] {
        let path = put(&folder, name, &text);
        for args in [["compare", &rig, &path], ["compare", &path, &rig]] {
            let outcome = Call::program(&args).run();
            outcome.expect(2).tells(&[name]);
            assert!(
                outcome.out.is_empty() && !outcome.err.contains('\u{1b}'),
                "{outcome}"
            );
            assert!(
                outcome.err.contains("next step") || outcome.err.contains(". "),
                "{outcome}"
            );
        }
    }
    assert!(!Path::new("check.json").exists());
    run(&["compare", &rig]).expect(2);
    run(&["compare", &rig, "/dev/zero"])
        .expect(2)
        .tells(&["no regular file"]);
}

#[test]
fn names_from_a_check_cannot_write_to_the_terminal() {
    let folder = folder();
    let (rig, mut check) = chapel();
    check["devices"][0]["name"] = "a\u{1b}[2J\u{202e}b\u{9b}31m".into();
    check["rig"]["title"] = "\u{1b}]0;taken\u{7}".into();
    let (a, b) = (
        put(&folder, "a.rig.toml", &rig),
        put(&folder, "b.json", &check.to_string()),
    );
    let (_, table) = compare(&a, &b);
    let json = run(&["compare", &a, &b, "--json"]);
    for out in [&table.out, &json.out] {
        assert!(
            !out.contains(['\u{1b}', '\u{202e}', '\u{9b}', '\u{7}']),
            "{out:?}"
        );
    }
}

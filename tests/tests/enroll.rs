//! A rig file made from what is on the wire, or added to: the program from outside, on the simulated
//! venue and on saved surveys.
#![cfg(unix)]
#![allow(clippy::expect_used, clippy::unwrap_used)]

use std::fs;
use std::path::Path;
use std::process::Command;

use rigmuster_tests::program::{Call, Outcome, run};
use rigmuster_tests::{python_has, top};
use serde_json::{Value, json};
use tempfile::TempDir;

fn folder() -> TempDir {
    tempfile::tempdir().expect("a folder")
}

fn enroll(folder: &TempDir, args: &[&str]) -> Outcome {
    let all = [&["enroll", "hall.rig.toml", "--yes"], args].concat();
    Call::program(&all).within(folder.path()).run()
}

fn text(folder: &TempDir) -> String {
    fs::read_to_string(folder.path().join("hall.rig.toml")).expect("the file was made")
}

/// The file as Python's tomllib reads it (PEP 680); `None` where there is none.
fn by_python(test: &str, path: &Path) -> Option<Value> {
    if !python_has(test, "tomllib") {
        return None;
    }
    let script = "import json, sys, tomllib; json.dump(tomllib.load(open(sys.argv[1], 'rb')), sys.stdout)";
    let out = Command::new("python3")
        .args(["-c", script])
        .arg(path)
        .output()
        .expect("python3 runs");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    Some(serde_json::from_slice(&out.stdout).expect("JSON"))
}

#[test]
fn a_calm_hall_is_enrolled_and_ready_at_once() {
    let folder = folder();
    let made = enroll(&folder, &["--rehearse", "calm"]);
    made.expect(0).tells(&["written: hall.rig.toml", "next step"]);
    assert!(
        made.out.contains("no control port answered"),
        "who is left out, and why: {made}"
    );
    let check = ["check", "hall.rig.toml", "--rehearse", "calm"];
    Call::program(&check).within(folder.path()).run().expect(0);
    // Once more: nothing is new, and not a byte changes.
    let before = text(&folder);
    let again = enroll(&folder, &["--rehearse", "calm"]);
    again.expect(0).tells(&["nothing is new"]);
    assert!(again.out.contains("listed as Camera 1"), "{again}");
    assert_eq!(text(&folder), before);
    let Some(file) = by_python("a new file read by Python", &folder.path().join("hall.rig.toml")) else {
        return;
    };
    assert_eq!(file["network"], json!({ "subnet": "10.40.8.0/24" }));
    let devices = file["device"].as_array().expect("devices");
    let camera = devices
        .iter()
        .find(|d| d["address"] == "10.40.8.22")
        .expect("the west door");
    assert_eq!(
        camera["control"],
        json!(["visca-tcp", "http"]),
        "asked at every usual port"
    );
    let panel = devices
        .iter()
        .find(|d| d["role"] == "panel")
        .expect("who calls the heads");
    let channels = panel["channels"].as_object().expect("channels");
    let of = |address: &str| {
        let device = devices
            .iter()
            .find(|d| d["address"] == address)
            .expect("a device");
        let channel = channels.iter().find(|(_, name)| **name == device["name"]);
        channel.map(|(number, _)| number.parse::<u32>().expect("a number"))
    };
    let numbers: Vec<_> = (21..=26).map(|n| of(&format!("10.40.8.{n}"))).collect();
    assert_eq!(numbers, [1, 2, 3, 4, 5, 6].map(Some), "in the order of addresses");
    assert_eq!(
        of("10.40.8.27"),
        None,
        "nothing that a panel could steer answered there"
    );
}

#[test]
fn what_a_file_says_already_stays_byte_for_byte() {
    let folder = folder();
    let old = "# the crew's own\r\nformat = 1\r\n[network] # ours\r\nsubnet = \"10.40.8.0/24\"\r\n\r\n[[device]]\r\n\
               name = \"Organ loft\" # up there\r\nrole = \"camera\"\r\naddress = \"10.40.8.21\"\r\n";
    fs::write(folder.path().join("hall.rig.toml"), old).expect("a file");
    enroll(&folder, &["--rehearse", "calm"]).expect(0);
    let new = text(&folder);
    assert!(new.starts_with(old), "{new}");
    assert!(
        !new.contains("02:52:43:00:00:15"),
        "the organ loft is listed, by its address"
    );
    assert!(new.contains("02:52:43:00:00:16"));
    assert_eq!(
        new.matches('\n').count(),
        new.matches("\r\n").count(),
        "its line endings"
    );
}

#[test]
fn a_saved_survey_does_as_well() {
    let folder = folder();
    let survey = Call::program(&["survey", "--rehearse", "named", "--json"])
        .within(folder.path())
        .run();
    survey.expect(0);
    fs::write(folder.path().join("survey.json"), &survey.out).expect("a file");
    enroll(&folder, &["--seen", "survey.json"]).expect(0);
    let new = text(&folder);
    for name in ["Organ loft", "Borrowed camera"] {
        assert!(new.contains(&format!("name    = \"{name}\"")), "{new}");
    }
}

#[test]
fn nothing_that_a_host_says_breaks_the_file_or_the_terminal() {
    let folder = folder();
    let names = [
        "\"; [[device]]\nname = \"x",
        "\u{1b}]0;gone\u{7}\u{1b}[2J",
        "\u{202e}tfel egatS",
        "🎥\u{fe0f}\u{200d}",
        "'''\"\"\"\\u0000",
        "\u{0}\u{85}\u{2028}",
        &"long ".repeat(99),
        "=cmd()",
        "Organ loft",
        "ORGAN LOFT",
    ];
    // A real survey, with other strangers put in.
    let mut survey = run(&["survey", "--rehearse", "calm", "--json"]).json();
    survey["devices"] = json!([]);
    let strangers = names.iter().enumerate().map(|(n, name)| {
        json!({ "mac": format!("02:52:43:00:07:{n:02x}"), "addresses": [format!("10.40.8.{}", n + 20)],
                "vendor": name, "names": [name], "first_seen_ms": 5, "on_subnet": true,
                "control": { "http": "answered", "rtsp": null }, "resembles": [] })
    });
    survey["unlisted"] = strangers.collect();
    fs::write(folder.path().join("survey.json"), survey.to_string()).expect("a file");
    let made = enroll(&folder, &["--seen", "survey.json"]);
    made.expect(0);
    assert!(!made.out.contains(['\u{1b}', '\u{202e}', '\u{7}']), "{made}");
    assert!(!text(&folder).contains(['\u{1b}', '\u{202e}', '\u{7}']));
    let path = folder.path().join("hall.rig.toml");
    let check = [
        "check",
        path.to_str().expect("a path"),
        "--rehearse",
        "calm",
        "--within",
        "1s",
    ];
    run(&check).expect(1).tells(&[]);
    if let Some(file) = by_python("odd names read by Python", &path) {
        let devices = file["device"].as_array().expect("devices");
        assert_eq!(devices.len(), names.len());
        for (n, device) in devices.iter().enumerate() {
            assert_eq!(device["mac"], format!("02:52:43:00:07:{n:02x}"));
            assert!(
                device["name"]
                    .as_str()
                    .is_some_and(|name| !name.is_empty() && name.chars().count() <= 60)
            );
        }
        assert_eq!(devices[8]["name"], "Organ loft");
        assert_eq!(devices[9]["name"], "ORGAN LOFT 2");
    }
}

#[test]
fn what_cannot_be_used_is_refused_with_a_next_step() {
    let folder = folder();
    let put = |name: &str, bytes: &str| fs::write(folder.path().join(name), bytes).expect("a file");
    put(
        "broken.rig.toml",
        "format = 1\n[network]\nsubnet = \"10.40.8.0/33\"\n",
    );
    put("none.json", "{ \"format\": 1 }");
    let mut nowhere = run(&["survey", "--rehearse", "calm", "--json"]).json();
    nowhere["link"]["addresses"] = json!([]);
    put("nowhere.json", &nowhere.to_string());
    put("half.json", "{ \"format\": 1,");
    let call = |args: &[&str]| {
        Call::program(&[&["enroll"], args].concat())
            .within(folder.path())
            .run()
    };
    call(&["broken.rig.toml", "--yes", "--rehearse", "calm"])
        .expect(2)
        .tells(&["broken.rig.toml:3"]);
    call(&["gone/hall.rig.toml", "--yes", "--rehearse", "calm"])
        .expect(2)
        .tells(&["folder is not there", "next step"]);
    for file in ["none.json", "half.json", "nowhere.json"] {
        call(&["hall.rig.toml", "--yes", "--seen", file])
            .expect(2)
            .tells(&[file, "next step"]);
    }
    call(&[
        "hall.rig.toml",
        "--yes",
        "--seen",
        "half.json",
        "--rehearse",
        "calm",
    ])
    .expect(2);
    call(&["hall.rig.toml", "--yes", "--link", "nosuch0"])
        .expect(3)
        .tells(&["nosuch0"]);
    assert!(!folder.path().join("hall.rig.toml").exists(), "nothing was made");
    // Without a name there must be one file here; broken.rig.toml is it.
    call(&["--yes", "--rehearse", "calm"])
        .expect(2)
        .tells(&["broken.rig.toml:3"]);
    fs::remove_file(folder.path().join("broken.rig.toml")).expect("it is there");
    call(&["--yes", "--rehearse", "calm"])
        .expect(2)
        .tells(&["next step: name it"]);
}

#[test]
fn a_device_of_another_network_is_written_with_its_network() {
    let folder = folder();
    let mill =
        fs::read_to_string(top().join("crates/venue/scenes/tide-mill.rig.toml")).expect("the scene's file");
    // Without the encoder on the media network, and whatever points at it.
    let tables = mill
        .split("\n[[device]]")
        .filter(|table| !table.contains("\"Wall encoder\"\nrole"));
    let listed: Vec<String> = tables
        .map(|table| {
            let lines = table.lines().filter(|line| !line.starts_with("channels"));
            lines.collect::<Vec<_>>().join("\n")
        })
        .collect();
    let listed = listed.join("\n[[device]]") + "\n";
    assert!(!listed.contains("Wall encoder"), "{listed}");
    fs::write(folder.path().join("hall.rig.toml"), &listed).expect("a file");
    enroll(&folder, &["--rehearse", "networks"]).expect(0);
    let new = text(&folder);
    let added = new.strip_prefix(&listed).expect("what was there stays");
    for line in [
        "mac     = \"02:52:43:00:09:15\"",
        "address = \"10.40.17.21\"",
        "network = \"media\"",
    ] {
        assert!(added.contains(line), "{added}");
    }
    assert_eq!(added.matches("[[device]]").count(), 1, "{added}");
}

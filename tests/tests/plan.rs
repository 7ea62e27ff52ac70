//! `plan` from outside: against Python's ipaddress, the two open DHCP servers, and the simulated venue.
#![cfg(target_os = "linux")]
#![allow(clippy::expect_used, clippy::unwrap_used)]

use std::fs;
use std::path::{Path, PathBuf};

use rigmuster_tests::program::{Call, Outcome, bin, run};
use rigmuster_tests::terminal::Start;
use rigmuster_tests::tools::python;
use rigmuster_tests::{has, top};
use serde_json::Value;
use tempfile::TempDir;

fn fixture(name: &str) -> String {
    top().join("fixtures").join(name).display().to_string()
}

/// The rig of the examples in a folder of its own.
fn hall(folder: &TempDir) -> PathBuf {
    let path = folder.path().join("hall.rig.toml");
    fs::copy(fixture("rigs/harbour-hall.rig.toml"), &path).expect("a copy");
    path
}

fn plan(rig: &Path, more: &[&str]) -> Outcome {
    let rig = rig.display().to_string();
    let words = ["plan", &rig];
    let words: Vec<&str> = words.into_iter().chain(more.iter().copied()).collect();
    run(&words)
}

#[test]
fn every_plan_is_right_by_pythons_ipaddress() {
    if !has(
        "plans by ipaddress",
        "Python with tomllib",
        &["python3", "-c", "import tomllib"],
    ) {
        return;
    }
    let folder = TempDir::new().expect("a folder");
    let program = bin().display().to_string();
    let words = python(
        "plan_check.py",
        &[&program, "20261126", "40", &folder.path().display().to_string()],
    );
    let checked = Call::of(words.iter().map(String::as_str)).run();
    checked.expect(0);
    let plans: usize = checked
        .out
        .split_whitespace()
        .nth(1)
        .and_then(|n| n.parse().ok())
        .expect("a number");
    assert!(plans >= 20, "too few rigs could be planned: {checked}");
}

#[test]
fn the_two_open_dhcp_servers_take_the_reservations() {
    let folder = TempDir::new().expect("a folder");
    let rig = hall(&folder);
    let venue = fixture("venues/quay-chapel.venue.toml");
    let export = |server: &str, name: &str| {
        let made = plan(&rig, &["--venue", &venue, "--reservations", server]);
        made.expect(0);
        let path = folder.path().join(name);
        fs::write(&path, &made.out).expect("a file");
        (path.display().to_string(), made.out)
    };
    let (lines, text) = export("dnsmasq", "reservations.conf");
    assert_eq!(
        text.lines()
            .filter(|l| l.starts_with("dhcp-host=02:52:43:"))
            .count(),
        11,
        "{text}"
    );
    let (config, _) = export("kea", "kea.json");
    // Whom no server can know is named.
    let nameless = folder.path().join("nameless.rig.toml");
    let text = fs::read_to_string(&rig).expect("the rig");
    fs::write(&nameless, text.replace("mac     = \"02:52:43:00:00:40\"\n", "")).expect("a rig");
    plan(&nameless, &["--reservations", "kea"])
        .expect(0)
        .tells(&["not reserved", "Mixer"]);
    if has("reservations for dnsmasq", "dnsmasq", &["dnsmasq", "--version"]) {
        let check = format!("--conf-file={lines}");
        Call::of(["dnsmasq", "--test", &check]).run().expect(0);
        // Its own check can fail.
        fs::write(&lines, text.replace("192.168.40.22", "192.168.40.21")).expect("a file");
        assert_ne!(Call::of(["dnsmasq", "--test", &check]).run().code, Some(0));
    }
    if has("reservations for Kea", "kea-dhcp4", &["kea-dhcp4", "-v"]) {
        // One that may not write where it is installed for would fail for that, not for the reservations.
        let kea = |config: &str| {
            let state = folder.path().display().to_string();
            let call = Call::of(["kea-dhcp4", "-t", config]).env("KEA_PIDFILE_DIR", &state);
            call.env("KEA_LOCKFILE_DIR", &state).run()
        };
        kea(&config).expect(0);
        let text = fs::read_to_string(&config).expect("a file");
        fs::write(&config, text.replace("192.168.40.21\"", "10.40.8.21\"")).expect("a file");
        assert_ne!(kea(&config).code, Some(0), "an address outside the subnet");
    }
}

#[test]
fn a_plan_is_written_only_when_somebody_says_so_and_then_changes_nothing_more() {
    let folder = TempDir::new().expect("a folder");
    let rig = hall(&folder);
    let before = fs::read_to_string(&rig).expect("the rig");
    let venue = fixture("venues/quay-chapel.venue.toml");
    plan(&rig, &["--venue", &venue]).expect(0);
    let asked = plan(&rig, &["--venue", &venue, "--write"]);
    asked.expect(2).tells(&["no terminal", "next step: add --yes"]);
    assert_eq!(fs::read_to_string(&rig).expect("the rig"), before);
    let moves = folder.path().join("moves.json").display().to_string();
    let written = plan(
        &rig,
        &[
            "--venue",
            &venue,
            "--write",
            "--yes",
            "--json",
            "--moves-to",
            &moves,
        ],
    );
    written.expect(0).tells(&["written in"]);
    let object = written.json();
    let saved: Value = serde_json::from_str(&fs::read_to_string(&moves).expect("the list")).expect("JSON");
    assert_eq!(saved["tasks"], object["work"]);
    assert_eq!(object["moves"], 11);
    let after = fs::read_to_string(&rig).expect("the rig");
    for comment in before.lines().filter(|line| line.trim_start().starts_with('#')) {
        assert!(after.contains(comment), "{comment} is gone");
    }
    assert!(after.contains("how     = \"reserved\"     # in the lease pool, and the router knows it"));
    let again = plan(&rig, &["--venue", &venue, "--write", "--yes", "--json"]);
    again.expect(0).tells(&["nothing was written"]);
    assert_eq!(
        (
            again.json()["moves"].as_u64(),
            again.json()["work"].as_array().map(Vec::len)
        ),
        (Some(0), Some(0))
    );
    // The diff is what patch makes the file of.
    if has("the diff by patch", "patch", &["patch", "--version"]) {
        fs::write(&rig, &before).expect("the rig");
        let path = rig.display().to_string();
        let patch = Call::of(["patch", &path]).input(object["diff"].as_str().expect("a diff").as_bytes());
        patch.run().expect(0);
        assert_eq!(fs::read_to_string(&rig).expect("the rig"), after);
    }
}

#[test]
fn what_is_wrong_is_told_with_a_next_step() {
    let folder = TempDir::new().expect("a folder");
    let rig = hall(&folder);
    plan(&rig, &["--subnet", "10.50.0.0/29", "--gateway", "10.50.0.1"])
        .expect(2)
        .tells(&["10.50.0.0/29 is too small", "/28 or wider", "next step"]);
    plan(&rig, &["--subnet", "10.50.0.0/24", "--gateway", "10.51.0.1"])
        .expect(2)
        .tells(&["10.51.0.1 is no host of 10.50.0.0/24", "next step"]);
    let broken = fixture("venues/broken.venue.toml");
    plan(&rig, &["--venue", &broken]).expect(2).tells(&[
        "broken.venue.toml:7:44: 192.168.40.150-192.168.40.220 overlaps 192.168.40.100-192.168.40.199",
        "has 5 mistakes",
    ]);
    plan(&rig, &["--venue", "gone.venue.toml"])
        .expect(2)
        .tells(&["gone.venue.toml"]);
    plan(&rig, &["--seen", &broken])
        .expect(2)
        .tells(&["no saved survey", "next step"]);
    let text = fs::read_to_string(&rig).expect("the rig");
    let twice = folder.path().join("twice.rig.toml");
    fs::write(&twice, text.replace("\"10.40.8.22\"", "\"10.40.8.120\"")).expect("a rig");
    plan(&twice, &[])
        .expect(2)
        .tells(&["10.40.8.120 is already the address of"]);
    let full = folder.path().join("full.rig.toml");
    fs::write(
        &full,
        text.replace("10.40.8.200-10.40.8.220", "10.40.8.1-10.40.8.254"),
    )
    .expect("a rig");
    plan(&full, &[]).expect(2).tells(&["none for them", "next step"]);
    plan(
        &rig,
        &["--rehearse", "tangled", "--free", "--subnet", "10.40.9.0/30"],
    )
    .expect(2)
    .tells(&["next step"]);
}

#[test]
fn the_wire_tells_who_is_where() {
    // Font's address is held by a stranger; Nave and Choir are not where the file has them.
    let tangled = run(&["plan", "--rehearse", "tangled", "--json"]);
    tangled.expect(0);
    let object = tangled.json();
    let moved: Vec<&Value> = object["devices"]
        .as_array()
        .expect("devices")
        .iter()
        .filter(|d| d["was"] != d["address"])
        .collect();
    assert_eq!(
        (moved.len(), &moved[0]["name"], &moved[0]["because"]),
        (1, &"Font".into(), &"taken".into())
    );
    let work = object["work"].as_array().expect("work");
    let of = |name: &str| work.iter().find(|task| task["device"] == name).expect("a task");
    assert_eq!(
        (&of("Nave")["from"], &of("Nave")["to"]),
        (&"192.168.0.20".into(), &"10.40.9.22".into())
    );
    assert_eq!(
        (&of("Choir")["from"], &of("Choir")["to"]),
        (&"10.40.9.73".into(), &"10.40.9.23".into())
    );
    // A saved survey tells the same.
    let folder = TempDir::new().expect("a folder");
    let survey = run(&["survey", "--rehearse", "tangled", "--json"]);
    let saved = folder.path().join("survey.json");
    fs::write(&saved, &survey.out).expect("a file");
    let rig = top().join("crates/venue/scenes/quay-chapel.rig.toml");
    let by_file = plan(&rig, &["--seen", &saved.display().to_string(), "--json"]);
    by_file.expect(0);
    assert_eq!(by_file.json()["work"], object["work"]);
}

#[test]
fn two_in_each_others_place_go_by_a_parking_address() {
    let strayed = run(&["plan", "--rehearse", "strayed", "--json"]);
    strayed.expect(0);
    let object = strayed.json();
    let kinds: Vec<&str> = object["work"]
        .as_array()
        .expect("work")
        .iter()
        .filter_map(|task| task["kind"].as_str())
        .collect();
    assert!(kinds.contains(&"park"), "{object}");
}

#[test]
fn a_free_address_is_one_that_nobody_answers_at() {
    for scene in ["calm", "tangled", "house"] {
        let free = run(&["plan", "--free", "--rehearse", scene, "--json"]);
        free.expect(0);
        let object = free.json();
        let address = object["address"].as_str().expect("an address");
        let survey = run(&["survey", "--rehearse", scene, "--json"]).json();
        assert!(
            !survey.to_string().contains(&format!("\"{address}\"")),
            "{address} is somebody's in {scene}"
        );
        assert!(object["mask"].is_string(), "{object}");
    }
    // Every address of a full network is somebody's.
    run(&["plan", "--free", "--rehearse", "grand"])
        .expect(2)
        .tells(&["no free address", "next step"]);
}

#[test]
fn the_subnet_of_an_offer_is_taken_if_there_is_only_one() {
    let late = run(&["plan", "--rehearse", "late", "--from-offer"]);
    late.expect(0);
    assert!(
        late.out
            .contains("10.40.10.0/24, mask 255.255.255.0, gateway 10.40.10.1"),
        "{late}"
    );
    run(&["plan", "--rehearse", "leases", "--from-offer"])
        .expect(2)
        .tells(&["10.40.15.0/24, 192.168.0.0/24", "next step"]);
    run(&["plan", "--rehearse", "calm", "--from-offer"])
        .expect(2)
        .tells(&["no DHCP server", "next step"]);
}

#[test]
fn a_person_is_asked_before_the_file_is_written() {
    let folder = TempDir::new().expect("a folder");
    let rig = hall(&folder);
    let before = fs::read_to_string(&rig).expect("the rig");
    let path = rig.display().to_string();
    for (answer, writes) in [("n\r", false), ("\r", false), ("y\r", true)] {
        let terminal = Start::program(&["plan", &path, "--write"]).start();
        terminal.wait_text("[y/N]");
        terminal.send(answer);
        assert_eq!(terminal.end().code, 0);
        assert_eq!(
            fs::read_to_string(&rig).expect("the rig") != before,
            writes,
            "{answer:?}"
        );
    }
}

#[test]
fn the_board_shows_the_work_list_and_keeps_what_hands_tick() {
    let folder = TempDir::new().expect("a folder");
    let list = folder.path().join("moves.json");
    let path = list.display().to_string();
    run(&["plan", "--rehearse", "moving", "--moves-to", &path]).expect(0);
    for (done, keys) in [
        ("0 of 3 steps are done", " "),
        ("1 of 3 steps are done", "\x1b[H "),
    ] {
        let terminal = Start::program(&["board", "--rehearse", "moving", "--moves", &path]).start();
        terminal.wait_text("Ramp");
        terminal.send("v");
        terminal.wait_text(done);
        terminal.send(keys);
        let after = if done.starts_with('0') { "1 of 3" } else { "0 of 3" };
        terminal.wait_text(after);
        terminal.send("q");
        assert_eq!(terminal.end().code, 0);
    }
    assert!(
        !fs::read_to_string(&list)
            .expect("the list")
            .contains("\"done\": true")
    );
    for (text, why) in [
        ("{", "no work list"),
        (
            "{\"format\": 1, \"title\": \"\", \"tasks\": [{}]}",
            "no work list",
        ),
        ("{\"format\": 9, \"title\": \"\", \"tasks\": []}", "format 9"),
    ] {
        fs::write(&list, text).expect("a file");
        let terminal = Start::program(&["board", "--rehearse", "moving", "--moves", &path]).start();
        terminal.wait_text(why);
        assert_eq!(terminal.end().code, 2);
    }
}

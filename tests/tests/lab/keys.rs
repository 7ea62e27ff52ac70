//! Deeds by the board's keys on a real terminal, on devices of other making behind real kernels.

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use rigmuster_tests::lab::{Lab, SEAT, lab, until};
use rigmuster_tests::program::{Call, Outcome};
use rigmuster_tests::python_has;
use rigmuster_tests::rigs::RigText;
use rigmuster_tests::tools::Tool;
use serde_json::Value;

const LOFT: &str = "02:52:43:00:00:21";
const PASSWORD: &str = "bellows-1911";
const JOURNAL: &str = "/run/rigs/journal.db";

/// A panel in the rig file.
const PANEL: &str = r#"
[[device]]
name = "Desk panel"
role = "panel"
mac = "02:52:43:00:00:60"
address = "10.40.8.60"
channels = { 1 = "Organ loft", 2 = "West door" }
"#;

fn actions(lab: &Lab) -> Vec<(Value, String)> {
    let call = ["journal", "--journal", JOURNAL, "--kind", "action", "--json"];
    let journal: Outcome = lab.call(&call).run();
    let lines = journal.expect(0).out.lines();
    lines
        .map(|line| {
            let entry: Value = serde_json::from_str(line).unwrap();
            (
                entry["began"].clone(),
                entry["basis"].as_str().unwrap().to_owned(),
            )
        })
        .collect()
}

#[test]
fn on_the_board_a_channel_is_proven_by_the_head_that_moves() {
    let name = "on_the_board_a_channel_is_proven_by_the_head_that_moves";
    lab(name, |lab| {
        lab.seat(&["10.40.8.5/24"]);
        let mut rig = RigText::hall();
        for (host, name, n) in [("loft", "Organ loft", 21), ("west", "West door", 22)] {
            let mac = format!("02:52:43:00:00:{n}");
            lab.host(host, &mac, &[&format!("10.40.8.{n}/24")]);
            rig = rig.device(
                name,
                &mac,
                &format!("10.40.8.{n}"),
                &["control = [\"visca-udp\"]"],
            );
        }
        lab.host("panel", "02:52:43:00:00:60", &["10.40.8.60/24"]);
        let rig = rig.as_str().to_owned() + PANEL;
        let rig = lab.rig(&rig).display().to_string();
        let camera = ["camera", "visca-udp"];
        let (_loft, _west) = (
            lab.tool("loft", "heads.py", &camera),
            lab.tool("west", "heads.py", &camera),
        );
        let mut panel = lab.tool("panel", "heads.py", &["panel"]);
        let board = lab.screen(&["board", &rig, "--journal", JOURNAL]).start();
        board.wait_text("Ready.");
        board.send("p");
        board.wait_text("Enter for all 2 channels of Desk panel");
        board.send("\r");
        board.wait_text("Is everybody clear of the heads?");
        board.send("y");
        board.wait_text("Channel 1 (Organ loft)");
        panel.say("push visca-udp 10.40.8.21");
        board.wait_text("proven: Organ loft moved");
        // The channels are crossed from here on: it is pushed twice, to be sure.
        board.wait_text("Channel 2 (West door)");
        panel.say("push visca-udp 10.40.8.21");
        board.wait_text("Once more, to be sure.");
        board.wait_for("a second push", |screen| {
            screen.contents().matches("Channel 2 (West door)").count() == 2
        });
        panel.say("push visca-udp 10.40.8.21");
        board.wait_words(&[
            "wrong: Organ loft moved, not West door",
            "Not all of it is proven",
        ]);
        board.send("\x1b");
        board.wait_text("Tab view");
        board.send("q");
        assert_eq!(board.end().code, 0);
        assert_eq!(actions(lab).len(), 4, "begun, two channels, ended");
    });
}

/// Sockets that listen at the seat, by its kernel's word, and those of them that are not at 127.0.0.1.
fn listeners(lab: &Lab) -> (usize, usize) {
    let list = lab.within(SEAT, &["cat", "/proc/net/tcp"]);
    let list = String::from_utf8_lossy(&list.stdout).into_owned();
    let lines = list
        .lines()
        .map(|line| line.split_whitespace().collect::<Vec<_>>());
    let all: Vec<Vec<&str>> = lines.filter(|words| words[3] == "0A").collect();
    let far = all.iter().filter(|words| !words[1].starts_with("0100007F:"));
    (all.len(), far.count())
}

/// A program in the place of the system's opener: the search path on which it is, and the file to which it writes the
/// URL that it was told.
fn opener(rig: &Path) -> (String, PathBuf) {
    let folder = rig.parent().unwrap().join("opener");
    let (said, program) = (folder.join("said"), folder.join("xdg-open"));
    fs::create_dir_all(&folder).unwrap();
    let script = format!(
        "#!/bin/sh\necho \"$1\" > {0}.new && mv {0}.new {0}\n",
        said.display()
    );
    fs::write(&program, script).unwrap();
    fs::set_permissions(&program, fs::Permissions::from_mode(0o755)).unwrap();
    let path = format!("{}:{}", folder.display(), std::env::var("PATH").unwrap());
    (path, said)
}

/// The page at this URL, asked for at the seat.
fn fetch(url: &str) -> String {
    let curl = [
        "ip",
        "netns",
        "exec",
        SEAT,
        "curl",
        "-sS",
        "--max-time",
        "20",
        url,
    ];
    Call::of(curl).run().expect(0).out.clone()
}

#[test]
fn on_the_board_a_page_on_a_foreign_subnet_opens_until_esc() {
    let name = "on_the_board_a_page_on_a_foreign_subnet_opens_until_esc";
    lab(name, |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["192.168.0.20/24"]);
        let _server = lab.tool("loft", "page.py", &["the loft", "80"]);
        let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &["control = [\"http\"]"]);
        let rig = lab.rig(rig.as_str());
        let (path, said) = opener(&rig);
        let args = ["board", &rig.display().to_string(), "--journal", JOURNAL];
        let board = lab.screen(&args).env("PATH", &path).start();
        board.wait_text("another");
        board.send("o");
        board.wait_words(&[
            "speaking from 192.168.0.",
            "http://127.0.0.1:",
            "o comes back here",
        ]);
        let before = lab.settings(SEAT);
        let screen = board.contents();
        let (_, after) = screen.split_once("http://").unwrap();
        let url = format!("http://{}/", after.split('/').next().unwrap());
        let page = fetch(&url);
        assert!(page.contains("the page of the loft"), "{page}");
        board.wait_text(" from it, ");
        assert_eq!(listeners(lab).1, 0, "only at 127.0.0.1");
        board.send("b");
        board.wait_text("The browser was told to open http://127.0.0.1:");
        until("the opener's word", || said.exists());
        assert_eq!(fs::read_to_string(&said).unwrap().trim(), url);
        assert_eq!(lab.settings(SEAT)[..2], before[..2], "while it stands");
        board.send("\x1b");
        board.wait_words(&["All doors are closed", "Ended, as you wanted"]);
        assert_eq!(listeners(lab), (0, 0), "no door is left");
        assert_eq!(lab.settings(SEAT)[..2], before[..2], "afterwards");
        board.send("\x1b");
        board.wait_text("Tab view");
        board.send("q");
        assert_eq!(board.end().code, 0);
        let [(began, _), (ended, after)] = actions(lab).try_into().unwrap();
        assert!(
            began == true && ended == false && after.contains("after: as it was"),
            "{after}"
        );
    });
}

/// A seat, and a device of other making on a foreign subnet, which takes a login and a new address by ONVIF.
fn away_with_onvif(lab: &Lab) -> Tool {
    lab.seat(&["10.40.8.5/24"]);
    lab.host("loft", LOFT, &["192.168.0.20/24"]);
    let options = ["eth0", "--user", "operator", "--password", PASSWORD];
    let options = [&options[..], &["--wants", "sha256", "--takes", "soon"]].concat();
    let mut device = lab.tool("loft", "onvif_device.py", &options);
    device.wait("ready", |line| line == "ready");
    device
}

#[test]
fn on_the_board_a_device_moves_into_the_rigs_subnet_after_a_typed_yes() {
    let name = "on_the_board_a_device_moves_into_the_rigs_subnet_after_a_typed_yes";
    if !python_has(name, "lxml") {
        return;
    }
    lab(name, |lab| {
        let mut device = away_with_onvif(lab);
        let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &["control = [\"onvif\"]"]);
        let rig = lab.rig(rig.as_str()).display().to_string();
        let board = lab.screen(&["board", &rig, "--journal", JOURNAL]).start();
        board.wait_text("another");
        board.send("a");
        board.wait_text("User name of Organ loft");
        board.send("operator\r");
        board.wait_text("Password (not shown");
        board.send(PASSWORD);
        board.send("\r");
        board.wait_words(&["192.168.0.20", "10.40.8.21", "Type yes to change it"]);
        let set = |line: &String| line.starts_with("asked SetNetworkInterfaces");
        assert!(!device.heard().iter().any(set), "nothing before a yes");
        let before = lab.settings(SEAT);
        board.send("yes\r");
        device.wait("the new address", |line| line == "took 10.40.8.21/24");
        board.wait_text("Organ loft answers at 10.40.8.21");
        board.wait_text("Done. Esc closes this page.");
        assert_eq!(lab.settings(SEAT)[..2], before[..2]);
        board.send("\x1b");
        board.wait_text("Tab view");
        board.send("q");
        assert_eq!(board.end().code, 0);
        let raw = String::from_utf8_lossy(&board.raw()).into_owned();
        assert!(!raw.contains(PASSWORD) && !raw.contains("Digest "), "{raw}");
        let [(began, before), (ended, after)] = actions(lab).try_into().unwrap();
        assert!(
            began == true && before.contains("before: 192.168.0.20/24"),
            "{before}"
        );
        assert!(ended == false && after.contains("10.40.8.21"), "{after}");
    });
}

#[test]
fn on_the_board_a_device_without_the_service_has_its_page_opened() {
    let name = "on_the_board_a_device_without_the_service_has_its_page_opened";
    lab(name, |lab| {
        lab.seat(&["10.40.8.5/24"]);
        lab.host("loft", LOFT, &["192.168.0.20/24"]);
        let west = "02:52:43:00:00:22";
        lab.host("west", west, &["10.40.8.22/24"]);
        let _server = lab.tool("loft", "page.py", &["the loft", "80"]);
        let rig = RigText::hall()
            .device("Organ loft", LOFT, "10.40.8.21", &["control = [\"http\"]"])
            .device("West door", west, "10.40.8.22", &[]);
        let rig = lab.rig(rig.as_str());
        let (path, said) = opener(&rig);
        let args = ["board", &rig.display().to_string(), "--journal", JOURNAL];
        let board = lab.screen(&args).env("PATH", &path).start();
        board.wait_words(&["another", "Organ loft"]);
        board.send("/Organ loft\r");
        let before = lab.settings(SEAT);
        board.send("a");
        board.wait_words(&[
            "Set it by hand",
            "255.255.255.0",
            "Open its page from here now, until Esc?",
        ]);
        assert!(!said.exists(), "nothing is opened before a yes");
        board.send("y");
        until("the opener's word", || said.exists());
        let page = fetch(fs::read_to_string(&said).unwrap().trim());
        assert!(page.contains("the page of the loft"), "{page}");
        board.wait_words(&["The browser was told to open", "o comes back here"]);
        assert_eq!(lab.settings(SEAT)[..2], before[..2], "while it stands");
        board.send("\x1b");
        board.wait_words(&["All doors are closed", "Ended, as you wanted"]);
        assert_eq!(listeners(lab), (0, 0), "no door is left");
        assert_eq!(lab.settings(SEAT)[..2], before[..2], "afterwards");
        // One in the own subnet needs no door.
        board.send("\x1b");
        board.wait_text("Tab view");
        board.send("\x1b");
        board.wait_for("no filter", |screen| !screen.contents().contains("filter \""));
        board.send("/West door\r");
        board.send("o");
        board.wait_words(&["it needs no tunnel", "http://10.40.8.22:80/"]);
        fs::remove_file(&said).unwrap();
        board.send("b");
        until("the opener's word", || said.exists());
        assert_eq!(fs::read_to_string(&said).unwrap().trim(), "http://10.40.8.22:80/");
        assert_eq!(listeners(lab), (0, 0), "and none is opened");
        board.send("\x1b");
        board.wait_text("Ended, as you wanted");
        board.send("\x1b");
        board.wait_text("Tab view");
        board.send("q");
        assert_eq!(board.end().code, 0);
        let all = actions(lab);
        assert_eq!(all.len(), 2, "the tunnel alone: {all:?}");
    });
}

#[test]
fn on_the_board_a_login_from_the_environment_is_used_and_shown_nowhere() {
    let name = "on_the_board_a_login_from_the_environment_is_used_and_shown_nowhere";
    if !python_has(name, "lxml") {
        return;
    }
    lab(name, |lab| {
        let mut device = away_with_onvif(lab);
        let lines = ["control = [\"onvif\"]", "login = \"env:LOFT_LOGIN\""];
        let rig = RigText::hall().device("Organ loft", LOFT, "10.40.8.21", &lines);
        let rig = lab.rig(rig.as_str()).display().to_string();
        let login = format!("operator:{PASSWORD}");
        let board = lab
            .screen(&["board", &rig, "--journal", JOURNAL])
            .env("LOFT_LOGIN", &login)
            .start();
        board.wait_text("another");
        board.send("a");
        board.wait_text("Type yes to change it");
        let screen = board.contents();
        assert!(!screen.contains("User name"), "nobody is asked: {screen}");
        board.send("yes\r");
        device.wait("the new address", |line| line == "took 10.40.8.21/24");
        board.wait_text("Done. Esc closes this page.");
        board.send("\x1b");
        board.wait_text("Tab view");
        board.send("q");
        assert_eq!(board.end().code, 0);
        let raw = String::from_utf8_lossy(&board.raw()).into_owned();
        assert!(!raw.contains(PASSWORD), "{raw}");
        assert!(actions(lab).iter().all(|(_, basis)| !basis.contains(PASSWORD)));
    });
}

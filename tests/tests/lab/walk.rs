//! The channels of a panel, proven between real kernels: cameras and a panel of other making, scapy on the wire.

use nix::sys::signal::Signal;
use rigmuster_tests::lab::{Lab, SEAT, SEAT_MAC, lab};
use rigmuster_tests::program::Outcome;
use rigmuster_tests::python_has;
use rigmuster_tests::rigs::RigText;
use rigmuster_tests::terminal::Terminal;
use rigmuster_tests::tools::{Tool, python};
use serde_json::Value;

const JOURNAL: &str = "/run/rigs/journal.db";
/// The only question that a walk asks.
const WHERE: &str = "81090612ff";
/// What the head count asks besides: version and power.
const COUNT: [&str; 2] = ["81090002ff", "81090400ff"];

/// The panel in the rig file.
const PANEL: &str = r#"
[[device]]
name = "Desk panel"
role = "panel"
mac = "02:52:43:00:00:60"
address = "10.40.8.60"
channels = { 1 = "Organ loft", 2 = "West door", 3 = "West door", 4 = "Conductor" }
"#;

struct Hall {
    rig: String,
    loft: Tool,
    west: Tool,
    conductor: Tool,
    panel: Tool,
}

/// A panel with four channels and three cameras; what the panel really drives is the test's matter.
fn hall(lab: &Lab) -> Hall {
    lab.seat(&["10.40.8.5/24"]);
    let mut rig = RigText::hall();
    for (host, name, n, word) in [
        ("loft", "Organ loft", 21, "visca-udp"),
        ("west", "West door", 22, "visca-tcp"),
        ("back", "Conductor", 23, "visca-raw-udp"),
    ] {
        let mac = format!("02:52:43:00:00:{n}");
        lab.host(host, &mac, &[&format!("10.40.8.{n}/24")]);
        let control = format!("control = [\"{word}\"]");
        rig = rig.device(name, &mac, &format!("10.40.8.{n}"), &[&control]);
    }
    lab.host("panel", "02:52:43:00:00:60", &["10.40.8.60/24"]);
    let rig = rig.as_str().to_owned() + PANEL;
    Hall {
        loft: lab.tool("loft", "heads.py", &["camera", "visca-udp"]),
        west: lab.tool("west", "heads.py", &["camera", "visca-tcp"]),
        conductor: lab.tool("back", "heads.py", &["camera", "visca-raw-udp", "mute"]),
        panel: lab.tool("panel", "heads.py", &["panel"]),
        rig: lab.rig(&rig).display().to_string(),
    }
}

fn walk(lab: &Lab, args: &[&str]) -> Terminal {
    let terminal = lab
        .screen(&[&["walk", "Desk panel"], args].concat())
        .size(80, 60)
        .start();
    terminal.wait_text("Is everybody clear of the heads?");
    terminal
}

/// Waits for the question for a channel, and pushes its stick: it drives the head there.
fn push(terminal: &Terminal, panel: &mut Tool, times: usize, question: &str, word: &str, address: &str) {
    terminal.wait_for(question, |screen| {
        screen.contents().matches(question).count() >= times
    });
    panel.say(&format!("push {word} {address}"));
}

/// All that a camera heard from others than the panel.
fn asked(camera: &mut Tool) -> Vec<String> {
    let heard = camera.heard().iter();
    let others = heard.filter_map(|line| line.split_once(' ').filter(|(peer, _)| *peer != "10.40.8.60"));
    others.map(|(_, packet)| packet.to_owned()).collect()
}

fn actions(lab: &Lab) -> Vec<String> {
    let call = ["journal", "--journal", JOURNAL, "--kind", "action", "--json"];
    let journal: Outcome = lab.call(&call).run();
    let lines = journal.expect(0).out.lines();
    let text = |line: &str| {
        serde_json::from_str::<Value>(line).unwrap()["text"]
            .as_str()
            .unwrap()
            .to_owned()
    };
    lines.map(text).collect()
}

#[test]
fn real_cameras_prove_a_panels_channels_and_only_positions_are_asked_for() {
    let name = "real_cameras_prove_a_panels_channels_and_only_positions_are_asked_for";
    lab(name, |lab| {
        let mut hall = hall(lab);
        let scapy = python_has(name, "scapy.all");
        let wires: Vec<Tool> = ["10.40.8.21", "10.40.8.22"]
            .into_iter()
            .filter(|_| scapy)
            .map(|address| Tool::start(&python("hear_payload.py", &[SEAT, address])))
            .collect();
        let mut kernel = lab.kernel(SEAT);
        let terminal = walk(lab, &["--rig", &hall.rig, "--journal", JOURNAL]);
        kernel.same("while it asks");
        let early = [&mut hall.loft, &mut hall.west].map(|c| asked(c).contains(&WHERE.to_owned()));
        assert_eq!(early, [false, false], "nothing before a yes");
        terminal.send("y\r");
        terminal.wait_text("Conductor cannot be read: it does not know the question");
        push(
            &terminal,
            &mut hall.panel,
            1,
            "Channel 1 (Organ loft): push",
            "visca-udp",
            "10.40.8.21",
        );
        terminal.wait_text("channel 1  proven: Organ loft moved");
        kernel.same("while it reads");
        push(
            &terminal,
            &mut hall.panel,
            1,
            "Channel 2 (West door): push",
            "visca-tcp",
            "10.40.8.22",
        );
        terminal.wait_text("channel 2  proven: West door moved");
        // The panel drives the loft on channel 3, and the file says West door.
        for times in 1..=2 {
            push(
                &terminal,
                &mut hall.panel,
                times,
                "Channel 3 (West door): push",
                "visca-udp",
                "10.40.8.21",
            );
        }
        terminal.wait_text("channel 3  wrong: Organ loft moved, not West door");
        terminal.wait_text("Channel 4: push its stick a little, then let go. Does Conductor move?");
        terminal.send("y\r");
        terminal.wait_words(&[
            "channel 4 proven by eye: Conductor moved",
            "3 of 4 channels proven",
        ]);
        let ended = terminal.end();
        assert_eq!(ended.code, 1);
        kernel.same("afterwards");

        for camera in [&mut hall.loft, &mut hall.west, &mut hall.conductor] {
            let all = asked(camera);
            let other = all.iter().find(|p| **p != WHERE && !COUNT.contains(&p.as_str()));
            assert_eq!(other, None, "only inquiries");
            assert!(all.iter().any(|p| p == WHERE));
        }
        assert_eq!(
            actions(lab),
            [
                "walk Desk panel: begun, 4 channels",
                "walk Desk panel, channel 1: proven: Organ loft moved",
                "walk Desk panel, channel 2: proven: West door moved",
                "walk Desk panel, channel 3: wrong: Organ loft moved, not West door",
                "walk Desk panel, channel 4: proven by eye: Conductor moved",
                "walk Desk panel: ended; 3 of 4 channels proven",
            ]
        );
        decoded(wires);
        signed(lab, &hall.rig);
    });
}

/// On the wire, as scapy reads it: nothing but inquiries, from this computer's own hardware.
fn decoded(wires: Vec<Tool>) {
    for mut wire in wires {
        let mut wheres = 0;
        for line in wire.heard().iter().filter(|line| *line != "ready") {
            let [from, _, _, kind, _, data] = line.split(' ').collect::<Vec<_>>()[..] else {
                panic!("{line}");
            };
            assert_eq!(from, SEAT_MAC);
            let packet = if kind == "udp" {
                let (head, packet) = data.split_at(16);
                assert_eq!(
                    head[..8],
                    format!("0110{:04x}", packet.len() / 2),
                    "an inquiry: {line}"
                );
                packet
            } else {
                data
            };
            assert!(packet.starts_with("8109"), "an inquiry: {line}");
            wheres += usize::from(packet.contains(WHERE));
        }
        assert!(wheres > 10, "{wheres}");
    }
}

/// The sign-off tells what was walked.
fn signed(lab: &Lab, rig: &str) {
    let check = lab.call(&["check", rig, "--json"]).run();
    let saved = lab.rig("").with_file_name("check.json");
    std::fs::write(&saved, &check.out).unwrap();
    let saved = saved.display().to_string();
    let sheet = lab
        .call(&["sheet", rig, "--from", &saved, "--journal", JOURNAL])
        .run();
    let text = &sheet.expect(0).out;
    for words in [
        "Channels walked",
        "proven: West door moved",
        "wrong: Organ loft moved, not West door",
    ] {
        assert!(text.contains(words), "{words}:\n{text}");
    }
}

#[test]
fn an_interrupted_walk_says_what_was_proven_so_far() {
    lab("an_interrupted_walk_says_what_was_proven_so_far", |lab| {
        let mut hall = hall(lab);
        let mut kernel = lab.kernel(SEAT);
        let terminal = walk(lab, &["--rig", &hall.rig, "--journal", JOURNAL]);
        terminal.send("y\r");
        push(
            &terminal,
            &mut hall.panel,
            1,
            "Channel 1 (Organ loft): push",
            "visca-udp",
            "10.40.8.21",
        );
        terminal.wait_text("Channel 2 (West door): push");
        terminal.signal(Signal::SIGINT);
        terminal.wait_text("1 of 4 channels proven");
        assert_eq!(terminal.end().code, 130);
        kernel.same("afterwards");
        assert_eq!(
            actions(lab).last().map(String::as_str),
            Some("walk Desk panel: ended; 1 of 4 channels proven")
        );
    });
}
